package pipeline

// NamedPoint is a measured point without a name, and the name that fits it best.
type NamedPoint struct {
	Frame int     `json:"frame"` // from 1
	XPx   float64 `json:"x_px"`
	YPx   float64 `json:"y_px"`
	ID    string  `json:"id"`
	Name  string  `json:"name"`
	// RunnerUp is the next best name of this point, "" where none lies within reach, and Chi2More by how much χ² is greater with it.
	RunnerUp string  `json:"runner_up"`
	Chi2More float64 `json:"chi2_more"`
	// Used is false where the runner-up fits nearly as well, so that the point takes no part in the verdict.
	Used bool `json:"used"`
	// CurvedName and PlaneName are the names under which the curved model and the plane fit best.
	CurvedName string `json:"curved_name"`
	PlaneName  string `json:"plane_name"`
}

// ExpectedTop is a top that should stand within a frame.
type ExpectedTop struct {
	Frame      int     `json:"frame"` // from 1
	ID         string  `json:"id"`
	Name       string  `json:"name"`
	Kind       string  `json:"kind"`
	DistanceM  float64 `json:"distance_m"`
	AzimuthDeg float64 `json:"azimuth_deg"`
	// Where the two models, each at its best fit, have the top; null where that is outside the frame or the model has no fit.
	CurvedXPx *float64 `json:"curved_x_px"`
	CurvedYPx *float64 `json:"curved_y_px"`
	PlaneXPx  *float64 `json:"plane_x_px"`
	PlaneYPx  *float64 `json:"plane_y_px"`
	// Verdict and Chance are those of a survey; empty and null without terrain. PlaneShows tells whether the plane has the top over all ground.
	Verdict    Verdict  `json:"verdict"`
	Chance     *float64 `json:"chance"`
	PlaneShows *bool    `json:"plane_shows"`
	// BehindM is the distance of the ground that hides it, and Behind the named feature nearest to that ground; null and "" for a top in view.
	BehindM *float64 `json:"behind_m"`
	Behind  string   `json:"behind"`
	// Measured tells whether a point of it was measured.
	Measured bool `json:"measured"`
}

// WeighedSection is the vertical section from the eye through a near to a far top, for a drawing. Heights are over the geoid.
type WeighedSection struct {
	Frame      int     `json:"frame"` // from 1
	Near       string  `json:"near"`
	Far        string  `json:"far"`
	EyeHeightM float64 `json:"eye_height_m"`
	NearM      float64 `json:"near_distance_m"`
	NearTopM   float64 `json:"near_top_height_m"`
	FarM       float64 `json:"far_distance_m"`
	FarTopM    float64 `json:"far_top_height_m"`
	RadiusM    float64 `json:"radius_m"`
	K          float64 `json:"k"`
	// The apparent elevations of the two tops under each model, and measured by the fitted camera.
	NearCurvedDeg   float64 `json:"near_curved_deg"`
	FarCurvedDeg    float64 `json:"far_curved_deg"`
	NearPlaneDeg    float64 `json:"near_plane_deg"`
	FarPlaneDeg     float64 `json:"far_plane_deg"`
	NearMeasuredDeg float64 `json:"near_measured_deg"`
	FarMeasuredDeg  float64 `json:"far_measured_deg"`
	// DistanceM and GroundM are the ground on the way to the far top; empty without terrain.
	DistanceM []float64 `json:"ground_distance_m"`
	GroundM   []float64 `json:"ground_height_m"`
	// What is obscured of the far top's hill under each model, as heights over the geoid, and where the foot in view lies; null where nothing is.
	FrontM               *float64 `json:"front_distance_m"`
	FootM                *float64 `json:"foot_distance_m"`
	ObscuredHeightM      *float64 `json:"obscured_height_m"`
	ObscuredHeightPlaneM *float64 `json:"obscured_height_plane_m"`
	SeaObscuredHeightM   float64  `json:"sea_obscured_height_m"`
	PartInView           *float64 `json:"part_in_view"`
	PartInViewPlane      *float64 `json:"part_in_view_plane"`
}

// EvidenceRatio compares how probable the measured points are under two models, over all that the priors allow (the ratio of marginal likelihoods;
// Laplace's approximation, exact where the model is linear).
type EvidenceRatio struct {
	// CurvedOverPlane is the decimal logarithm of the ratio for a curved Earth in expected air against a plane with straight light, SameAir that
	// against a plane in the same air; null where one of the two has no fit.
	CurvedOverPlane   *float64 `json:"log10_curved_over_plane"`
	CurvedOverSameAir *float64 `json:"log10_curved_over_plane_same_air"`
	// Priors says in words what the models were given before.
	Priors string `json:"priors"`
}

// PlaneDistances tells how well the geodesic distances between places stand on a plane: the best map in the sense of least squares.
type PlaneDistances struct {
	Places int     `json:"places"`
	RMSKM  float64 `json:"rms_km"`
	MostKM float64 `json:"most_km"`
	// From and To are the places that fit worst, DistanceKM their distance.
	From       string  `json:"from"`
	To         string  `json:"to"`
	DistanceKM float64 `json:"distance_km"`
}

// PredictionCompared holds the photograph against a claim that was made before.
type PredictionCompared struct {
	Path   string `json:"path"`
	SHA256 string `json:"sha256"`
	ID     string `json:"id"`
	Made   string `json:"made"`
	// Taken is the exposure's time by EXIF, "" where none is stated; Before is "yes", "no" or "not known".
	Taken  string `json:"taken"`
	Before string `json:"before"`
	// Quantity and Rule are the claim's; MeasuredArcmin is what the photograph says of the angle, null where its points were not measured.
	Quantity         string   `json:"quantity"`
	Rule             string   `json:"rule"`
	ThresholdArcmin  *float64 `json:"threshold_arcmin"`
	MeasuredArcmin   *float64 `json:"measured_arcmin"`
	MeasuredSDArcmin *float64 `json:"measured_sd_arcmin"`
	CurvedArcmin     *float64 `json:"curved_arcmin"`
	PlaneArcmin      *float64 `json:"plane_arcmin"`
	// Refuted is the model that the claim's own rule refutes: curved, plane, or "" for none.
	Refuted string `json:"refuted"`
	// Searched is how many lines the run looked at before this one was chosen, Photographs how many photographs are tried here.
	Searched    int      `json:"lines_searched"`
	Photographs int      `json:"photographs"`
	Sentences   []string `json:"sentences"`
}
