// Package rehearsal makes a synthetic part of a planet, terrain and gazetteer, to measure how long a survey of all of it would take. Nothing of it is
// anywhere on the Earth, and no result of it is one.
package rehearsal
