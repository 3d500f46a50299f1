package pipeline

import "time"

// Outing is the field sheet of one line: where to stand, when, with what, in which air, and what to look for. Numbers that do not exist are null.
type Outing struct {
	Line      Sightline  `json:"line"`      // in JSON by its columns, as in sightlines.parquet
	Alignment *Alignment `json:"alignment"` // the best with this far top; null where there is none
	// Target and Near are the tops; Near is null without an alignment.
	Target OutingEnd  `json:"target"`
	Near   *OutingEnd `json:"near"`
	// RunSHA256 is that of the run's run.json, ClaimSHA256 that of the claim that is frozen with the sheet, Made the day, 2006-01-02.
	RunSHA256   string `json:"run_sha256"`
	ClaimSHA256 string `json:"claim_sha256"`
	Claim       *Claim `json:"claim"`
	Made        string `json:"made"`
	// Sentences say what to look for: one for each model.
	LookCurved string `json:"look_curved"`
	LookPlane  string `json:"look_plane"`

	Stand     OutingStand   `json:"stand"`
	FallBacks []OutingOther `json:"fall_backs"`
	Frame     OutingFrame   `json:"frame"`
	Sky       OutingSky     `json:"sky"`
	Lens      OutingLens    `json:"lens"`
	Air       OutingAir     `json:"air"`
	Tide      *OutingTide   `json:"tide"` // null where no sea is met
	Notes     []string      `json:"notes"`
}

// OutingEnd is a top.
type OutingEnd struct {
	ID           string  `json:"id"`
	Name         string  `json:"name"`
	LatitudeDeg  float64 `json:"latitude_deg"`
	LongitudeDeg float64 `json:"longitude_deg"`
	TopHeightM   float64 `json:"top_height_m"` // over the geoid
}

// OutingStand is where to stand, and how far aside the tops still line up.
type OutingStand struct {
	LatitudeDeg  float64 `json:"latitude_deg"`
	LongitudeDeg float64 `json:"longitude_deg"`
	GroundM      float64 `json:"ground_height_m"`
	GroundSDM    float64 `json:"ground_height_sd_m"`
	EyeHeightM   float64 `json:"eye_height_m"` // over the geoid
	// AsideMPerArcmin is how many metres aside turn the two tops by one arc minute against each other, UpMPerArcmin how many metres up change their
	// separation by one; null without an alignment.
	AsideMPerArcmin *float64 `json:"aside_m_per_arcmin"`
	UpMPerArcmin    *float64 `json:"up_m_per_arcmin"`
	// LostLeftM and LostRightM are how far one may go aside until the tops no longer stand within the tolerance of each other.
	LostLeftM  *float64 `json:"lost_left_m"`
	LostRightM *float64 `json:"lost_right_m"`
	// InLineRightM is how far to the right the tops stand exactly in line, negative to the left; null where that is more than 5 km
	// away, or without an alignment.
	InLineRightM *float64 `json:"in_line_right_m"`
	// Margin at the eye's height and 1 m lower and higher, in arc minutes over all ground.
	MarginLowArcmin  *float64 `json:"margin_eye_1m_lower_arcmin"`
	MarginArcmin     *float64 `json:"margin_arcmin"`
	MarginHighArcmin *float64 `json:"margin_eye_1m_higher_arcmin"`
	// Strip are places on the ground from which the near and far top line up within the tolerance and the far one is in view.
	Strip []OutingPlace `json:"strip"`
	// Drawn is the share of Draws random draws of k, heights and terrain that show the target's top; null where none were asked for.
	Draws int      `json:"draws"`
	Drawn *float64 `json:"drawn_share"`
}

// OutingPlace is a place that serves.
type OutingPlace struct {
	LatitudeDeg  float64 `json:"latitude_deg"`
	LongitudeDeg float64 `json:"longitude_deg"`
	GroundM      float64 `json:"ground_height_m"`
	// TurnArcmin is the azimuth of the near top less that of the far one, SeparationArcmin the far top over the near one, MarginArcmin over all ground.
	TurnArcmin       float64 `json:"turn_arcmin"`
	SeparationArcmin float64 `json:"separation_arcmin"`
	MarginArcmin     float64 `json:"margin_arcmin"`
}

