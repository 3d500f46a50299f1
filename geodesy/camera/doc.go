// Package camera says where things stand on a photograph, fits a camera to points measured on one, and finds where it stood. It holds pure
// computation: no files, no names of features, no terrain.
package camera
