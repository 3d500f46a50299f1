package pipeline

import (
	"farstation/gazetteer"
	"farstation/geodesy/terrain"
)

// Options are all that a survey's result depends on, and those that it does not (Workers and what follows). DefaultOptions
// documents the defaults; zero values are not defaults.
type Options struct {
	// Features are gazetteer files as given.
	Features []string `json:"features"`
	// FeatureTerms are the licences and attributions stated for some of them, by their names as given.
	FeatureTerms map[string]Terms `json:"feature_terms,omitempty"`
	// Terrain lists elevation tiles or folders of them; the first named wins where two overlap.
	Terrain []terrain.Source `json:"terrain"`
	// Area keeps observers inside; nil keeps all.
	Area *Area `json:"area"`
	// ObserverKinds and TargetKinds keep those kinds; an empty TargetKinds keeps all.
	ObserverKinds []gazetteer.Kind `json:"observer_kinds"`
	TargetKinds   []gazetteer.Kind `json:"target_kinds"`
	// MinDistanceKM and MaxDistanceKM bound listed sightlines and far tops; a maximum of 0 is as far as the horizon lets it.
	MinDistanceKM float64 `json:"min_distance_km"`
	MaxDistanceKM float64 `json:"max_distance_km"`
	// NearMinDistanceKM is the least distance of near tops in alignments.
	NearMinDistanceKM float64 `json:"near_min_distance_km"`
	// EyeHeightM is the height of the eye over the observer's ground; over a structure's top only with FromTops.
	EyeHeightM float64 `json:"eye_height_m"`
	FromTops   bool    `json:"from_tops"`
	// K is the refraction coefficient (radius of the Earth / radius of the ray, below 1), KSD its standard deviation, KOwnSD the
	// part of it that two rays do not share.
	K      float64 `json:"k"`
	KSD    float64 `json:"k_sd"`
	KOwnSD float64 `json:"k_own_sd"`
	// Air is AirConstant (K everywhere) or AirStandard (k by height in the standard atmosphere for each line; K for the height of
	// its ray and for what two lines have in common), or the path of a sounding, whose k by height then stands for that of the standard
	// atmosphere; LoadAir must be called for it. AirSHA256 is the sounding's hash.
	Air       string `json:"air"`
	AirSHA256 string `json:"air_sha256,omitempty"`
	// LowHeightM is how near to sea or ground the air of LowK ± LowKSD applies instead; 0 switches it off.
	LowHeightM float64 `json:"low_height_m"`
	LowK       float64 `json:"low_k"`
	LowKSD     float64 `json:"low_k_sd"`
	// GuardM is the distance from either end within which ground does not obstruct.
	GuardM float64 `json:"guard_m"`
	// HeightSDM and TerrainSDM replace the spreads by source and by set; 0 keeps those.
	HeightSDM  float64 `json:"height_sd_m"`
	TerrainSDM float64 `json:"terrain_sd_m"`
	// TerrainCorrelationM is the distance over which terrain errors go together.
	TerrainCorrelationM float64 `json:"terrain_correlation_m"`
	// SeaLevelM is the height of the sea over the geoid, SeaLevelSDM its standard deviation.
	SeaLevelM   float64 `json:"sea_level_m"`
	SeaLevelSDM float64 `json:"sea_level_sd_m"`
	// VisualRangeKM is the meteorological range at sea level, for the contrast that the air leaves.
	VisualRangeKM float64 `json:"visual_range_km"`
	// AsListed uses positions and heights exactly as the gazetteer gives them.
	AsListed bool `json:"as_listed"`
	// KeepAll keeps every candidate instead of the likely ones.
	KeepAll bool `json:"keep_all"`
	// ToleranceDeg is the least horizontal angle within which two tops count as aligned.
	ToleranceDeg float64 `json:"tolerance_deg"`
	// FrameDeg is the width of the frame in which tops that should be missing are sought beside a far top in view.
	FrameDeg float64 `json:"frame_deg"`
	// Top is the number of sightlines drawn in the report.
	Top int `json:"top"`
	// RankForPicture ranks by the picture score instead of the test score.
	RankForPicture bool `json:"rank_for_picture"`
	// Weights of the score's terms by name; nil is the default of the chosen ranking.
	Weights map[string]float64 `json:"weights"`
	// ObserverPlace is how ranked.csv, ranked.geojson and ranked.kml tell observers' places; the tables and the report always tell them.
	ObserverPlace ObserverPlace `json:"observer_place"`
	// Strict makes an unreadable tile fail the run.
	Strict bool `json:"strict"`
	// Workers is the number of observers traced at once. MemoryBytes is what the program is to make do with; see terrainBytes. Features, at
	// some 0.8 kB each, must fit into it. Neither changes a byte of the result.
	Workers     int   `json:"-"`
	MemoryBytes int64 `json:"-"`
	// CacheFolder is where decoded tiles are kept for this run and later ones; empty keeps none.
	CacheFolder string `json:"-"`
	// SpillFolder is where the temporary file of what was traced lies; empty is the system's folder for such.
	SpillFolder string `json:"-"`

	sounding *sounding
}

// terrainBytes is the part of the memory in which terrain is held beside so many features: half of it, or what these leave, and a sixteenth at
// least, since a survey without terrain at hand would not end.
func (o *Options) terrainBytes(features int) int64 {
	const featureBytes = 1000 // 600 to 800 as measured, and what the collector of garbage needs
	left := o.MemoryBytes - o.MemoryBytes/5 - int64(features)*featureBytes
	return min(o.MemoryBytes/2, max(left, o.MemoryBytes/16))
}

// The kinds of free air.
const (
	AirConstant = "constant"
	AirStandard = "standard"
)

// ObserverPlace says how files that are made to be passed on tell where observers stand.
type ObserverPlace string

// The ways to tell it: as it is, on a grid of 0.1°, not at all.
const (
	PlaceExact   ObserverPlace = "exact"
	PlaceBlurred ObserverPlace = "blurred"
	PlaceLeftOut ObserverPlace = "left_out"
)

// Area is a box in degrees; West > East crosses the date line.
type Area struct {
	West  float64 `json:"west_deg"`
	South float64 `json:"south_deg"`
	East  float64 `json:"east_deg"`
	North float64 `json:"north_deg"`
}

// DefaultOptions returns the defaults of a survey.
func DefaultOptions() Options {
	return Options{
		ObserverKinds:       []gazetteer.Kind{gazetteer.Peak, gazetteer.Hill, gazetteer.Volcano, gazetteer.Viewpoint},
		MinDistanceKM:       30,
		NearMinDistanceKM:   2,
		EyeHeightM:          2,
		K:                   0.143, // 1/7, the usual value of surveying by day
		KSD:                 0.04,
		KOwnSD:              0.02,
		Air:                 AirConstant,
		LowHeightM:          50,
		LowK:                0.17,
		LowKSD:              0.15,
		GuardM:              200,
		TerrainCorrelationM: 300,
		SeaLevelSDM:         0.5,
		VisualRangeKM:       150,
		ToleranceDeg:        0.25,
		FrameDeg:            3,
		Top:                 60,
		ObserverPlace:       PlaceExact,
		MemoryBytes:         2 << 30,
	}
}
