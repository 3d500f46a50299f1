package camera

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"farstation/geodesy"
)

const arcsec = math.Pi / 180 / 3600

// seenInLine lays a near and a far place out from a station, apart by a turn, and measures it with noise.
func seenInLine(random *rand.Rand, station geodesy.LatLon, azimuthDeg, turnRad, sdRad, noise float64) Coincidence {
	nearM := 5000 + 45_000*random.Float64()
	near, _ := geodesy.WGS84.Direct(station, azimuthDeg, nearM)
	far, _ := geodesy.WGS84.Direct(station, azimuthDeg+turnRad*180/math.Pi, nearM*(1.25+2*random.Float64()))
	return Coincidence{near, far, turnRad + noise*sdRad*random.NormFloat64(), sdRad}
}

func randomStation(random *rand.Rand) geodesy.LatLon {
	return geodesy.LatLon{LatDeg: 120*random.Float64() - 60, LonDeg: 360*random.Float64() - 180}
}

// TestTwoCoincidences: without noise two lines alone give the place back to a millimetre, exactly in line or some minutes of arc beside it.
func TestTwoCoincidences(t *testing.T) {
	random := rand.New(rand.NewPCG(31, 32))
	worstM := 0.0
	for draw := range 500 {
		station := randomStation(random)
		azimuthDeg := 360 * random.Float64()
		turnRad := 0.0
		if draw%2 == 1 {
			turnRad = 0.01 * (random.Float64() - 0.5)
		}
		coincidences := []Coincidence{
			seenInLine(random, station, azimuthDeg, turnRad, 10*arcsec, 0),
			seenInLine(random, station, azimuthDeg+20+140*random.Float64(), -turnRad, 10*arcsec, 0),
		}
		got, err := ResectWith(nil, coincidences)
		offM := geodesy.WGS84.Inverse(station, got.Place).DistanceM
		if err != nil || offM > 0.001 || got.DOF != 0 || len(got.Others) > 0 {
			t.Fatalf("station %v, %+v: %.4f m off, %d degrees of freedom, others %v, %v", station, coincidences, offM, got.DOF, got.Others, err)
		}
		worstM = math.Max(worstM, offM)
	}
	t.Logf("500 pairs of lines, worst %.2g m", worstM)
}

// TestCoincidencesAreCalibrated: sights and lines with noise, the place within its 95 % ellipse in 95 % of draws, and χ² as its degrees of freedom say.
func TestCoincidencesAreCalibrated(t *testing.T) {
	for _, test := range []struct {
		name                 string
		sights, coincidences int
	}{{"two lines", 0, 2}, {"three lines", 0, 3}, {"four sights and two lines", 4, 2}, {"one sight and three lines", 1, 3}} {
		random := rand.New(rand.NewPCG(33, 34))
		const draws = 1000
		inside, tried, sumChi2, dof := 0, 0, 0.0, 0
		for range draws {
			station, sights := resectionScene(random, test.sights, 20*arcsec)
			var coincidences []Coincidence
			for range test.coincidences {
				coincidences = append(coincidences, seenInLine(random, station, 360*random.Float64(), 0, 20*arcsec, 1))
			}
			got, err := ResectWith(sights, coincidences)
			if errors.Is(err, ErrWeak) {
				continue // lines that run nearly the same way
			}
			if err != nil {
				t.Fatalf("%s: %v", test.name, err)
			}
			tried++
			sumChi2, dof = sumChi2+got.Chi2, got.DOF
			if offInEllipse(got, station) < 5.991 {
				inside++
			}
		}
		share, meanChi2 := float64(inside)/float64(tried), sumChi2/float64(tried)
		t.Logf("%s: %d of %d inside, mean χ² %.3f of %d", test.name, inside, tried, meanChi2, dof)
		// χ² of d degrees has a spread of √(2d), its mean of 1,000 one of √(2d)/32.
		if tried < 900 || math.Abs(share-0.95) > 0.02 || math.Abs(meanChi2-float64(dof)) > 4*math.Sqrt(2*float64(dof)/draws)+1e-6 {
			t.Errorf("%s: %d of %d places within their 95 %% ellipses, want 95 ± 2 %%, of 900 or more; mean χ² %.3f, want %d", test.name, inside, tried, meanChi2, dof)
		}
	}
}

// offInEllipse is the square of how far a place lies from the one found, in standard deviations.
func offInEllipse(found Resection, place geodesy.LatLon) float64 {
	arc := geodesy.WGS84.Inverse(found.Place, place)
	across, along := math.Sincos((arc.AzimuthDeg - found.MajorAzimuthDeg) * math.Pi / 180)
	u, v := arc.DistanceM*along/found.SemiMajorM, arc.DistanceM*across/found.SemiMinorM
	return u*u + v*v
}

