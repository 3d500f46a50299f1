package pipeline

// The result types are the rows of the run's tables. Their tags are the data dictionary: `parquet` names the column (optional =
// may be null), `unit` its unit, `doc` its meaning; reports derives the Parquet schema and `farstation schema` from them, so a
// column cannot exist without an explanation. A nil pointer is null.

// Verdict says what the line gives at nominal heights.
type Verdict string

// The verdicts, from surest to least.
const (
	Direct    Verdict = "direct"    // k_c < 0: in view without any refraction
	Refracted Verdict = "refracted" // 0 ≤ k_c ≤ k
	Looming   Verdict = "looming"   // k < k_c ≤ k + 3·k_sd
	Blocked   Verdict = "blocked"   // beyond that
	Undecided Verdict = "undecided" // terrain is missing and matters
)

// FeatureRow is one row of features.parquet.
type FeatureRow struct {
	FeatureID          string   `parquet:"feature_id" unit:"" doc:"identifier, format and number of the record: geonames:123, csv:…"`
	Name               string   `parquet:"name" unit:"" doc:"best name"`
	OtherNames         string   `parquet:"other_names" unit:"" doc:"all other names, separated by |"`
	Kind               string   `parquet:"kind,dict" unit:"" doc:"peak, hill, volcano, tower, mast, chimney, lighthouse, turbine, building, viewpoint or place"`
	LatitudeDeg        float64  `parquet:"latitude_deg" unit:"deg" doc:"latitude used, WGS84, north positive"`
	LongitudeDeg       float64  `parquet:"longitude_deg" unit:"deg" doc:"longitude used, WGS84, east positive"`
	ListedLatitudeDeg  float64  `parquet:"listed_latitude_deg" unit:"deg" doc:"latitude as the gazetteer lists it"`
	ListedLongitudeDeg float64  `parquet:"listed_longitude_deg" unit:"deg" doc:"longitude as the gazetteer lists it"`
	MovedM             float64  `parquet:"moved_m" unit:"m" doc:"how far the feature was moved from its listed place to the highest ground within the accuracy of that place"`
	GroundHeightM      float64  `parquet:"ground_height_m" unit:"m" doc:"height of the ground over the geoid that is used"`
	ListedHeightM      *float64 `parquet:"listed_height_m,optional" unit:"m" doc:"height of the ground as listed; null where the gazetteer gives none"`
	TerrainHeightM     *float64 `parquet:"terrain_height_m,optional" unit:"m" doc:"height of the terrain at the place used; null where terrain is missing"`
	StructureHeightM   float64  `parquet:"structure_height_m" unit:"m" doc:"height over the ground of the thing that stands there; 0 for bare ground"`
	GroundHeightSDM    float64  `parquet:"ground_height_sd_m" unit:"m" doc:"standard deviation of the ground height"`
	StructureHeightSDM float64  `parquet:"structure_height_sd_m" unit:"m" doc:"standard deviation of the structure height"`
	PositionSDM        float64  `parquet:"position_sd_m" unit:"m" doc:"standard deviation of the place, each way"`
	HeightSource       string   `parquet:"height_source,dict" unit:"" doc:"where the ground height came from: listed or terrain"`
	Doubts             string   `parquet:"doubts,dict" unit:"" doc:"comma list of doubt codes, empty where there are none"`
	Sources            string   `parquet:"sources" unit:"" doc:"every record merged into the feature, separated by commas"`
	UndulationM        float64  `parquet:"undulation_m" unit:"m" doc:"height of the EGM96 geoid over the ellipsoid at the place used"`
}

