package pipeline

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"time"
)

// ClaimForm names the layout of a claim file.
const ClaimForm = "farstation claim 1"

// Claim is a prediction frozen before the photograph: what each model of the Earth says of one sightline or alignment, past which measured
// value a model is refuted, and what went into it. Its file is JSON. SHA256 is the SHA-256, in lower-case hexadecimal, of the file's JSON
// without the member sha256, in the canonical form of RFC 8785 (members sorted by name, no spaces, numbers and texts in their shortest form).
// Absent values are null.
type Claim struct {
	Form    string `json:"form"`
	Version string `json:"farstation_version"`
	// Made is the day, in UTC: 2006-01-02.
	Made string `json:"made"`
	// RunSHA256 is the SHA-256 of the bytes of the run's run.json, which in turn lists the SHA-256 of every other file of the run.
	RunSHA256 string `json:"run_sha256"`
	// Subject is SubjectSightline or SubjectAlignment; ID is that of LineID or AlignmentID.
	Subject string `json:"subject"`
	ID      string `json:"id"`
	// Case is that of an alignment, empty for a sightline.
	Case     Case   `json:"case"`
	Sentence string `json:"claim"`
	// Quantity says in words what is measured: the angle of Models.
	Quantity string        `json:"quantity"`
	Decision ClaimDecision `json:"decision"`
	Models   []ClaimModel  `json:"models"`
	// Terms are what the spread of the angle comes from.
	Terms          []ClaimTerm      `json:"spread_terms"`
	BreakEvens     []ClaimBreakEven `json:"break_evens"`
	BreakEvenAllSD *float64         `json:"break_even_all_sd"`
	Chance         ClaimChance      `json:"chance"`
	Geometry       ClaimGeometry    `json:"geometry"`
	Air            ClaimAir         `json:"air"`
	Observer       ClaimFeature     `json:"observer"`
	Target         ClaimFeature     `json:"target"`
	Near           *ClaimFeature    `json:"near"`
	// Doubts are the codes of the line and its ends.
	Doubts     string         `json:"doubts"`
	Parameters map[string]any `json:"parameters"`
	Inputs     []Input        `json:"inputs"`
	// Searched is how many candidate lines the run looked at, and Listed how many it kept, before this one was chosen.
	Searched int    `json:"lines_searched"`
	Listed   int    `json:"lines_listed"`
	SHA256   string `json:"sha256"`
}

// The subjects of a claim.
const (
	SubjectSightline = "sightline"
	SubjectAlignment = "alignment"
)

// The names of ClaimModel: the curved Earth at k, at k − 2·k_sd and k + 2·k_sd, and in straight light; the plane in straight light and in
// the same air.
const (
	ModelCurved       = "curved"
	ModelCurvedLowK   = "curved_low_k"
	ModelCurvedHighK  = "curved_high_k"
	ModelCurvedK0     = "curved_k0"
	ModelPlane        = "plane"
	ModelPlaneSameAir = "plane_same_air"
)

// ClaimModel is what one model predicts.
type ClaimModel struct {
	Model string  `json:"model"`
	K     float64 `json:"k"`
	// AngleArcmin is the quantity of the claim. Its spread holds k's own only for curved and plane_same_air; the others are at one k.
	AngleArcmin   *float64 `json:"angle_arcmin"`
	AngleSDArcmin *float64 `json:"angle_sd_arcmin"`
	// Order and its chance are those of an alignment: far_above or near_above.
	Order          string   `json:"order"`
	FarAboveChance *float64 `json:"far_above_chance"`
	// MarginArcmin is how far the top stands over all ground before it; below 0 it is out of view.
	MarginArcmin *float64 `json:"margin_arcmin"`
	// ObscuredHeightM is null where nothing is cut off, and for alignments.
	ObscuredHeightM *float64 `json:"obscured_height_m"`
	PartInView      *float64 `json:"part_in_view"`
}

// The ways in which a claim is decided.
const (
	ByAngle = "angle" // a measured angle against a threshold
	ByLook  = "look"  // a top is seen, or missing in clear air
	ByNone  = "none"  // not by this line alone
)

