package pipeline

import (
	"maps"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"farstation/gazetteer"
	"farstation/geodesy"
)

func TestParseWeights(t *testing.T) {
	base := func() map[string]float64 { return map[string]float64{"reach": 1, "loss": 2} }
	good := []struct {
		list string
		want map[string]float64
	}{
		{"", base()},
		{"  ", base()},
		{"reach=3", map[string]float64{"reach": 3, "loss": 2}},
		{"loss=0, flip=1.5", map[string]float64{"reach": 1, "loss": 0, "flip": 1.5}},
		{"reach=1,reach=4", map[string]float64{"reach": 4, "loss": 2}},
		{"evidence=1e-3,ruler=2,share=1", map[string]float64{"reach": 1, "loss": 2, "evidence": 0.001, "ruler": 2, "share": 1}},
	}
	for _, test := range good {
		got, err := ParseWeights(test.list, base())
		if err != nil || !maps.Equal(got, test.want) {
			t.Errorf("ParseWeights(%q) = %v, %v; want %v", test.list, got, err, test.want)
		}
	}
	for list, named := range map[string]string{
		"beauty=1": "beauty", "reach": "reach", "reach=": "reach=", "=2": "=2", "reach=-1": "reach=-1", "reach=NaN": "reach=NaN", "reach=Inf": "reach=Inf",
		"reach=1,,loss=1": `""`, "reach=one": "reach=one", "Reach=1": "Reach",
	} {
		if got, err := ParseWeights(list, base()); err == nil || !strings.Contains(err.Error(), named) {
			t.Errorf("ParseWeights(%q) = %v, %v; want an error that names %s", list, got, err, named)
		}
	}
	for name, weights := range map[string]map[string]float64{"test": TestWeights(), "picture": PictureWeights()} {
		for term := range weights {
			if _, err := ParseWeights(term+"=1", base()); err != nil {
				t.Errorf("the %s ranking has a weight for %s, which ParseWeights refuses: %v", name, term, err)
			}
		}
	}
}

// scored is a line as the score sees it: half of what the plane shows is in view.
func scored(distanceKM float64) Sightline {
	return Sightline{
		Verdict: Direct, DistanceM: distanceKM * 1000, Chance: pointer(0.9), ChanceLow: 0.9, ChanceHigh: 0.9, Contrast: 0.1, TerrainCoverage: 1,
		angleCurvedRad: 0.001, anglePlaneRad: 0.002,
	}
}

// scoreAlone scores a line as the only one of its region.
func scoreAlone(opts *Options, row *Sightline, observer, target *gazetteer.Feature) {
	score(opts, row, observer, target, nil, nil)
	finishScores(opts, []*Sightline{row}, 1)
}

// finishScores finishes the scores of all lines of a region.
func finishScores(opts *Options, lines []*Sightline, observers int) {
	seers := map[string]int{}
	for _, l := range lines {
		if l.Verdict == Direct || l.Verdict == Refracted {
			seers[l.TargetID]++
		}
	}
	for _, l := range lines {
		finishScore(opts, l, seers[l.TargetID], observers)
	}
}