// Sightline is one row of sightlines.parquet: the directed line from an observer's eye to the top of a target, and all that is
// predicted of it. Low and high k are k − 2·k_sd and k + 2·k_sd.
type Sightline struct {
	ObserverID   string `parquet:"observer_id,dict" unit:"" doc:"feature_id of the observer"`
	ObserverName string `parquet:"observer_name,dict" unit:"" doc:"name of the observer"`
	ObserverKind string `parquet:"observer_kind,dict" unit:"" doc:"kind of the observer"`
	TargetID     string `parquet:"target_id,dict" unit:"" doc:"feature_id of the target"`
	TargetName   string `parquet:"target_name,dict" unit:"" doc:"name of the target"`
	TargetKind   string `parquet:"target_kind,dict" unit:"" doc:"kind of the target"`

	DistanceM      float64 `parquet:"distance_m" unit:"m" doc:"length of the geodesic between the two places"`
	AzimuthDeg     float64 `parquet:"azimuth_deg" unit:"deg" doc:"azimuth of the target at the observer, from north eastward, 0…360"`
	BackAzimuthDeg float64 `parquet:"back_azimuth_deg" unit:"deg" doc:"azimuth of the observer at the target"`
	EyeHeightM     float64 `parquet:"eye_height_m" unit:"m" doc:"height of the eye over the geoid"`
	TopHeightM     float64 `parquet:"top_height_m" unit:"m" doc:"height of the target's top over the geoid"`
	RadiusM        float64 `parquet:"radius_m" unit:"m" doc:"Euler's radius of curvature of the ellipsoid along the line, at its middle"`

	ElevationDeg             float64 `parquet:"elevation_deg" unit:"deg" doc:"apparent elevation of the top under the curved model at k, from the eye's horizontal"`
	ElevationSDArcmin        float64 `parquet:"elevation_sd_arcmin" unit:"arcmin" doc:"standard deviation of elevation_deg from k and both heights"`
	ElevationPlaneDeg        float64 `parquet:"elevation_plane_deg" unit:"deg" doc:"elevation of the top under the plane model, light straight"`
	ElevationPlaneSameAirDeg float64 `parquet:"elevation_plane_same_air_deg" unit:"deg" doc:"apparent elevation of the top on the plane in the same air (light bends by k)"`

	CriticalK               float64  `parquet:"critical_k" unit:"" doc:"critical refraction k_c: the k at which the top just grazes; the lower, the surer. With gaps in the terrain filled high; on undecided lines, and all else that terrain gives there, with gaps as sea"`
	CriticalKSD             float64  `parquet:"critical_k_sd" unit:"" doc:"standard deviation of k_c from the heights of both ends and the terrain, at the riskiest point, without k's own"`
	CriticalKWithoutSpikes  float64  `parquet:"critical_k_without_spikes" unit:"" doc:"k_c of the ground but for cells with a single post that stands over all its neighbours like nothing real; less than critical_k where such a spike decides"`
	CriticalKBeyond1km      float64  `parquet:"critical_k_beyond_1km" unit:"" doc:"k_c of the ground farther than 1 km from both ends; critical_k itself on lines too short to have any"`
	GrazingDistanceM        float64  `parquet:"grazing_distance_m" unit:"m" doc:"distance of the grazing point from the observer"`
	GrazingHeightM          float64  `parquet:"grazing_height_m" unit:"m" doc:"height of the ground over the geoid at the grazing point"`
	RiskiestDistanceM       float64  `parquet:"riskiest_distance_m" unit:"m" doc:"distance of the point most likely to cut off the top, heights and terrain being as uncertain as they are"`
	MarginArcmin            float64  `parquet:"margin_arcmin" unit:"arcmin" doc:"elevation of the top minus the greatest elevation of any ground outside the guards, at k; negative = cut off"`
	MarginPlaneArcmin       float64  `parquet:"margin_plane_arcmin" unit:"arcmin" doc:"the same on the plane"`
	Verdict                 Verdict  `parquet:"verdict,dict" unit:"" doc:"direct, refracted, looming, blocked or undecided"`
	Chance                  *float64 `parquet:"chance,optional" unit:"" doc:"probability that no ground cuts off the top, over the spread of k, heights and terrain; says nothing of haze; null where undecided"`
	ChanceLow               float64  `parquet:"chance_low" unit:"" doc:"that probability with gaps in the terrain filled high; equals chance where no terrain is missing"`
	ChanceHigh              float64  `parquet:"chance_high" unit:"" doc:"that probability with gaps in the terrain taken as sea"`
	UndecidedAtM            *float64 `parquet:"undecided_at_m,optional" unit:"m" doc:"distance of the gap in the terrain that leaves the line undecided"`
	LackingHeightM          *float64 `parquet:"lacking_height_m,optional" unit:"m" doc:"height that a blocked top lacks to show"`
	FrontDistanceM          *float64 `parquet:"front_distance_m,optional" unit:"m" doc:"distance of the front, the ridge or sea horizon beyond which ground is cut off, for a top out of view that which cuts it off; null where nothing is"`
	FrontHeightM            *float64 `parquet:"front_height_m,optional" unit:"m" doc:"height of the ground over the geoid at the front"`
	FootDistanceM           *float64 `parquet:"foot_distance_m,optional" unit:"m" doc:"distance of the foot in view"`
	BaseHeightM             float64  `parquet:"base_height_m" unit:"m" doc:"lowest known ground within 10 km before the target, no further back than half-way"`
	CutHeightM              float64  `parquet:"cut_height_m" unit:"m" doc:"greatest elevation of any ground nearer than 95 % of the distance, carried on to the target's distance; an upper bound of what is cut; 100,000 where that direction never stands over the target"`
	ObscuredHeightM         *float64 `parquet:"obscured_height_m,optional" unit:"m" doc:"height of the foot in view over the geoid at k: all below it is cut off; null where nothing is"`
	ObscuredHeightLowKM     *float64 `parquet:"obscured_height_low_k_m,optional" unit:"m" doc:"the same at k − 2·k_sd"`
	ObscuredHeightHighKM    *float64 `parquet:"obscured_height_high_k_m,optional" unit:"m" doc:"the same at k + 2·k_sd"`
	ObscuredHeightK0M       *float64 `parquet:"obscured_height_k0_m,optional" unit:"m" doc:"the same at k = 0, light straight"`
	ObscuredHeightPlaneM    *float64 `parquet:"obscured_height_plane_m,optional" unit:"m" doc:"the same on the plane"`
	PartInView              *float64 `parquet:"part_in_view,optional" unit:"" doc:"angle from foot to top over angle from base point to top, at k; null where undecided"`
	PartInViewPlane         *float64 `parquet:"part_in_view_plane,optional" unit:"" doc:"the same on the plane"`
	StructureInViewM        *float64 `parquet:"structure_in_view_m,optional" unit:"m" doc:"metres of the target's structure that show; null where the target has none"`
	DipArcmin               *float64 `parquet:"dip_arcmin,optional" unit:"arcmin" doc:"dip of the sea horizon; null for an eye below the sea and where no sea lies on the line"`
	SeaHorizonM             *float64 `parquet:"sea_horizon_m,optional" unit:"m" doc:"distance of the sea horizon; null as dip_arcmin"`
	SeaObscuredHeightM      float64  `parquet:"sea_obscured_height_m" unit:"m" doc:"height that a bare sea would obscure at the target's distance (handbook value, no terrain; 0 inside the horizon; eyes below the sea count as at it)"`
	ModelGapArcmin          float64  `parquet:"model_gap_arcmin" unit:"arcmin" doc:"plane elevation minus curved elevation of the top"`
	EvidenceSD              float64  `parquet:"evidence_sd" unit:"sd" doc:"how far apart the models are in what can be measured, over its standard deviation: separation of the best alignment, else of the top from the front; 0 where there is neither"`
	FrontAngleSDArcmin      *float64 `parquet:"front_angle_sd_arcmin,optional" unit:"arcmin" doc:"standard deviation of the angle of the top over the front, errors that both share cancelled; null where no front stands before a top in view"`
	FrontAnglePlaneSDArcmin *float64 `parquet:"front_angle_sd_plane_arcmin,optional" unit:"arcmin" doc:"the same on the plane, light straight: heights and places alone"`
	Contrast                float64  `parquet:"contrast" unit:"" doc:"share of a dark target's contrast against the sky that clean air and haze of the stated visual range leave"`
	VisualRangeNeededKM     float64  `parquet:"visual_range_needed_km" unit:"km" doc:"meteorological range at sea level from which on 2 % of contrast are left; 1000 where even clean air leaves less"`
	SkyBehind               *bool    `parquet:"sky_behind,optional" unit:"" doc:"sky, not ground, stands behind the top at k; null where undecided, cut off, or missing terrain might stand there"`
	BackdropArcmin          *float64 `parquet:"backdrop_arcmin,optional" unit:"arcmin" doc:"apparent elevation of the highest ground behind, less that of the top: positive = ground behind the top; null as sky_behind, and where nothing but sea or nothing at all is behind"`
	TerrainCoverage         float64  `parquet:"terrain_coverage" unit:"" doc:"share of the line with terrain, sea included; 1 = no gap"`
	Doubts                  string   `parquet:"doubts,dict" unit:"" doc:"comma list of doubt codes of the line and both ends"`
	AlignmentCount          int32    `parquet:"alignment_count" unit:"" doc:"alignments in which this line is the far one"`
	BestAlignmentNearID     *string  `parquet:"best_alignment_near_id,optional" unit:"" doc:"feature_id of the near top of the best of them"`
	KFree                   float64  `parquet:"k_free" unit:"" doc:"refraction coefficient of free air on this line: k, or that of the air by height at the grazing point"`
	KMean                   float64  `parquet:"k_mean" unit:"" doc:"mean k along the ray used at the riskiest point"`
	KSD                     float64  `parquet:"k_sd" unit:"" doc:"standard deviation of k used at the riskiest point"`

	ScoreReach    *float64 `parquet:"score_reach,optional" unit:"" doc:"term reach: grows with the logarithm of the distance, 30 km 0, 300 km 1"`
	ScoreShare    *float64 `parquet:"score_share,optional" unit:"" doc:"term share: angle in view under the curve over angle in view on the plane"`
	ScoreLoss     *float64 `parquet:"score_loss,optional" unit:"" doc:"term loss: 4u(1−u) with u the share; best when half is cut and half shows"`
	ScoreFlip     *float64 `parquet:"score_flip,optional" unit:"" doc:"term order flip: probability that the best alignment's order differs between the models"`
	ScoreAbsence  *float64 `parquet:"score_absence,optional" unit:"" doc:"term absence: greatest chance of a near top in the frame that the plane shows and the curve hides while this top is in view"`
	ScoreSky      *float64 `parquet:"score_sky,optional" unit:"" doc:"term sky: 1 where the ground behind lies 2 arc minutes or more below the top, 0.3 where far ground stands nearer or behind it, 0.1 where near ground does"`
	ScoreAir      *float64 `parquet:"score_air,optional" unit:"" doc:"term air: logarithm of the contrast left, 0.5 % 0, all 1"`
	ScoreFan      *float64 `parquet:"score_fan,optional" unit:"" doc:"term fan: spread of the distances of all tops in view in the frame, which tells curvature from roll"`
	ScoreUnique   *float64 `parquet:"score_unique,optional" unit:"" doc:"term unique: share of the region's observers that have no listed line in view to the target"`
	ScoreLight    *float64 `parquet:"score_light,optional" unit:"" doc:"term light: days of the year with the sun behind the target's skyline or low aside, over 15"`
	ScoreEvidence *float64 `parquet:"score_evidence,optional" unit:"" doc:"term evidence: evidence of the best alignment over the most that the spread of k allows"`
	ScoreRuler    *float64 `parquet:"score_ruler,optional" unit:"" doc:"term ruler: a near structure of known height exactly before the top"`
	GateSure      float64  `parquet:"gate_sure" unit:"" doc:"gate: chance that the top clears, the low one where the line is undecided"`
	GateSound     float64  `parquet:"gate_sound" unit:"" doc:"gate: 1, less for heights or places that are doubted, 0 for an unresolved contradiction"`
	GateSeen      float64  `parquet:"gate_seen" unit:"" doc:"gate: width of the target's structure over twice the seeing of 5 arc seconds; 1 for ground and buildings"`
	GateStand     float64  `parquet:"gate_stand" unit:"" doc:"gate: whether anybody can stand at the observer: 1 viewpoint, 0.6 summit, 0.2 tower, 0 mast, chimney, turbine"`
	ScoreTest     *float64 `parquet:"score_test,optional" unit:"" doc:"score as a test of the models, 0–100; null where undecided"`
	ScorePicture  *float64 `parquet:"score_picture,optional" unit:"" doc:"score as a picture, 0–100; null where undecided"`
	Rank          *int32   `parquet:"rank,optional" unit:"" doc:"place in the ranking, 1 = best; null where not ranked"`
	AlikeCount    int32    `parquet:"alike_count" unit:"" doc:"lines alike this one (both ends within max(2 km, 2 % of the distance), same kind of target), itself included"`

	// Ends of the line, for geometry columns; not columns themselves.
	ObserverLatDeg, ObserverLonDeg float64 `parquet:"-"`
	TargetLatDeg, TargetLonDeg     float64 `parquet:"-"`
	// Chunk orders the rows: the observer's place along the Hilbert curve.
	Chunk int32 `parquet:"-"`

	// Angles in view, from foot to top, under the two models; for the score.
	angleCurvedRad, anglePlaneRad float64
	// Distance of the highest ground behind, 0 where none is known.
	backdropM float64
}