// ClaimDecision is the rule by which the photograph decides. Numbers are null unless By is ByAngle.
type ClaimDecision struct {
	By string `json:"by"`
	// Decides is false where the bands of both models, three standard deviations each, overlap, or no look tells them apart.
	Decides bool   `json:"decides"`
	Rule    string `json:"rule"`
	// ThresholdArcmin lies equally many standard deviations, ThresholdSD, from both models.
	ThresholdArcmin          *float64 `json:"threshold_arcmin"`
	ThresholdSD              *float64 `json:"threshold_sd"`
	CurvedRefutedAboveArcmin *float64 `json:"curved_refuted_above_arcmin"`
	PlaneRefutedBelowArcmin  *float64 `json:"plane_refuted_below_arcmin"`
	// What each outcome means.
	IfSeen        string `json:"if_seen"`
	IfNotSeen     string `json:"if_not_seen"`
	IfAirNotClear string `json:"if_air_not_clear"`
	IfNotTried    string `json:"if_not_tried"`
}

// ClaimTerm is the part that one input has in the standard deviation of the angle; parts add in squares.
type ClaimTerm struct {
	Input        string  `json:"input"`
	CurvedArcmin float64 `json:"curved_arcmin"`
	PlaneArcmin  float64 `json:"plane_arcmin"`
}

// ClaimBreakEven is a BreakEven as the file has it; unit is m, % or empty.
type ClaimBreakEven struct {
	Input  string  `json:"input"`
	Amount float64 `json:"amount"`
	Unit   string  `json:"unit"`
	SD     float64 `json:"sd"`
}

// ClaimChance is how likely the claim's tops are in view at all, under the curved model and over the spread of k, heights and terrain. It says
// nothing of haze. Near and Shows, the chance that the alignment shows what its case says, are null for sightlines.
type ClaimChance struct {
	TopLow  float64  `json:"top_in_view_low"`
	TopHigh float64  `json:"top_in_view_high"`
	Near    *float64 `json:"near_in_view"`
	Shows   *float64 `json:"shows_its_case"`
}

// ClaimGeometry holds the lengths and angles of the line.
type ClaimGeometry struct {
	DistanceM      float64  `json:"distance_m"`
	AzimuthDeg     float64  `json:"azimuth_deg"`
	NearDistanceM  *float64 `json:"near_distance_m"`
	FrontDistanceM *float64 `json:"front_distance_m"`
	FrontHeightM   *float64 `json:"front_height_m"`
	EyeHeightM     float64  `json:"eye_height_m"`
	TopHeightM     float64  `json:"top_height_m"`
	RadiusM        float64  `json:"radius_m"`
	Verdict        Verdict  `json:"verdict"`
	CriticalK      float64  `json:"critical_k"`
}

// ClaimAir is the refraction coefficient of the claim and where it is from.
type ClaimAir struct {
	K       float64 `json:"k"`
	KSD     float64 `json:"k_sd"`
	KOwnSD  float64 `json:"k_own_sd"`
	KSource string  `json:"k_source"`
}

// ClaimFeature is an end of the line, with all that is known of its height.
type ClaimFeature struct {
	ID                 string   `json:"id"`
	Name               string   `json:"name"`
	Kind               string   `json:"kind"`
	LatitudeDeg        float64  `json:"latitude_deg"`
	LongitudeDeg       float64  `json:"longitude_deg"`
	PositionSDM        float64  `json:"position_sd_m"`
	GroundHeightM      float64  `json:"ground_height_m"`
	GroundHeightSDM    float64  `json:"ground_height_sd_m"`
	HeightSource       string   `json:"height_source"`
	ListedHeightM      *float64 `json:"listed_height_m"`
	TerrainHeightM     *float64 `json:"terrain_height_m"`
	StructureHeightM   float64  `json:"structure_height_m"`
	StructureHeightSDM float64  `json:"structure_height_sd_m"`
	Sources            string   `json:"sources"`
	Doubts             string   `json:"doubts"`
}

