package reports

import (
	"io"
	"path/filepath"
	"slices"
	"strings"

	"farstation/pipeline"
)

// dataPackage is datapackage.json after the Data Package standard, version 2.0 (datapackage.org), as far as a run has use for it.
type dataPackage struct {
	Schema       string            `json:"$schema"`
	Name         string            `json:"name"`
	Title        string            `json:"title"`
	Description  string            `json:"description"`
	Version      string            `json:"version,omitempty"`
	Licenses     []packageLicence  `json:"licenses,omitempty"`
	Contributors []contributor     `json:"contributors"`
	Sources      []packageSource   `json:"sources,omitempty"`
	Resources    []packageResource `json:"resources"`
}

type packageLicence struct {
	Name  string `json:"name"`
	Path  string `json:"path,omitempty"`
	Title string `json:"title"`
}

type contributor struct {
	Title string   `json:"title"`
	Roles []string `json:"roles"`
}

// packageSource is one input. The properties after title are ours, which the standard allows.
type packageSource struct {
	Title       string `json:"title"`
	Licence     string `json:"licence,omitempty"`
	Attribution string `json:"attribution,omitempty"`
	Bytes       int64  `json:"bytes"`
	Hash        string `json:"hash,omitempty"`
}

type packageResource struct {
	Name        string       `json:"name"`
	Path        string       `json:"path"`
	Type        string       `json:"type,omitempty"`
	Title       string       `json:"title,omitempty"`
	Description string       `json:"description,omitempty"`
	Format      string       `json:"format"`
	MediaType   string       `json:"mediatype"`
	Encoding    string       `json:"encoding,omitempty"`
	Bytes       int64        `json:"bytes"`
	Hash        string       `json:"hash"`
	Schema      *tableSchema `json:"schema,omitempty"`
}

type tableSchema struct {
	Schema        string       `json:"$schema"`
	Fields        []tableField `json:"fields"`
	MissingValues []string     `json:"missingValues"`
	PrimaryKey    []string     `json:"primaryKey,omitempty"`
	ForeignKeys   []foreignKey `json:"foreignKeys,omitempty"`
}

type tableField struct {
	Name        string          `json:"name"`
	Type        string          `json:"type"`
	Description string          `json:"description"`
	Unit        string          `json:"unit,omitempty"` // ours
	Constraints map[string]bool `json:"constraints,omitempty"`
}

type foreignKey struct {
	Fields    []string     `json:"fields"`
	Reference keyReference `json:"reference"`
}

type keyReference struct {
	Resource string   `json:"resource"`
	Fields   []string `json:"fields"`
}

// writeDataPackage writes datapackage.json for the files of a run. It holds no date and no path of a machine: inputs go by their base names.
func writeDataPackage(w io.Writer, manifest *pipeline.Manifest, files []Written) error {
	p := dataPackage{
		Schema:       "https://datapackage.org/profiles/2.0/datapackage.json",
		Name:         "farstation-run",
		Title:        "Predicted long-distance sightlines between named peaks and towers",
		Description:  "Sightlines and alignments predicted under a curved Earth with refraction and under a plane, and ranked as tests of the two. Predictions are for photography, not for navigation, aviation, radio licensing or construction.",
		Contributors: []contributor{{"farstation " + manifest.Version, []string{"creator"}}},
	}
	if isSemantic(manifest.Version) {
		p.Version = manifest.Version
	}
	if manifest.LicenceNote != "" {
		p.Description += " " + manifest.LicenceNote
	}
	p.Licenses = packageLicences(manifest.Inputs)
	for _, input := range manifest.Inputs {
		source := packageSource{Title: filepath.Base(input.Path), Licence: input.Licence, Attribution: input.Attribution, Bytes: input.Bytes}
		if input.SHA256 != "" { // empty for terrain that could not be read
			source.Hash = "sha256:" + input.SHA256
		}
		p.Sources = append(p.Sources, source)
	}
	tables := Dictionary()
	for _, file := range files {
		resource := packageResource{Name: file.Name, Path: file.Name, Bytes: file.Bytes, Hash: "sha256:" + file.SHA256}
		resource.Format, resource.MediaType, resource.Encoding = formOf(file.Name)
		if at := slices.IndexFunc(tables, func(t Table) bool { return t.File == file.Name }); at >= 0 {
			resource.Type, resource.Description = "table", tables[at].Meaning
			resource.Schema = schemaOf(&tables[at])
		}
		p.Resources = append(p.Resources, resource)
	}
	return WriteJSON(w, p)
}