// Case says what an alignment tests.
type Case string

// The cases of an alignment.
const (
	BothInView         Case = "both_in_view"
	FarBehindNear      Case = "far_behind_near"
	NearMissingFarSeen Case = "near_missing_far_seen"
)

// Alignment is one row of alignments.parquet: from one observer, a near top and a far top within a small horizontal angle.
type Alignment struct {
	ObserverID               string   `parquet:"observer_id,dict" unit:"" doc:"feature_id of the observer"`
	ObserverName             string   `parquet:"observer_name,dict" unit:"" doc:"name of the observer"`
	NearID                   string   `parquet:"near_id,dict" unit:"" doc:"feature_id of the near top"`
	NearName                 string   `parquet:"near_name,dict" unit:"" doc:"name of the near top"`
	FarID                    string   `parquet:"far_id,dict" unit:"" doc:"feature_id of the far top"`
	FarName                  string   `parquet:"far_name,dict" unit:"" doc:"name of the far top"`
	NearDistanceM            float64  `parquet:"near_distance_m" unit:"m" doc:"distance of the near top"`
	FarDistanceM             float64  `parquet:"far_distance_m" unit:"m" doc:"distance of the far top"`
	AzimuthDeg               float64  `parquet:"azimuth_deg" unit:"deg" doc:"azimuth of the far top at the observer"`
	AzimuthDifferenceArcmin  float64  `parquet:"azimuth_difference_arcmin" unit:"arcmin" doc:"azimuth of the near top minus that of the far top"`
	AzimuthDifferenceSD      float64  `parquet:"azimuth_difference_sd_arcmin" unit:"arcmin" doc:"standard deviation of azimuth_difference_arcmin from the three positions"`
	AlignedChance            float64  `parquet:"aligned_chance" unit:"" doc:"probability that the two lie within the tolerance, over the spread of positions"`
	Case                     Case     `parquet:"case,dict" unit:"" doc:"both_in_view, far_behind_near or near_missing_far_seen"`
	NearElevationDeg         float64  `parquet:"near_elevation_deg" unit:"deg" doc:"apparent elevation of the near top, curved at k"`
	FarElevationDeg          float64  `parquet:"far_elevation_deg" unit:"deg" doc:"apparent elevation of the far top, curved at k"`
	NearCriticalK            float64  `parquet:"near_critical_k" unit:"" doc:"critical refraction of the near line"`
	FarCriticalK             float64  `parquet:"far_critical_k" unit:"" doc:"critical refraction of the far line"`
	NearInViewChance         float64  `parquet:"near_in_view_chance" unit:"" doc:"chance of the near line"`
	FarInViewChance          float64  `parquet:"far_in_view_chance" unit:"" doc:"chance of the far line"`
	PlaneShowsBoth           bool     `parquet:"plane_shows_both" unit:"" doc:"both tops are in view on the plane"`
	SeparationArcmin         float64  `parquet:"separation_arcmin" unit:"arcmin" doc:"far top above near top in apparent elevation, curved at k"`
	SeparationSDArcmin       float64  `parquet:"separation_sd_arcmin" unit:"arcmin" doc:"standard deviation of the separation, errors that both tops share cancelled"`
	SeparationPlaneArcmin    float64  `parquet:"separation_plane_arcmin" unit:"arcmin" doc:"the separation on the plane, light straight"`
	SeparationPlaneAirArcmin float64  `parquet:"separation_plane_same_air_arcmin" unit:"arcmin" doc:"the separation on the plane in the same air"`
	OrderCurved              string   `parquet:"order_curved,dict" unit:"" doc:"far_above or near_above under the curved model"`
	OrderPlane               string   `parquet:"order_plane,dict" unit:"" doc:"far_above or near_above on the plane"`
	OrderDiffersChance       float64  `parquet:"order_differs_chance" unit:"" doc:"probability that the order of the two tops differs between the models"`
	ModelGapArcmin           float64  `parquet:"model_gap_arcmin" unit:"arcmin" doc:"separation on the plane minus separation under the curve"`
	ModelGapNearM            float64  `parquet:"model_gap_near_m" unit:"m" doc:"that gap in metres at the near top"`
	ModelGapNearHeights      *float64 `parquet:"model_gap_near_heights,optional" unit:"" doc:"that gap in heights of the near structure; null where it has none"`
	EvidenceSD               float64  `parquet:"evidence_sd" unit:"sd" doc:"gap over the standard deviation of the separation"`
	Chance                   float64  `parquet:"chance" unit:"" doc:"probability that the alignment shows what its case says"`
	Doubts                   string   `parquet:"doubts,dict" unit:"" doc:"comma list of doubt codes of the three features"`
	BreakEvenEyeM            float64  `parquet:"break_even_eye_m" unit:"m" doc:"by how much the eye's height alone must be wrong for the plane to fit the curved separation"`
	BreakEvenNearM           float64  `parquet:"break_even_near_m" unit:"m" doc:"the same for the height of the near top"`
	BreakEvenFarM            float64  `parquet:"break_even_far_m" unit:"m" doc:"the same for the height of the far top"`
	BreakEvenAllSD           float64  `parquet:"break_even_all_sd" unit:"sd" doc:"the same for all heights and places at once, each in its worst direction, in standard deviations; 1000 where they are exact"`
	MiddleIDs                string   `parquet:"middle_ids" unit:"" doc:"comma list of tops between the two, aligned with both and in view: three or more in line"`
	Score                    float64  `parquet:"score" unit:"" doc:"0–100"`
	Rank                     *int32   `parquet:"rank,optional" unit:"" doc:"place in the ranking of alignments, 1 = best; null where not ranked"`

	// Ends of the far line, for geometry columns; not columns themselves.
	ObserverLatDeg, ObserverLonDeg float64 `parquet:"-"`
	FarLatDeg, FarLonDeg           float64 `parquet:"-"`
	Chunk                          int32   `parquet:"-"`

	depthArcmin float64 // by how much a missing near top lies below what hides it
}
