// Package reports writes the results of a run: Parquet, CSV, GeoJSON, the HTML report and its figures, and the data dictionary. It
// reads the result types of package pipeline and computes nothing that another package should.
package reports
