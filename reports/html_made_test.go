package reports

import (
	"math"
	"math/rand/v2"
	"strings"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/pipeline"
)

// Names that a gazetteer may hold and a page must survive.
const (
	scriptName  = `<script>alert(1)</script>`
	formulaName = `=HYPERLINK("http://example.invalid","x")&amp;'`
	arabicName  = "جبل الضباب"
	hebrewName  = "הר הערפל\u202e"
	emojiName   = "👨‍👩‍👧‍👦 Mont 🏔️ é̂́"
	controlName = "a\x00b\nc]]>--><!--"
)

var longName = strings.Repeat("Llanfairuchafycoed", 23)[:400]

const madeRadiusM = 6_380_000

// madeGround is a smooth random ground: hills of heightM on a floor at floorM, sea where it comes out below 0.
func madeGround(seed uint64, floorM, heightM, waveM float64) func(x float64) float64 {
	random := rand.New(rand.NewPCG(seed, 1))
	type wave struct{ length, phase, height float64 }
	var waves []wave
	for length := waveM; length > 150; length /= 1.7 {
		waves = append(waves, wave{length, 2 * math.Pi * random.Float64(), heightM * math.Sqrt(length/waveM) / 2})
	}
	return func(x float64) float64 {
		h := floorM
		for _, w := range waves {
			h += w.height * math.Sin(2*math.Pi*x/w.length+w.phase)
		}
		return math.Max(0, h)
	}
}

// summit raises ground to heightM at x over a cone of radiusM.
func summit(ground func(float64) float64, at, heightM, radiusM float64) func(float64) float64 {
	return func(x float64) float64 {
		f := 1 - math.Abs(x-at)/radiusM
		return math.Max(ground(x), heightM*math.Max(0, f)*math.Max(0, f))
	}
}

func madeValue(v float64) *float64 { return &v }

// madeLine predicts a line over made ground by dense sampling; good enough to draw.
func madeLine(observer, target string, distanceM, eyeM, structureM float64, ground func(float64) float64) (pipeline.Sightline, pipeline.Profile) {
	const k, kSD, guardM = 0.143, 0.04, 200
	s, r := distanceM, float64(madeRadiusM)
	step := math.Max(25, s/4000)
	var p pipeline.Profile
	for x := 0.0; x < 1.03*s; x += step {
		source := "N50E011.hgt"
		if ground(x) == 0 {
			source = "sea"
		}
		p.Samples = append(p.Samples, pipeline.ProfileSample{DistanceM: x, GroundM: ground(x), UndulationM: 48 - x/40_000 + math.Sin(x/30_000), Source: source})
	}
	eye, top := ground(0)+eyeM, ground(s)+structureM
	l := pipeline.Sightline{
		ObserverID: "csv:" + observer, ObserverName: observer, ObserverKind: "peak", TargetID: "csv:" + target, TargetName: target, TargetKind: "peak",
		DistanceM: s, AzimuthDeg: 123.4, BackAzimuthDeg: 304.1, EyeHeightM: eye, TopHeightM: top, RadiusM: r,
		CriticalK: math.Inf(-1), CriticalKSD: 0.012, ElevationSDArcmin: 0.04 * s / (2 * r) * arcminPerRad, TerrainCoverage: 1, KMean: 0.15, KFree: 0.143, KSD: 0.045, AlikeCount: 1,
		BaseHeightM: ground(s), ScoreReach: madeValue(math.Log(s/30_000) / math.Ln10), ScoreLoss: madeValue(0.4), GateSure: 0.9, GateSound: 1, GateStand: 0.6,
	}
	apparent := func(h, x, k float64) float64 {
		return arcminPerRad * geodesy.ApparentElevationRad(eye, h, x, r, k)
	}
	l.ElevationDeg, l.ElevationPlaneDeg = apparent(top, s, k)/60, apparent(top, s, 1)/60
	l.ElevationPlaneSameAirDeg = l.ElevationPlaneDeg + k*s/(2*r)*180/math.Pi
	l.ModelGapArcmin = 60 * (l.ElevationPlaneDeg - l.ElevationDeg)
	highest, highestPlane := math.Inf(-1), math.Inf(-1)
	for _, sample := range p.Samples {
		x := sample.DistanceM
		if x < guardM || x > s-guardM {
			continue
		}
		straight := eye + (top-eye)*x/s
		if kc := (sample.GroundM + x*(s-x)/(2*r) - straight) * 2 * r / (x * (s - x)); kc > l.CriticalK {
			l.CriticalK, l.GrazingDistanceM, l.GrazingHeightM, l.RiskiestDistanceM = kc, x, sample.GroundM, x
		}
		highest, highestPlane = math.Max(highest, apparent(sample.GroundM, x, k)), math.Max(highestPlane, apparent(sample.GroundM, x, 1))
		if x > math.Max(s-10_000, s/2) && sample.GroundM <= l.BaseHeightM {
			l.BaseHeightM = sample.GroundM
		}
	}
	l.MarginArcmin, l.MarginPlaneArcmin = 60*l.ElevationDeg-highest, 60*l.ElevationPlaneDeg-highestPlane
	cut := func(k float64) (front, foot, height *float64) {
		most, at := math.Inf(-1), 0.0
		for _, sample := range p.Samples[1:] {
			x := sample.DistanceM
			if x > s {
				break
			}
			if a := apparent(sample.GroundM, x, k); a > most {
				if x-at > math.Max(500, s/100) && x > s-10_000 {
					front, foot, height = madeValue(at), madeValue(x), madeValue(sample.GroundM)
				}
				most, at = a, x
			}
		}
		return front, foot, height
	}
	l.FrontDistanceM, l.FootDistanceM, l.ObscuredHeightM = cut(k)
	if l.FrontDistanceM != nil {
		perK := arcminPerRad * (s - *l.FrontDistanceM) / (2 * r)
		l.FrontAnglePlaneSDArcmin, l.FrontAngleSDArcmin = madeValue(0.3), madeValue(math.Hypot(0.3, 0.04*perK))
	}
	_, _, l.ObscuredHeightLowKM = cut(k - 2*kSD)
	_, _, l.ObscuredHeightHighKM = cut(k + 2*kSD)
	_, _, l.ObscuredHeightK0M = cut(0)
	_, _, l.ObscuredHeightPlaneM = cut(1)
	dip, horizon, err := geodesy.SeaHorizon(eye, r, k)
	if err == nil && horizon < s {
		l.DipArcmin, l.SeaHorizonM = madeValue(dip*arcminPerRad), &horizon
	}
	chance := 0.5 * math.Erfc((l.CriticalK-k)/0.042/math.Sqrt2)
	l.Chance, l.ChanceLow, l.ChanceHigh = &chance, chance, chance
	l.ScoreTest, l.ScorePicture = madeValue(60*chance), madeValue(50*chance)
	l.PartInView, l.PartInViewPlane = madeValue(0.62), madeValue(1)
	switch {
	case l.CriticalK < 0:
		l.Verdict = pipeline.Direct
	case l.CriticalK <= k:
		l.Verdict = pipeline.Refracted
	case l.CriticalK <= k+3*kSD:
		l.Verdict = pipeline.Looming
	default:
		l.Verdict = pipeline.Blocked
	}
	if l.MarginArcmin < 0 {
		l.FrontDistanceM, l.FootDistanceM, l.ObscuredHeightM, l.LackingHeightM = &l.GrazingDistanceM, nil, nil, madeValue(-l.MarginArcmin*s/arcminPerRad)
		l.PartInView = madeValue(0)
	}
	if l.FrontDistanceM != nil {
		l.FrontHeightM = madeValue(ground(*l.FrontDistanceM))
	}
	if structureM > 0 {
		l.TargetKind, l.StructureInViewM = "tower", madeValue(0)
		if l.MarginArcmin > 0 {
			l.StructureInViewM = madeValue(structureM) // no made front reaches up to a structure
		}
	}
	return l, p
}

