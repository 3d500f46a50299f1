// Package kept holds what was made of other files in files of its own, by a key that stands for all that it was made of, and gives it back as
// memory that is read from the file when it is looked at. It knows nothing of what it holds.
//
// A folder may be deleted at any time, wholly or in part, and several programs may use it at once: a file has its name only when it is
// complete, and what is wrong with it is found by its sum and taken for no file. What another build of the program wrote is not found, since
// that may have made something else of the same files.
package kept