// OutingOther is another line near by, for half-clear air.
type OutingOther struct {
	LineID     string  `json:"line_id"`
	Observer   string  `json:"observer"`
	Target     string  `json:"target"`
	DistanceM  float64 `json:"distance_m"`
	AzimuthDeg float64 `json:"azimuth_deg"`
	AwayM      float64 `json:"away_m"` // of its observer from this one
	// Where its observer stands, and the visual range that it needs.
	LatitudeDeg         float64 `json:"latitude_deg"`
	LongitudeDeg        float64 `json:"longitude_deg"`
	VisualRangeNeededKM float64 `json:"visual_range_needed_km"`
	Rank                *int32  `json:"rank"`
	Why                 string  `json:"why"`
}

// OutingFrame is what the picture should show at the chosen lens: tops of the frame, by angle from its centre.
type OutingFrame struct {
	WidthDeg           float64     `json:"width_deg"`
	HeightDeg          float64     `json:"height_deg"`
	Upright            bool        `json:"upright"` // held upright rather than across
	CentreAzimuthDeg   float64     `json:"centre_azimuth_deg"`
	CentreElevationDeg float64     `json:"centre_elevation_deg"`
	Tops               []OutingTop `json:"tops"`
	// Skyline is the highest ground by azimuth under the curved Earth, and on the plane.
	SkylineAzimuthDeg []float64 `json:"skyline_azimuth_deg"`
	SkylineCurvedDeg  []float64 `json:"skyline_curved_deg"`
	SkylinePlaneDeg   []float64 `json:"skyline_plane_deg"`
}

// OutingTop is one top of the frame.
type OutingTop struct {
	ID         string  `json:"id"`
	Name       string  `json:"name"`
	DistanceM  float64 `json:"distance_m"`
	AzimuthDeg float64 `json:"azimuth_deg"`
	// CurvedDeg and PlaneDeg are its apparent elevation under each model, KLowDeg and KHighDeg the curved one's at k − 2·k_sd and k + 2·k_sd.
	CurvedDeg float64 `json:"curved_deg"`
	KLowDeg   float64 `json:"curved_low_k_deg"`
	KHighDeg  float64 `json:"curved_high_k_deg"`
	PlaneDeg  float64 `json:"plane_deg"`
	InView    bool    `json:"in_view"`
	OnPlane   bool    `json:"in_view_on_plane"`
	Role      string  `json:"role"` // far, near or ""
}

// OutingSky holds the sun and moon of the dates asked for.
type OutingSky struct {
	TimeZone string      `json:"time_zone"`
	Days     []OutingDay `json:"days"`
	// Windows are the stretches of useful light, Passes those when sun or moon stands behind the top.
	Windows []OutingWindow `json:"windows"`
	Passes  []OutingPass   `json:"passes"`
	// Glare are the stretches when the sun is within 10° of the frame's centre and up: no optical finder then.
	Glare []OutingWindow `json:"glare"`
}

// OutingDay is one day's rise, set and twilights, as far as they happen; State says when they do not.
type OutingDay struct {
	Date             string     `json:"date"`
	State            string     `json:"state"`
	Sunrise          *time.Time `json:"sunrise"`
	Sunset           *time.Time `json:"sunset"`
	CivilDawn        *time.Time `json:"civil_dawn"`
	CivilDusk        *time.Time `json:"civil_dusk"`
	NauticalDawn     *time.Time `json:"nautical_dawn"`
	NauticalDusk     *time.Time `json:"nautical_dusk"`
	AstronomicalDawn *time.Time `json:"astronomical_dawn"`
	AstronomicalDusk *time.Time `json:"astronomical_dusk"`
	Moonrise         *time.Time `json:"moonrise"`
	Moonset          *time.Time `json:"moonset"`
	MoonState        string     `json:"moon_state"`
	MoonLit          float64    `json:"moon_lit"` // lit part of the disc at local noon
}