// formOf returns format, media type and encoding of a file of a run by its name.
func formOf(name string) (format, mediaType, encoding string) {
	format = strings.TrimPrefix(filepath.Ext(name), ".")
	switch format {
	case "parquet":
		return format, "application/vnd.apache.parquet", ""
	case "csv":
		return format, "text/csv", "utf-8"
	case "geojson":
		return format, "application/geo+json", "utf-8" // RFC 7946, section 12
	case "kml":
		return format, "application/vnd.google-earth.kml+xml", "utf-8"
	case "html":
		return format, "text/html", "utf-8"
	}
	return format, "application/octet-stream", ""
}

func schemaOf(t *Table) *tableSchema {
	s := &tableSchema{Schema: "https://datapackage.org/profiles/2.0/tableschema.json", MissingValues: []string{""}}
	for _, c := range t.Columns {
		field := tableField{Name: c.Name, Type: fieldType(c.Type), Description: c.Meaning, Unit: c.Unit}
		if !c.Nullable {
			field.Constraints = map[string]bool{"required": true}
		}
		s.Fields = append(s.Fields, field)
	}
	toFeature := func(columns ...string) {
		for _, column := range columns {
			s.ForeignKeys = append(s.ForeignKeys, foreignKey{[]string{column}, keyReference{featuresFile, []string{"feature_id"}}})
		}
	}
	switch t.File {
	case featuresFile:
		s.PrimaryKey = []string{"feature_id"}
	case sightlinesFile:
		s.PrimaryKey = []string{"observer_id", "target_id"}
		toFeature("observer_id", "target_id", "best_alignment_near_id")
	case alignmentsFile:
		s.PrimaryKey = []string{"observer_id", "near_id", "far_id", "case"}
		toFeature("observer_id", "near_id", "far_id")
	case profilesFile:
		s.ForeignKeys = []foreignKey{{[]string{"observer_id", "target_id"}, keyReference{sightlinesFile, []string{"observer_id", "target_id"}}}}
	case rankedCSVFile:
		s.PrimaryKey = []string{"rank"}
		toFeature("observer_id", "target_id")
	}
	return s
}

// fieldType names a column's type in the words of Table Schema 2.0.
func fieldType(columnType string) string {
	switch columnType {
	case "double":
		return "number"
	case "int32":
		return "integer"
	case "binary":
		return "any"
	case "group":
		return "object"
	}
	return columnType
}

// packageLicences returns the licences that the run is under: ODbL alone where a part is under it, since it binds the whole (ODbL 1.0,
// section 4.4), else each that is known, once.
func packageLicences(inputs []pipeline.Input) []packageLicence {
	known := []packageLicence{
		{"ODbL-1.0", "https://opendatacommons.org/licenses/odbl/1-0/", "ODbL 1.0"},
		{"CC-BY-4.0", "https://creativecommons.org/licenses/by/4.0/", "CC BY 4.0"},
		{"CC-BY-3.0", "https://creativecommons.org/licenses/by/3.0/", "CC BY 3.0"},
		{"CC0-1.0", "https://creativecommons.org/publicdomain/zero/1.0/", "CC0 1.0"},
	}
	var found []packageLicence
	for _, licence := range known {
		if slices.ContainsFunc(inputs, func(i pipeline.Input) bool {
			return strings.HasPrefix(i.Licence, licence.Title) || licence.Name == "ODbL-1.0" && pipeline.IsODbL(i.Licence)
		}) {
			found = append(found, licence)
			if licence.Name == "ODbL-1.0" {
				break
			}
		}
	}
	return found
}

// isSemantic tells a version of three numbers.
func isSemantic(version string) bool {
	parts := strings.Split(version, ".")
	return len(parts) == 3 && !slices.ContainsFunc(parts, func(p string) bool { return p == "" || strings.Trim(p, "0123456789") != "" })
}
