package pipeline

import (
	"time"

	"farstation/gazetteer"
	"farstation/geodesy/terrain"
)

// Result is all that a survey found, in the order of its tables.
type Result struct {
	Features   Groups[FeatureRow] // sorted by feature_id
	Sightlines Groups[Sightline]  // sorted by observer chunk, observer, target
	Alignments Groups[Alignment]  // sorted by observer, near, far
	// Ranked are the sightlines with a rank, best first, Shown the rows that reports show.
	Ranked Groups[Sightline]
	Shown  Shown
	// Workers is the number of goroutines that tables are to be written on.
	Workers int
	// Profiles holds the ground along the ranked lines that the report draws, best first.
	Profiles []Profile
	// Relief is the ground of the region that these lie in, for a map; nil where there is none.
	Relief *ReliefGrid
	// ObserverPlace is the option of this name.
	ObserverPlace ObserverPlace
	// Records are what tracing gave, for a later run to take over.
	Records *Records
	// Reuse says what this run took over; nil where nothing was to be.
	Reuse *Reuse
	// Reads says how often terrain was read.
	Reads    terrain.Reads
	Manifest Manifest

	spill *spill
}

// Close gives up what the rows are read from: tables and records are gone with it.
func (r *Result) Close() error {
	if r.spill == nil {
		return nil
	}
	return r.spill.Close()
}

// Profile is the ground along one line, from the observer (distance 0) to the target.
type Profile struct {
	ObserverID, TargetID string
	// Line is the index of its row in Shown.Sightlines.
	Line    int
	Samples []ProfileSample
}

// ProfileSample is the ground at one distance.
type ProfileSample struct {
	DistanceM   float64
	GroundM     float64 // over the geoid
	UndulationM float64 // geoid over the ellipsoid
	Source      string  // terrain file; "sea" where no tile is needed
	Missing     bool    // terrain is missing here; GroundM is what the gap was filled with
}

// Manifest is run.json: parameters, inputs, counts, timings. Nothing else in a run holds a date or a duration.
type Manifest struct {
	Version    string         `json:"farstation_version"`
	Parameters map[string]any `json:"parameters"`
	Inputs     []Input        `json:"inputs"`
	// LicenceNote says what the licence of one part asks of the whole; empty where none asks anything.
	LicenceNote string         `json:"licence_note,omitempty"`
	Terrain     TerrainSummary `json:"terrain"`
	// AirNotes say what was assumed of a sounding, and which of its layers are unusual.
	AirNotes []string        `json:"air_notes,omitempty"`
	Counts   Counts          `json:"counts"`
	Rejected []InputRejected `json:"rejected"`
	// SourcesDisagree tells both heights of the first features whose records do not agree.
	SourcesDisagree []string `json:"sources_disagree,omitempty"`
	// NotStanding names the first 1,000 features that were left out since they stand no longer, or not yet, with their dates.
	NotStanding []string `json:"not_standing,omitempty"`
	// Dropped names the first features without a usable height.
	Dropped    []string  `json:"dropped,omitempty"`
	Stages     []Stage   `json:"stages"`
	Started    time.Time `json:"started"`
	Finished   time.Time `json:"finished"`
	PeakMemory int64     `json:"peak_memory_bytes"`
}

// Input is one file that was read.
type Input struct {
	Path        string `json:"path"`
	Bytes       int64  `json:"bytes"`
	SHA256      string `json:"sha256"` // empty for terrain that cannot be read
	Format      string `json:"format"`
	Licence     string `json:"licence"`
	Attribution string `json:"attribution,omitempty"`
	Rows        int    `json:"rows"`
	Used        int    `json:"used"`
	Rejected    int    `json:"rejected"`
}

// InputRejected lists the first rejected rows of one input.
type InputRejected struct {
	Path string               `json:"path"`
	Rows []gazetteer.Rejected `json:"rows"`
}

// TerrainSummary says what the elevation tiles gave.
type TerrainSummary struct {
	Tiles            int      `json:"tiles"`
	MissingLandCells []string `json:"missing_land_cells"`
	VoidSamplesMet   int      `json:"void_samples_met"`
	// RefusedSamples counts heights that no land has, below −500 m or above 9,000 m, in the tiles read; they count as void.
	RefusedSamples int      `json:"refused_samples"`
	Unreadable     []string `json:"unreadable"`
	// Notes say what was done to heights that are not over EGM96, and which way those of tree tops and roofs err.
	Notes []string `json:"notes,omitempty"`
}

// Counts holds what each stage let through.
type Counts struct {
	// Read counts the records of all gazetteers that were used, Merged those that went into another record's feature, NotStanding the features
	// left out since they stand no longer, or not yet, and SourcesDisagree those whose records list heights that do not agree.
	Read            int `json:"read"`
	Merged          int `json:"merged"`
	NotStanding     int `json:"not_standing"`
	SourcesDisagree int `json:"sources_disagree"`

	Features   int `json:"features"`
	Observers  int `json:"observers"`
	Targets    int `json:"targets"`
	Dropped    int `json:"dropped"`
	Candidates int `json:"candidates"`
	// NearCandidates are pairs nearer than listed lines, traced as near tops of alignments only.
	NearCandidates int `json:"near_candidates"`
	// TooClose are pairs with no ground outside the guards of their ends, of which nothing is said.
	TooClose int `json:"too_close"`
	// Traced counts every line that was looked at: candidates, near ones, and those tried for a top that should be missing.
	Traced     int `json:"traced"`
	Kept       int `json:"kept"`
	Alignments int `json:"alignments"`
	// AlignmentsLeftOut counts those of observers with more than 50,000, of which the ones with the least evidence are left out.
	AlignmentsLeftOut int             `json:"alignments_left_out,omitempty"`
	Verdicts          map[Verdict]int `json:"verdicts"`
}

// Stage is what one stage did in which time.
type Stage struct {
	Name    string  `json:"name"`
	Seconds float64 `json:"seconds"`
	Items   int     `json:"items"`
	// PerSecond is Items by Seconds, 0 where no time passed.
	PerSecond float64 `json:"per_second"`
	// MemoryBytes is what the program held when the stage ended; see MemoryBytes.
	MemoryBytes int64 `json:"memory_bytes"`
}
