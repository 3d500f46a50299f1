// Package pipeline turns features and terrain into ranked sightlines: candidates, trace, alignments, score, and the manifest of
// a run. Each stage is a function from typed input to typed output; channels and goroutines stay inside this package. It writes no
// file format: that is the work of package reports.
package pipeline