// rank sets the places of lines as a survey does, most of them at a time in memory.
func rank(t *testing.T, lines []Sightline, most int) {
	t.Helper()
	s, err := newSpill(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	order := newRankOrder(s)
	order.most = most
	var features []gazetteer.Feature
	for i := range lines {
		l := &lines[i]
		if l.ScoreTest != nil && l.Verdict != Blocked {
			n := int32(len(features))
			key := rankKey{score: *l.ScoreTest, second: l.CriticalK, row: int64(i), distanceM: l.DistanceM, observer: n, target: n + 1}
			if err := order.add([]rankKey{key}); err != nil {
				t.Fatal(err)
			}
			features = append(features, gazetteer.Feature{At: geodesy.LatLon{LatDeg: l.ObserverLatDeg, LonDeg: l.ObserverLonDeg}},
				gazetteer.Feature{At: geodesy.LatLon{LatDeg: l.TargetLatDeg, LonDeg: l.TargetLonDeg}, Kind: gazetteer.Kind(l.TargetKind)})
		}
	}
	places := make([]rankPlace, len(lines))
	if _, err := placeLines(t.Context(), order, features, places); err != nil {
		t.Fatal(err)
	}
	for i, p := range places {
		if lines[i].Rank = nil; p.rank > 0 {
			lines[i].Rank, lines[i].AlikeCount = pointer(p.rank), 1+p.alike
		}
	}
}

func TestScoreTerms(t *testing.T) {
	opts := DefaultOptions()
	summit := &gazetteer.Feature{Kind: gazetteer.Peak}
	near := func(v *float64, want float64) bool { return v != nil && math.Abs(*v-want) < 1e-12 }
	// reach: 30 km 0, 300 km 1, by the logarithm: 94.868 km = 30·√10 is half-way.
	for km, want := range map[float64]float64{30: 0, 300: 1, 30 * math.Sqrt(10): 0.5, 10: 0, 500: 1} {
		row := scored(km)
		scoreAlone(&opts, &row, summit, summit)
		if !near(row.ScoreReach, want) {
			t.Errorf("%v km: reach %v, want %v", km, *row.ScoreReach, want)
		}
	}
	// share u and loss 4u(1−u).
	for _, test := range []struct{ curved, plane, share, loss float64 }{{0.001, 0.002, 0.5, 1}, {0, 0.002, 0, 0}, {0.002, 0.002, 1, 0}, {0.0005, 0.002, 0.25, 0.75}, {0.003, 0.002, 1, 0}} {
		row := scored(100)
		row.angleCurvedRad, row.anglePlaneRad = test.curved, test.plane
		scoreAlone(&opts, &row, summit, summit)
		if !near(row.ScoreShare, test.share) || !near(row.ScoreLoss, test.loss) {
			t.Errorf("%v of %v in view: share %v, loss %v; want %v and %v", test.curved, test.plane, *row.ScoreShare, *row.ScoreLoss, test.share, test.loss)
		}
	}
	row := scored(100)
	row.anglePlaneRad = 0
	scoreAlone(&opts, &row, summit, summit)
	if row.ScoreShare != nil || row.ScoreLoss != nil || row.ScoreFlip != nil || row.ScoreRuler != nil {
		t.Error("terms without a value are not left out")
	}
}

// A target that few observers of the region see is worth more.
func TestScoreUnique(t *testing.T) {
	opts := DefaultOptions()
	viewpoint := &gazetteer.Feature{Kind: gazetteer.Viewpoint}
	var lines []*Sightline
	for i, target := range []string{"a", "a", "a", "b", "c"} {
		row := scored(100)
		row.TargetID = target
		if i == 2 {
			row.Verdict = Looming // does not see it
		}
		score(&opts, &row, viewpoint, viewpoint, nil, nil)
		lines = append(lines, &row)
	}
	finishScores(&opts, lines, 4)
	for i, want := range []float64{0.5, 0.5, 0.5, 0.75, 0.75} {
		if got := *lines[i].ScoreUnique; got != want {
			t.Errorf("target %s, seen by some of 4 observers: unique %v, want %v", lines[i].TargetID, got, want)
		}
	}
}

// Gates multiply, so that no hopeless line rides on its distance.
func TestScoreGates(t *testing.T) {
	opts := DefaultOptions()
	plain := &gazetteer.Feature{Kind: gazetteer.Peak}
	doubted := func(codes ...string) *gazetteer.Feature {
		return &gazetteer.Feature{Kind: gazetteer.Peak, Doubts: codes}
	}
	kind := func(k gazetteer.Kind) *gazetteer.Feature { return &gazetteer.Feature{Kind: k} }
	tests := []struct {
		name               string
		observer, target   *gazetteer.Feature
		doubts             string
		chance             float64
		sure, sound, stand float64
	}{
		{"summit", plain, plain, "", 0.9, 0.9, 1, 0.6},
		{"viewpoint", kind(gazetteer.Viewpoint), plain, "", 1, 1, 1, 1},
		{"tower", kind(gazetteer.Tower), plain, "", 1, 1, 1, 0.2},
		{"mast", kind(gazetteer.Mast), plain, "", 1, 1, 1, 0},
		{"chimney", kind(gazetteer.Chimney), plain, "", 1, 1, 1, 0},
		{"turbine", kind(gazetteer.Turbine), plain, "", 1, 1, 1, 0},
		{"a mast as target is sound", plain, kind(gazetteer.Mast), "", 1, 1, 1, 0.6},
		{"target in feet", plain, doubted(gazetteer.DoubtFeetAsMetres), "", 1, 1, 0, 0.6},
		{"observer contradicts terrain", doubted(gazetteer.DoubtHeightContradictsTerrain), plain, "", 1, 1, 0, 0.6},
		{"place to the minute", plain, doubted(gazetteer.DoubtPlaceToTheMinute), "", 1, 1, 0.3, 0.6},
		{"height from one source", doubted(gazetteer.DoubtHeightFromTerrain), plain, "", 1, 1, 0.7, 0.6},
		{"the worse end counts", doubted(gazetteer.DoubtHeightFromTerrain), doubted(gazetteer.DoubtPlaceRough), "", 1, 1, 0.3, 0.6},
		{"decided by own ground", plain, plain, DoubtOwnGround, 1, 1, 0.5, 0.6},
		{"terrain missing", plain, doubted(gazetteer.DoubtHeightFromTerrain), DoubtTerrainMissing, 1, 1, 0.35, 0.6},
		{"no chance", plain, plain, "", 0, 0, 1, 0.6},
	}
	for _, test := range tests {
		row := scored(150)
		row.Chance, row.ChanceLow, row.Doubts = pointer(test.chance), test.chance, test.doubts
		scoreAlone(&opts, &row, test.observer, test.target)
		if math.Abs(row.GateSure-test.sure) > 1e-12 || math.Abs(row.GateSound-test.sound) > 1e-12 || math.Abs(row.GateStand-test.stand) > 1e-12 {
			t.Errorf("%s: gates sure %v, sound %v, stand %v; want %v, %v, %v", test.name, row.GateSure, row.GateSound, row.GateStand, test.sure, test.sound, test.stand)
		}
		gates := test.sure * test.sound * test.stand * row.GateSeen
		free := scored(150)
		free.Chance, free.ChanceLow = pointer(1.0), 1
		scoreAlone(&opts, &free, kind(gazetteer.Viewpoint), plain)
		if math.Abs(*row.ScoreTest-gates**free.ScoreTest) > 1e-9 || math.Abs(*row.ScorePicture-gates**free.ScorePicture) > 1e-9 {
			t.Errorf("%s: scores %v and %v, want %v times %v and %v", test.name, *row.ScoreTest, *row.ScorePicture, gates, *free.ScoreTest, *free.ScorePicture)
		}
		if gates > 0 && !(*row.ScoreTest > 0 && *row.ScoreTest <= 100) {
			t.Errorf("%s: score %v", test.name, *row.ScoreTest)
		}
	}
}

func TestUndecidedHasNoScore(t *testing.T) {
	opts := DefaultOptions()
	row := scored(150)
	row.Verdict, row.Chance = Undecided, nil
	summit := &gazetteer.Feature{Kind: gazetteer.Peak}
	scoreAlone(&opts, &row, summit, summit)
	if row.ScoreTest != nil || row.ScorePicture != nil || row.ScoreReach != nil {
		t.Errorf("an undecided line scores %v", row)
	}
}

// Given weights serve the chosen ranking alone; the other keeps its own.
func TestWeightsOfTheChosenRanking(t *testing.T) {
	summit := &gazetteer.Feature{Kind: gazetteer.Viewpoint}
	opts := DefaultOptions()
	opts.Weights = map[string]float64{"reach": 1}
	row := scored(300)
	row.Chance, row.ChanceLow = pointer(1.0), 1
	scoreAlone(&opts, &row, summit, summit)
	if math.Abs(*row.ScoreTest-100) > 1e-9 || *row.ScorePicture == 100 {
		t.Errorf("weights reach=1 for a test: %v, picture %v; want 100 for the test alone", *row.ScoreTest, *row.ScorePicture)
	}
	opts.RankForPicture = true
	opts.Weights = map[string]float64{"share": 1}
	scoreAlone(&opts, &row, summit, summit)
	if math.Abs(*row.ScorePicture-50) > 1e-9 {
		t.Errorf("weights share=1 for a picture: %v, want 50", *row.ScorePicture)
	}
	opts.Weights = map[string]float64{"reach": 0, "share": 0}
	scoreAlone(&opts, &row, summit, summit)
	if *row.ScorePicture != 0 {
		t.Errorf("no weight at all: %v, want 0", *row.ScorePicture)
	}
}

// alikeByRule says whether two lines are alike: both ends within max(2 km, 2 % of the distance) of the first, same kind of target.
func alikeByRule(s, other *Sightline) bool {
	limit := math.Max(2000, 0.02*s.DistanceM)
	apart := func(lat1, lon1, lat2, lon2 float64) float64 {
		return geodesicM(geodesy.LatLon{LatDeg: lat1, LonDeg: lon1}, geodesy.LatLon{LatDeg: lat2, LonDeg: lon2})
	}
	return s.TargetKind == other.TargetKind && apart(s.ObserverLatDeg, s.ObserverLonDeg, other.ObserverLatDeg, other.ObserverLonDeg) <= limit &&
		apart(s.TargetLatDeg, s.TargetLonDeg, other.TargetLatDeg, other.TargetLonDeg) <= limit
}

// Every line without a place is alike a better one with a place; no two with places are alike; and all are counted.
func TestAlikeGrouping(t *testing.T) {
	random := rand.New(rand.NewPCG(31, 41))
	for _, world := range []struct {
		name     string
		lat, lon float64
	}{{"mid-latitude", 55, -3}, {"date line", -17, 179.95}, {"far north", 84, 20}} {
		verdicts := []Verdict{Direct, Refracted, Looming, Blocked, Undecided}
		lines := make([]Sightline, 1500)
		for i := range lines {
			place := func(km float64) geodesy.LatLon {
				p, _ := geodesy.WGS84.Direct(geodesy.LatLon{LatDeg: world.lat, LonDeg: world.lon}, 360*random.Float64(), km*1000*math.Sqrt(random.Float64()))
				return p
			}
			from := place(12)
			far, _ := geodesy.WGS84.Direct(place(12), 75, 40e3+260e3*float64(random.IntN(3))/2)
			s := &lines[i]
			s.ObserverLatDeg, s.ObserverLonDeg, s.TargetLatDeg, s.TargetLonDeg = from.LatDeg, from.LonDeg, far.LatDeg, far.LonDeg
			s.DistanceM = geodesicM(from, far)
			s.TargetKind = []string{"peak", "tower"}[random.IntN(2)]
			s.Verdict = verdicts[random.IntN(len(verdicts))]
			s.CriticalK = random.Float64()
			s.AlikeCount = 1
			if s.Verdict != Undecided {
				s.ScoreTest = pointer(math.Round(100*random.Float64()) / 2) // ties too
				s.ScorePicture = pointer(0.0)
			}
		}
		rank(t, lines, 1<<20)
		inMemory := slices.Clone(lines)
		rank(t, lines, 100)
		for i := range lines {
			if !reflect.DeepEqual(lines[i].Rank, inMemory[i].Rank) || lines[i].AlikeCount != inMemory[i].AlikeCount {
				t.Fatalf("%s: line %d is placed otherwise where not all fits into memory", world.name, i)
			}
		}
		byRank := map[int32]*Sightline{}
		eligible, counted := 0, int32(0)
		for i := range lines {
			s := &lines[i]
			if s.Verdict == Blocked || s.Verdict == Undecided {
				if s.Rank != nil {
					t.Errorf("%s: a line that is %s has rank %d", world.name, s.Verdict, *s.Rank)
				}
				continue
			}
			eligible++
			if s.Rank != nil {
				byRank[*s.Rank] = s
				counted += s.AlikeCount
			}
		}
		if int(counted) != eligible || len(byRank) < 20 || len(byRank) == eligible {
			t.Errorf("%s: %d lines are ranked and count %d of %d", world.name, len(byRank), counted, eligible)
		}
		for i := range lines {
			s := &lines[i]
			if s.Verdict == Blocked || s.Verdict == Undecided {
				continue
			}
			better := false
			for place := int32(1); int(place) <= len(byRank); place++ {
				other := byRank[place]
				if s.Rank != nil && place >= *s.Rank {
					break
				}
				if !alikeByRule(s, other) {
					continue
				}
				if s.Rank != nil {
					t.Fatalf("%s: ranks %d and %d are alike", world.name, place, *s.Rank)
				}
				if *other.ScoreTest >= *s.ScoreTest {
					better = true
					break
				}
			}
			if s.Rank == nil && !better {
				t.Fatalf("%s: a line of score %v has no rank and is alike no better one", world.name, *s.ScoreTest)
			}
		}
	}
}

// A mast 1.5 m wide at 150 km is 2.06″ wide, a fifth of twice the seeing of 5″.
func TestGateSeen(t *testing.T) {
	opts := DefaultOptions()
	for _, c := range []struct {
		kind gazetteer.Kind
		km   float64
		want float64
	}{{gazetteer.Mast, 150, 0.2063}, {gazetteer.Peak, 150, 1}, {gazetteer.Lighthouse, 50, 1}, {gazetteer.Tower, 206.265, 0.5}} {
		row := scored(c.km)
		scoreAlone(&opts, &row, &gazetteer.Feature{Kind: gazetteer.Viewpoint}, &gazetteer.Feature{Kind: c.kind})
		if math.Abs(row.GateSeen-c.want) > 1e-4 {
			t.Errorf("%s at %v km: gate seen %.4f, want %.4f", c.kind, c.km, row.GateSeen, c.want)
		}
	}
}

// Tops at 20, 60 and 100 km have a spread of 32.66 km: 0.8165 of 40 km, times (3−2)/5.
func TestFan(t *testing.T) {
	for _, c := range []struct {
		distances []float64
		want      float64
	}{{nil, 0}, {[]float64{20e3, 100e3}, 0}, {[]float64{20e3, 60e3, 100e3}, 0.16330}, {[]float64{1e3, 1e3, 1e3, 1e3, 200e3, 200e3, 200e3, 200e3}, 1}} {
		if got := fan(c.distances); math.Abs(got-c.want) > 1e-5 {
			t.Errorf("fan(%v) = %.5f, want %.5f", c.distances, got, c.want)
		}
	}
}

// The sun rises between 51° and 129° at 50° N over the year (0° height: cos A = sin δ/cos φ, δ ±23.44°), so it stands behind an eastern
// line on a few days about the equinoxes and never behind a northern one; low aside of a line to the north-east it stands often.
func TestLightDays(t *testing.T) {
	if n := lightDays(50, 0); n != 0 {
		// To the north, side light needs the sun 30° to 90° aside at 2° to 15°: from 30° to 90° azimuth, which summer has.
		if n < 100 || n > 250 {
			t.Errorf("lightDays(50° N, azimuth 0°) = %d, want the summer half-year", n)
		}
	}
	sinLat, cosLat := math.Sincos(50 * math.Pi / 180)
	if !hasLight(sinLat, cosLat, 0, 90) {
		t.Error("at the equinox the sun rises due east, behind a line to the east")
	}
	if hasLight(sinLat, cosLat, math.Sin(-23.44*math.Pi/180), 0) {
		t.Error("at midwinter the sun at 50° N is never within 90° of north")
	}
}