// TestLineIsAsSharpAsItSays: a step of AcrossM across the line turns the azimuth difference of the geodesics by one standard deviation, a step along it
// by nothing, and for places exactly in line it is sd·s_n·s_f/(s_f − s_n).
func TestLineIsAsSharpAsItSays(t *testing.T) {
	random := rand.New(rand.NewPCG(35, 36))
	for range 200 {
		station := randomStation(random)
		azimuthDeg := 360 * random.Float64()
		const sdRad = 10 * arcsec
		coincidences := []Coincidence{seenInLine(random, station, azimuthDeg, 0, sdRad, 0), seenInLine(random, station, azimuthDeg+90, 0, sdRad, 0)}
		got, err := ResectWith(nil, coincidences)
		if err != nil {
			t.Fatal(err)
		}
		c, acrossM := coincidences[0], got.Lines[0].AcrossM
		nearM, farM := geodesy.WGS84.Inverse(station, c.Near).DistanceM, geodesy.WGS84.Inverse(station, c.Far).DistanceM
		turned := func(offDeg float64) float64 {
			at, _ := geodesy.WGS84.Direct(station, azimuthDeg+offDeg, acrossM)
			return turnRad(geodesy.WGS84.Inverse(at, c.Near).AzimuthDeg*math.Pi/180, geodesy.WGS84.Inverse(at, c.Far).AzimuthDeg*math.Pi/180)
		}
		// The Earth bends azimuths by s²/3R² of the turn, 2e-4 at 163 km, the farthest.
		if byHand := sdRad * nearM * farM / (farM - nearM); math.Abs(acrossM/byHand-1) > 1e-6 || math.Abs(math.Abs(turned(90))/sdRad-1) > 3e-4 || math.Abs(turned(0)) > 1e-6*sdRad {
			t.Errorf("near %.0f m, far %.0f m: %.3f m across, by hand %.3f; it turns them by %.5f standard deviations, along by %.5f", nearM, farM, acrossM, byHand, turned(90)/sdRad, turned(0)/sdRad)
		}
	}
}