// LineID names a sightline: observer>target.
func LineID(l *Sightline) string { return l.ObserverID + ">" + l.TargetID }

// AlignmentID names an alignment: observer>near>far.
func AlignmentID(a *Alignment) string { return a.ObserverID + ">" + a.NearID + ">" + a.FarID }

// ErrClaimChanged marks a claim whose content is not the one that its hash was made of.
var ErrClaimChanged = errors.New("the claim was changed after it was made")

// mostClaimBytes bounds a claim's file; those with the longest of profiles stay far below.
const mostClaimBytes = 64 << 20

// ReadClaim reads a claim file and checks its form and own hash. The error is ErrClaimChanged where the hash is another.
func ReadClaim(path string) (*Claim, error) {
	text, err := ReadRegular(path, mostClaimBytes)
	if err != nil {
		return nil, fmt.Errorf("claim %s: %w", path, err)
	}
	claim, err := ParseClaim(text)
	if err != nil {
		return nil, fmt.Errorf("claim %s: %w", path, err)
	}
	return claim, nil
}

// ParseClaim is ReadClaim for the bytes of the file.
func ParseClaim(text []byte) (*Claim, error) {
	var claim Claim
	if err := json.Unmarshal(text, &claim); err != nil {
		return nil, fmt.Errorf("is no claim: %w", err)
	}
	members, err := parseObject(text)
	if err != nil {
		return nil, fmt.Errorf("is no claim: %w", err)
	}
	if claim.Form != ClaimForm {
		return nil, fmt.Errorf("its form is %q, want %q: name a file that claim wrote", claim.Form, ClaimForm)
	}
	own, err := hashWithout(members, "sha256")
	if err != nil {
		return nil, err
	}
	if own != claim.SHA256 {
		return nil, fmt.Errorf("%w: its content has the hash %s, it states %s", ErrClaimChanged, own, claim.SHA256)
	}
	return &claim, claim.check()
}

// check tells whether a program can rely on the claim.
func (c *Claim) check() error {
	if _, err := time.Parse(time.DateOnly, c.Made); err != nil {
		return fmt.Errorf("made %q: want a day such as 2031-05-20", c.Made)
	}
	if !regexp.MustCompile("^[0-9a-f]{64}$").MatchString(c.RunSHA256) {
		return fmt.Errorf("run_sha256 %q: want 64 hexadecimal digits", c.RunSHA256)
	}
	for _, name := range []string{ModelCurved, ModelPlane} {
		m := c.Model(name)
		if m == nil {
			return fmt.Errorf("has no model %q", name)
		}
		if c.Decision.By == ByAngle && (m.AngleArcmin == nil || m.AngleSDArcmin == nil) {
			return fmt.Errorf("model %q has no angle although the claim is decided by it", name)
		}
	}
	return nil
}

// Model returns what a model predicts, nil where the claim does not have it.
func (c *Claim) Model(name string) *ClaimModel {
	for i := range c.Models {
		if c.Models[i].Model == name {
			return &c.Models[i]
		}
	}
	return nil
}

// Encode sets the claim's hash and returns the bytes of its file.
func (c *Claim) Encode() ([]byte, error) {
	c.SHA256 = ""
	text, err := json.Marshal(c)
	if err != nil {
		return nil, fmt.Errorf("claim %s: %w", c.ID, err)
	}
	members, err := parseObject(text)
	if err == nil {
		c.SHA256, err = hashWithout(members, "sha256")
	}
	if err != nil {
		return nil, fmt.Errorf("claim %s: %w", c.ID, err)
	}
	var file bytes.Buffer
	encoder := json.NewEncoder(&file)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	err = encoder.Encode(c)
	return file.Bytes(), err
}

// KSourceOf is what a claim says of its k where nobody says more.
func KSourceOf(k float64) string {
	if k == DefaultOptions().K {
		return "customary 1/7 of surveying by day; not measured on this line"
	}
	return fmt.Sprintf("as given to the survey, %g; source not stated", k)
}