// OutingWindow is a stretch of one kind of light.
type OutingWindow struct {
	From  time.Time `json:"from"`
	To    time.Time `json:"to"`
	Light string    `json:"light"` // silhouette, side, front, sun_near_frame
	// The sun at the middle of it.
	SunAzimuthDeg   float64 `json:"sun_azimuth_deg"`
	SunElevationDeg float64 `json:"sun_elevation_deg"`
}

// OutingPass is when a body stands behind the top, or comes nearest to it.
type OutingPass struct {
	Body string    `json:"body"` // sun, moon
	At   time.Time `json:"at"`
	// SeparationArcmin is that of its centre from the top, SDSeconds what the spread of k makes of the time.
	SeparationArcmin float64  `json:"separation_arcmin"`
	SDSeconds        float64  `json:"sd_seconds"`
	BodyElevationDeg float64  `json:"body_elevation_deg"`
	MoonLit          *float64 `json:"moon_lit"`
}

// OutingLens is what a lens makes of the line.
type OutingLens struct {
	SensorWidthMM  float64 `json:"sensor_width_mm"`
	SensorHeightMM float64 `json:"sensor_height_mm"`
	PixelUM        float64 `json:"pixel_um"`
	FocalMM        float64 `json:"focal_mm"`
	ApertureF      float64 `json:"aperture_f"`
	ArcsecPerPx    float64 `json:"arcsec_per_px"`
	// Pixels on what is to be measured.
	GapPx         *float64 `json:"gap_px"`         // between the models, of the far top over the near one or the front
	ObscuredPx    *float64 `json:"obscured_px"`    // the part that the curve cuts off
	StructurePx   *float64 `json:"structure_px"`   // height of the target's structure
	DiffractionPx float64  `json:"diffraction_px"` // radius of the Airy disc at green light
	ShimmerPx     float64  `json:"shimmer_px"`
	// NeededFocalMM is the focal length from which on measuring costs less than a third of the separation's own spread, and WidestFocalMM the longest that holds
	// near top, far top and horizon in one frame; Binds says which limit binds.
	NeededFocalMM  *float64 `json:"needed_focal_mm"`
	LongestFocalMM *float64 `json:"longest_focal_mm"`
	Binds          string   `json:"binds"`
}

// OutingAir is the air that the line needs, and how its prediction moves with k.
type OutingAir struct {
	VisualRangeNeededKM float64 `json:"visual_range_needed_km"`
	Contrast            float64 `json:"contrast"`
	VisualRangeKM       float64 `json:"visual_range_km"`
	// ByK is the prediction at a row of k.
	ByK []OutingAtK `json:"by_k"`
	// Expected are common-practice values of k by hour and season, marked as such.
	Expected []OutingK `json:"expected_k"`
}

// OutingAtK is the prediction at one k.
type OutingAtK struct {
	K                float64  `json:"k"`
	MarginArcmin     float64  `json:"margin_arcmin"`
	ObscuredHeightM  *float64 `json:"obscured_height_m"`
	SeparationArcmin *float64 `json:"separation_arcmin"`
	PartInView       *float64 `json:"part_in_view"`
}

// OutingK is a value of k that is customary for some hour, season or place.
type OutingK struct {
	When   string `json:"when"`
	K      string `json:"k"`
	Source string `json:"source"`
}

// OutingTide tells how much the height of the sea matters.
type OutingTide struct {
	SeaLevelM   float64 `json:"sea_level_m"`
	SeaLevelSDM float64 `json:"sea_level_sd_m"`
	// What 1 m more water does.
	MarginPerMArcmin float64  `json:"margin_per_m_arcmin"`
	ObscuredPerMM    *float64 `json:"obscured_height_per_m_m"`
	DipPerMArcmin    *float64 `json:"dip_per_m_arcmin"`
}