// TestCoincidenceWithTwoSights: the place is among those found, of which there are at most two, and both fit exactly.
func TestCoincidenceWithTwoSights(t *testing.T) {
	random := rand.New(rand.NewPCG(37, 38))
	tried, two := 0, 0
	for range 500 {
		station, sights := resectionScene(random, 2, 10*arcsec)
		for i := range sights { // without the noise
			sights[i].DirectionRad = bearingTo(station, sights[i].Place).azimuthRad
		}
		got, err := ResectWith(sights, []Coincidence{seenInLine(random, station, 360*random.Float64(), 0, 10*arcsec, 0)})
		if errors.Is(err, ErrWeak) {
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		tried++
		offM := math.Inf(1)
		for _, place := range append(got.Others, got.Place) {
			offM = math.Min(offM, geodesy.WGS84.Inverse(station, place).DistanceM)
		}
		if offM > 0.001 || got.Chi2 > 1e-6 || got.DOF != 0 || len(got.Others) > 1 {
			t.Errorf("station %v: the nearest of %d places is %.4f m off, χ² %.2g of %d", station, 1+len(got.Others), offM, got.Chi2, got.DOF)
		}
		two += len(got.Others)
	}
	if tried < 400 || two == 0 {
		t.Errorf("%d of 500 scenes answered, %d with a second place, want 400 or more and some", tried, two)
	}
	t.Logf("%d of 500 scenes answered, %d with a second place", tried, two)
}

// TestLineEndsTheDangerCircle: three sights from the circle through their places tell nothing of where on it; one line does.
func TestLineEndsTheDangerCircle(t *testing.T) {
	random := rand.New(rand.NewPCG(39, 40))
	centre := geodesy.LatLon{LatDeg: 52, LonDeg: 7}
	onCircle := func(azimuthDeg float64) geodesy.LatLon {
		place, _ := geodesy.WGS84.Direct(centre, azimuthDeg, 20_000)
		return place
	}
	station := onCircle(200)
	var sights []Sight
	for _, azimuthDeg := range []float64{0, 40, 100} {
		sights = append(sights, Sight{onCircle(azimuthDeg), bearingTo(station, onCircle(azimuthDeg)).azimuthRad, 20 * arcsec})
	}
	if _, err := Resect(sights); !errors.Is(err, ErrDangerCircle) {
		t.Fatalf("without a line: %v, want %v", err, ErrDangerCircle)
	}
	got, err := ResectWith(sights, []Coincidence{seenInLine(random, station, 300, 0, 20*arcsec, 0)})
	if off := geodesy.WGS84.Inverse(station, got.Place).DistanceM; err != nil || off > 0.01 {
		t.Errorf("with a line: %.3f m off, ellipse %.1f m, others %v, %v", off, got.SemiMajorM, got.Others, err)
	}
}

// TestSwappedLineIsRefused: sights that tell the place by themselves do not let a line pass whose far place is the nearer one.
func TestSwappedLineIsRefused(t *testing.T) {
	random := rand.New(rand.NewPCG(43, 44))
	station, sights := resectionScene(random, 4, 10*arcsec)
	c := seenInLine(random, station, 10, 0, 10*arcsec, 0)
	if _, err := ResectWith(sights, []Coincidence{c}); err != nil {
		t.Fatal(err)
	}
	if got, err := ResectWith(sights, []Coincidence{{c.Far, c.Near, 0, c.SDRad}}); !errors.Is(err, ErrWeak) {
		t.Errorf("swapped: %+v, %v, want %v", got, err, ErrWeak)
	}
}

// TestHalfLineUnderAngle: from every place returned the points lie apart by the angle, and the place that the angle was taken from is one of them.
func TestHalfLineUnderAngle(t *testing.T) {
	random := rand.New(rand.NewPCG(45, 46))
	for range 2000 {
		sine, cosine := math.Sincos(2 * math.Pi * random.Float64())
		line := halfLine{plan{1000 * random.NormFloat64(), 1000 * random.NormFloat64()}, plan{sine, cosine}}
		first, second := plan{1000 * random.NormFloat64(), 1000 * random.NormFloat64()}, plan{1000 * random.NormFloat64(), 1000 * random.NormFloat64()}
		truth := line.at(10 + 2000*random.Float64())
		apart := func(from plan) float64 {
			return turnRad(first.less(from).azimuthRad(), second.less(from).azimuthRad())
		}
		found := line.under(first, second, apart(truth))
		offM := math.Inf(1)
		for _, place := range found {
			offM = math.Min(offM, place.less(truth).length())
			if off := turnRad(apart(truth), apart(place)); math.Abs(off) > 1e-6 {
				t.Fatalf("%+v, %v, %v: apart by %v from %v, want %v", line, first, second, apart(place), place, apart(truth))
			}
		}
		if offM > 0.01 {
			t.Fatalf("%+v, %v, %v: %v is not among %v", line, first, second, truth, found)
		}
	}
}

func TestCoincidencesRefuse(t *testing.T) {
	random := rand.New(rand.NewPCG(41, 42))
	station := geodesy.LatLon{LatDeg: 47, LonDeg: 9}
	line := func(azimuthDeg float64) Coincidence { return seenInLine(random, station, azimuthDeg, 0, 10*arcsec, 0) }
	swapped := func(c Coincidence) Coincidence { return Coincidence{c.Far, c.Near, c.TurnRad, c.SDRad} }
	changed := func(c Coincidence, change func(*Coincidence)) Coincidence { change(&c); return c }
	for _, test := range []struct {
		name         string
		coincidences []Coincidence
		want         error // nil for any
	}{
		{"one line", []Coincidence{line(10)}, ErrTooFew},
		{"one line twice over", []Coincidence{line(10), line(10)}, ErrWeak},
		{"two lines a minute of arc apart", []Coincidence{line(10), line(10 + 1.0/60)}, ErrWeak},
		{"far and near swapped in both", []Coincidence{swapped(line(10)), swapped(line(80))}, ErrWeak},
		{"far and near swapped in one", []Coincidence{swapped(line(10)), line(80)}, ErrWeak},
		{"no spread", []Coincidence{line(10), changed(line(80), func(c *Coincidence) { c.SDRad = 0 })}, nil},
		{"a wide angle", []Coincidence{line(10), changed(line(80), func(c *Coincidence) { c.TurnRad = 0.2 })}, nil},
		{"not a number", []Coincidence{line(10), changed(line(80), func(c *Coincidence) { c.TurnRad = math.NaN() })}, nil},
		{"one place", []Coincidence{line(10), changed(line(80), func(c *Coincidence) { c.Far = c.Near })}, nil},
	} {
		got, err := ResectWith(nil, test.coincidences)
		if err == nil || test.want != nil && !errors.Is(err, test.want) {
			t.Errorf("%s: %+v, %v; want %v", test.name, got, err, test.want)
		}
	}
}
