package pipeline

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/camera"
)

// madePlace is where newMadePhotograph stands.
var madePlace = geodesy.LatLon{LatDeg: -32.4, LonDeg: -123.7}

// madeClaim writes a claim on the tops of two features of a made photograph.
func madeClaim(t *testing.T, made string, curvedArcmin, planeArcmin float64, near, target string) string {
	t.Helper()
	sd := 0.2
	c := &Claim{
		Form: ClaimForm, Made: made, RunSHA256: strings.Repeat("0", 64), Subject: SubjectAlignment, ID: "camera>" + near + ">" + target, Case: BothInView, Quantity: "angle",
		Observer: ClaimFeature{Name: "the camera", LatitudeDeg: madePlace.LatDeg, LongitudeDeg: madePlace.LonDeg}, Target: ClaimFeature{ID: target, Name: "the far top"}, Near: &ClaimFeature{ID: near, Name: "the near top"}, Searched: 4321, Listed: 99,
		Models: []ClaimModel{{Model: ModelCurved, AngleArcmin: &curvedArcmin, AngleSDArcmin: &sd}, {Model: ModelPlane, AngleArcmin: &planeArcmin, AngleSDArcmin: &sd}},
	}
	c.Decision.byAngle(&c.Models[0], &c.Models[1])
	text, err := c.Encode()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "claim.json")
	if err := os.WriteFile(path, text, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestPrediction: the measured angle of a made photograph of the Earth is judged by a claim's own rule, and a claim that was changed is refused. The true
// angle between Far Tellan (m4) and Braven (m6) is worked out by the test's own projection.
func TestPrediction(t *testing.T) {
	m := newMadePhotograph(61, 1-0.143)
	m.noisePx, m.ownKSD, m.listedHeightSDM = 0, 0, 0
	o := m.write(t)
	// By the parabola: h/s − s(1−k)/2R for either.
	angle := func(c float64) float64 {
		elevation := func(heightM, s float64) float64 { return (heightM-m.eyeM)/s - c*s/(2*6.37e6) }
		return (elevation(2210, 131_000) - elevation(1150, 67_000)) * arcminPerRad
	}
	curved, plane := angle(1-0.143), angle(0)
	for _, test := range []struct {
		name, made    string
		curved, plane float64
		refuted       string
		said          string
	}{
		{"as it came out", "2031-05-20", curved, plane, ModelPlane, "the plane has lost"},
		{"the other way round", "2031-05-20", plane, curved, ModelCurved, "the curved Earth has lost"},
		{"both wrong", "2031-05-20", curved + 30, plane + 30, "", "neither model fits"},
		{"both right", "2031-05-20", curved, curved, "", "cannot tell"},
	} {
		o.Prediction, o.Tried = madeClaim(t, test.made, test.curved, test.plane, "csv:m6", "csv:m4"), 7
		w, err := Weigh(t.Context(), o)
		if err != nil {
			t.Fatal(err)
		}
		p := w.Prediction
		said := strings.Join(p.Sentences, "\n")
		if p.Refuted != test.refuted || !strings.Contains(said, test.said) || p.Before != "not known" || p.Searched != 4321 || p.Photographs != 7 || !strings.Contains(said, "4321 candidate lines") {
			t.Errorf("%s: %+v", test.name, p)
		}
		if p.MeasuredArcmin == nil || *p.MeasuredArcmin-curved > 0.3 || curved-*p.MeasuredArcmin > 0.3 {
			t.Errorf("%s: measured %v, by hand %.2f′", test.name, p.MeasuredArcmin, curved)
		}
	}
	o.Prediction = madeClaim(t, "2031-05-20", curved, plane, "csv:m6", "csv:m99")
	if _, err := Weigh(t.Context(), o); err == nil || !strings.Contains(err.Error(), "no photograph shows the far top") {
		t.Errorf("a claim of something else: error %v", err)
	}
	o.Prediction = madeClaim(t, "2031-05-20", curved, plane, "csv:m6", "csv:m4")
	at := o.Cameras[0].At
	o.Cameras[0].At.LatDeg += 0.01 // 1.1 km
	if _, err := Weigh(t.Context(), o); err == nil || !strings.Contains(err.Error(), "a line from the camera at -32.40000,-123.70000, and photograph 1 was taken 1.1 km from there") {
		t.Errorf("a claim of a line from elsewhere: error %v", err)
	}
	o.Cameras[0].At = at
	text, err := os.ReadFile(o.Prediction)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(o.Prediction, []byte(strings.Replace(string(text), "2031-05-20", "2031-05-19", 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Weigh(t.Context(), o); err == nil || !strings.Contains(err.Error(), ErrClaimChanged.Error()) {
		t.Errorf("a changed claim: error %v", err)
	}
}

// TestDistancesOnPlane: four places about a centre, d north, east, south and west of it, cannot stand on a plane. By symmetry the best map is a square; with
// diagonals of 2d and sides a on the Earth, least squares gives half its diagonal as x = (2d + √2·a)/4.
func TestDistancesOnPlane(t *testing.T) {
	s := &Scene{}
	if d := s.distancesOnPlane(); d != nil {
		t.Errorf("no stations: %+v", d)
	}
	const dM = 150_000
	centre := geodesy.LatLon{LatDeg: 0, LonDeg: 20}
	var at []geodesy.LatLon
	for i := range 4 {
		p, _ := geodesy.WGS84.Direct(centre, 90*float64(i), dM)
		at = append(at, p)
	}
	s.stations = []camera.Station{{Place: at[0]}, {Place: at[2]}}
	s.Targets = []gazetteer.Feature{{Name: "east", At: at[1]}, {Name: "west", At: at[3]}}
	sideM := geodesy.WGS84.Inverse(at[0], at[1]).DistanceM
	x := (2*dM + math.Sqrt2*sideM) / 4
	offDiagonal, offSide := math.Abs(2*x-2*dM)/1000, math.Abs(math.Sqrt2*x-sideM)/1000
	got := s.distancesOnPlane()
	if want := math.Max(offDiagonal, offSide); math.Abs(got.MostKM-want) > 0.02*want || got.Places != 4 {
		t.Errorf("worst by %.5f km, by hand %.5f km (%+v)", got.MostKM, want, got)
	}
	if want := math.Sqrt((2*offDiagonal*offDiagonal + 4*offSide*offSide) / 6); math.Abs(got.RMSKM-want) > 0.02*want || want == 0 {
		t.Errorf("mean square %.5f km, by hand %.5f km", got.RMSKM, want)
	}
}
