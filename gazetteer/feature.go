package gazetteer

import "farstation/geodesy"

// Kind is the sort of thing a feature is, in the words that columns and flags use.
type Kind string

// The kinds that farstation knows. Anything else in an extract is passed over (and counted), not guessed.
const (
	Peak       Kind = "peak"
	Hill       Kind = "hill"
	Volcano    Kind = "volcano"
	Tower      Kind = "tower"
	Mast       Kind = "mast"
	Chimney    Kind = "chimney"
	Lighthouse Kind = "lighthouse"
	Turbine    Kind = "turbine"
	Building   Kind = "building"
	Viewpoint  Kind = "viewpoint"
	Place      Kind = "place"
)

// Feature is one named point of a gazetteer. Heights are metres over the geoid unless the name says otherwise; a NaN height is
// one that is not known.
type Feature struct {
	// ID names the record across runs: "geonames:123", "csv:…".
	ID string
	// Name is the best name, OtherNames all others in the order of the record.
	Name       string
	OtherNames []string
	Kind       Kind
	// At is where the feature is taken to stand, Listed where the gazetteer has it; MovedM is the distance between the two.
	At, Listed geodesy.LatLon
	MovedM     float64
	// GroundHeightM is the height of the ground that is used, ListedHeightM and TerrainHeightM what the gazetteer and the
	// terrain say of it (NaN where they say nothing).
	GroundHeightM, ListedHeightM, TerrainHeightM float64
	// HeightSource is HeightListed or HeightTerrain.
	HeightSource string
	// StructureHeightM is the height over the ground of the thing that stands there; 0 for bare ground.
	StructureHeightM float64
	// WidthM is the listed width or diameter of a structure and LightHeightM the listed height of its light over high water, in metres;
	// 0 where none is listed. No verdict hangs on them.
	WidthM, LightHeightM float64
	// StartDate and EndDate are when the thing began and ceased to be, as its record has it, mostly a year or a date of ISO 8601.
	StartDate, EndDate string
	// Standard deviations, in metres.
	GroundHeightSDM, StructureHeightSDM, PositionSDM float64
	// Doubts are codes of what is wrong or uncertain with the record, sorted; see Doubts for their meaning.
	Doubts []string
	// Sources lists every record merged into this feature, "geonames:123" for the record itself.
	Sources []string
	// Line is the line of the input the feature was read from, for messages; in a PBF, which has no lines, the number of the object.
	Line int
}

// Where GroundHeightM came from.
const (
	HeightListed  = "listed"
	HeightTerrain = "terrain"
)

// Rejected is a row that could not be read: where it stands, what was wrong.
type Rejected struct {
	Line   int    `json:"line"`
	Reason string `json:"reason"`
}