// ridge raises ground at a place on a line of distanceM to the top of a structure so high that the line's critical refraction is criticalK there.
func ridge(ground func(float64) float64, distanceM, structureM, at, criticalK float64) func(float64) float64 {
	eye, top := ground(0)+2, ground(distanceM)+structureM
	return summit(ground, at, eye+(top-eye)*at/distanceM-(1-criticalK)*at*(distanceM-at)/(2*madeRadiusM), 3500)
}

// madeResult is a result with every verdict, short, long and nasty names, lines of 31 to 300 km, and a gap.
func madeResult() *pipeline.Result {
	sea := func(float64) float64 { return 0 }
	result := &pipeline.Result{}
	add := func(l pipeline.Sightline, p pipeline.Profile) {
		n := len(result.Shown.Sightlines)
		rank := int32(n + 1)
		if l.Verdict != pipeline.Undecided {
			l.Rank = &rank
		}
		p.ObserverID, p.TargetID, p.Line = l.ObserverID, l.TargetID, n
		// Invented places either side of the date line.
		l.ObserverLatDeg, l.ObserverLonDeg = -20-0.3*float64(n), 179-0.2*float64(n)
		l.TargetLatDeg, l.TargetLonDeg = -19.5-0.25*float64(n), -179.4+0.1*float64(n)
		result.Shown.Sightlines, result.Profiles = append(result.Shown.Sightlines, l), append(result.Profiles, p)
	}
	hills := madeGround(7, 60, 150, 30_000)
	add(madeLine("Harrow Stack", "Brannoch Tor", 96_000, 2, 0, ridge(summit(summit(hills, 0, 560, 6000), 96_000, 990, 9000), 96_000, 0, 44_000, 0.05)))
	add(madeLine("Weather Cairn", "Great Ansel", 301_000, 2, 0, ridge(summit(summit(madeGround(3, -300, 900, 90_000), 0, 2300, 9000), 301_000, 3710, 25_000), 301_000, 0, 130_000, 0.1)))
	add(madeLine("Lee", "Ord", 31_000, 2, 180, ridge(summit(summit(madeGround(11, 40, 80, 9000), 0, 420, 3000), 31_000, 190, 4000), 31_000, 180, 22_000, -0.9)))
	add(madeLine(longName, scriptName, 150_000, 2, 0, summit(summit(sea, 0, 700, 7000), 150_000, 820, 12_000)))
	add(madeLine(formulaName, arabicName, 64_000, 2, 120, ridge(summit(summit(madeGround(5, 90, 160, 20_000), 0, 330, 3000), 64_000, 260, 3000), 64_000, 120, 51_000, 0.2)))
	add(madeLine(hebrewName, emojiName, 120_000, 2, 0, ridge(summit(summit(madeGround(9, -100, 260, 40_000), 0, 900, 8000), 120_000, 700, 8000), 120_000, 0, 80_000, 0.5)))
	add(madeLine("Ox Down", "Ys", 42_000, 2, 0, func(x float64) float64 { return 300 + 500*x/42_000 - 250*math.Sin(x/42_000*math.Pi) }))
	l, p := madeLine(controlName, longName, 180_000, 2, 0, summit(summit(madeGround(21, 200, 300, 50_000), 0, 1500, 8000), 180_000, 1800, 12_000))
	for i := range p.Samples {
		p.Samples[i].Missing = p.Samples[i].DistanceM > 70_000 && p.Samples[i].DistanceM < 96_000
	}
	l.Verdict, l.UndecidedAtM, l.ChanceLow, l.ChanceHigh, l.TerrainCoverage = pipeline.Undecided, madeValue(83_000), 0.02, 0.97, 0.86
	l.Chance, l.ObscuredHeightM, l.ObscuredHeightLowKM, l.ObscuredHeightHighKM, l.ObscuredHeightK0M, l.ObscuredHeightPlaneM = nil, nil, nil, nil, nil, nil
	l.FrontDistanceM, l.FrontHeightM, l.FootDistanceM, l.LackingHeightM, l.PartInView, l.PartInViewPlane, l.ScoreTest, l.ScorePicture = nil, nil, nil, nil, nil, nil, nil, nil
	add(l, p)
	result.Shown.Sightlines[2].Doubts = "own_ground,place_rough"

	for i, c := range []pipeline.Case{pipeline.FarBehindNear, pipeline.NearMissingFarSeen, pipeline.BothInView} {
		rank, far := int32(i+1), &result.Shown.Sightlines[i]
		result.Shown.Alignments = append(result.Shown.Alignments, pipeline.Alignment{
			ObserverID: far.ObserverID, ObserverName: far.ObserverName, NearID: "csv:near", NearName: []string{"Dun Peel mast", longName, scriptName}[i],
			FarID: far.TargetID, FarName: far.TargetName, NearDistanceM: 0.4 * far.DistanceM, FarDistanceM: far.DistanceM, Case: c,
			SeparationArcmin: -2.14, SeparationSDArcmin: 0.31, SeparationPlaneArcmin: 13.6, OrderCurved: "near_above", OrderPlane: "far_above",
			EvidenceSD: 12.3, Chance: 0.93, Score: 71.2 - float64(i), Rank: &rank,
			ObserverLatDeg: far.ObserverLatDeg, ObserverLonDeg: far.ObserverLonDeg, FarLatDeg: far.TargetLatDeg, FarLonDeg: far.TargetLonDeg,
		})
	}
	result.Features = pipeline.GroupsOf([]pipeline.FeatureRow{{FeatureID: "csv:near", Name: "Dun Peel mast", Kind: "mast", LatitudeDeg: -19.9, LongitudeDeg: 179.7}})
	result.Manifest = pipeline.Manifest{
		Version:    "0.1.0",
		Parameters: map[string]any{"k": 0.143, "workers": 7, "memory_bytes": 1 << 30, "observer_kinds": []string{"peak", "hill"}},
		Inputs: []pipeline.Input{
			{Path: "islands.csv", Bytes: 123456, SHA256: strings.Repeat("0123456789abcdef", 4), Format: "CSV", Licence: "CC0-1.0", Rows: 812, Used: 800, Rejected: 12},
			{Path: `<b>"bad"</b>.csv`, Bytes: 5, Format: "CSV", Attribution: "© " + scriptName},
		},
		Terrain:  pipeline.TerrainSummary{Tiles: 14, MissingLandCells: []string{"N50E012", "N51E012"}, VoidSamplesMet: 3, Unreadable: []string{"N50E013.hgt"}},
		Counts:   pipeline.Counts{Features: 800, Observers: 310, Targets: 800, Candidates: 51234, Traced: 51234, Kept: 7, Alignments: 3},
		Rejected: []pipeline.InputRejected{{Path: "islands.csv", Rows: []gazetteer.Rejected{{Line: 17, Reason: "latitude 91.2 is above 90"}, {Line: 20, Reason: scriptName}}}},
	}
	return result
}

func madeOptions() HTMLOptions {
	return HTMLOptions{Title: "Made isles", K: 0.143, KSD: 0.04, GuardM: 200, Doubts: []Doubt{
		{"own_ground", "the verdict is decided within 1 km of an end"}, {"place_rough", "the place is given to a tenth of a degree or worse"}}}
}
