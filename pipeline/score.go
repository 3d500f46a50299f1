package pipeline

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"farstation/gazetteer"
)

// TestWeights and PictureWeights are the default weights of the score's terms.
func TestWeights() map[string]float64 {
	return map[string]float64{
		"flip": 3, "absence": 2, "fan": 2, "ruler": 2, "evidence": 2, "loss": 1, "reach": 1, "sky": 1, "air": 1, "unique": 0.5, "light": 0.5,
	}
}

// PictureWeights are the default weights of the picture score.
func PictureWeights() map[string]float64 {
	return map[string]float64{"sky": 2, "light": 2, "reach": 2, "share": 2, "ruler": 1, "air": 1, "unique": 1, "evidence": 0.5}
}

// ParseWeights reads "reach=1,loss=1.5": weights over the defaults of a ranking. It names what it does not know.
func ParseWeights(list string, base map[string]float64) (map[string]float64, error) {
	if strings.TrimSpace(list) == "" {
		return base, nil
	}
	known := slices.Sorted(maps.Keys((&Sightline{}).Terms()))
	for _, item := range strings.Split(list, ",") {
		name, value, found := strings.Cut(strings.TrimSpace(item), "=")
		if !found || !slices.Contains(known, name) {
			return nil, fmt.Errorf("weight %q: want TERM=NUMBER with a term of %s", item, strings.Join(known, ", "))
		}
		w, err := strconv.ParseFloat(value, 64)
		if err != nil || !(w >= 0) || math.IsInf(w, 0) {
			return nil, fmt.Errorf("weight %q: the number must be 0 or more", item)
		}
		base[name] = w
	}
	return base, nil
}

// score fills the terms and gates of a line; finishScore does the rest. best is its best alignment with both tops in view as the far line,
// nil where it has none, and near that alignment's near top. Terms without a value are left out with their weights.
func score(opts *Options, row *Sightline, observer, target *gazetteer.Feature, best *Alignment, near *gazetteer.Feature) {
	gates(row, observer, target)
	if row.Verdict == Undecided {
		return
	}
	unit := func(v float64) *float64 { return pointer(math.Min(math.Max(v, 0), 1)) }
	row.ScoreReach = unit(math.Log(row.DistanceM/30e3) / math.Log(10))
	if row.anglePlaneRad > 0 {
		u := math.Min(row.angleCurvedRad/row.anglePlaneRad, 1)
		row.ScoreShare = unit(u)
		row.ScoreLoss = unit(4 * u * (1 - u))
	}
	// Heights and places known exactly, evidence would reach (1−k)/σ_k: this is the share that they leave.
	row.ScoreEvidence = unit(evidenceTerm(opts, row.EvidenceSD))
	row.ScoreAir = unit(math.Log(row.Contrast/0.005) / math.Log(200))
	switch {
	case row.SkyBehind == nil:
	case row.BackdropArcmin == nil || *row.BackdropArcmin < -2:
		row.ScoreSky = unit(1)
	case row.backdropM > 1.2*row.DistanceM:
		row.ScoreSky = unit(0.3)
	default:
		row.ScoreSky = unit(0.1)
	}
	if best != nil {
		row.ScoreFlip = unit(best.OrderDiffersChance)
		if near.StructureHeightM > 0 {
			heightArcmin := near.StructureHeightM / best.NearDistanceM * arcminPerRad
			row.ScoreRuler = unit(math.Exp(-square(best.AzimuthDifferenceArcmin/60/0.1)) * math.Min(heightArcmin/2, 1) *
				math.Exp(-square(near.StructureHeightSDM/(0.05*near.StructureHeightM))))
		}
	}
}

// gates fills the gates, which every line has.
func gates(row *Sightline, observer, target *gazetteer.Feature) {
	row.GateSure = row.ChanceLow
	row.GateSound = math.Min(soundness(observer), soundness(target))
	if strings.Contains(row.Doubts, DoubtSpike) || strings.Contains(row.Doubts, DoubtOwnGround) || strings.Contains(row.Doubts, DoubtTerrainMissing) {
		row.GateSound *= 0.5
	}
	row.GateStand = standing(observer.Kind)
	row.GateSeen = 1
	if w := widthM(target.Kind); w > 0 {
		row.GateSeen = math.Min(w/row.DistanceM/(2*seeingRad), 1)
	}
}

// evidenceTerm is the evidence over the most that the spread of k allows, in 0…1; with k known exactly any evidence counts in full.
func evidenceTerm(opts *Options, evidenceSD float64) float64 {
	if opts.KSD == 0 {
		return math.Min(evidenceSD, 1)
	}
	return math.Min(evidenceSD*opts.KSD/(1-opts.K), 1)
}

// seeingRad is how far air by day smears a point, 5″ (from memory).
const seeingRad = 5.0 / 3600 * math.Pi / 180

// widthM is a usual width of the upper part of a structure; 0 for what is as wide as it is high (our judgement, no source).
func widthM(kind gazetteer.Kind) float64 {
	switch kind {
	case gazetteer.Mast:
		return 1.5
	case gazetteer.Turbine:
		return 3
	case gazetteer.Tower, gazetteer.Chimney, gazetteer.Lighthouse:
		return 5
	default:
		return 0
	}
}

// finishScore fills what the whole region decides, the term unique, and both scores of a line that has its terms: the weighted mean of the terms
// times the gates. seers is the number of observers that have a listed line in view to the target, of all observers of the region.
func finishScore(opts *Options, l *Sightline, seers, observers int) {
	if l.Verdict == Undecided {
		return
	}
	l.ScoreUnique = pointer(1 - float64(seers)/float64(max(observers, 1)))
	gates := l.GateSure * l.GateSound * l.GateStand * l.GateSeen
	l.ScoreTest = pointer(100 * gates * l.weighted(opts.weights(false)))
	l.ScorePicture = pointer(100 * gates * l.weighted(opts.weights(true)))
}

// fan is how well the tops in view in one frame tell slope from roll: the spread of their distances over 40 km, for three tops or more, in full
// from seven on.
func fan(distancesM []float64) float64 {
	n := float64(len(distancesM))
	if n < 3 {
		return 0
	}
	mean, sum := 0.0, 0.0
	for _, d := range distancesM {
		mean += d / n
	}
	for _, d := range distancesM {
		sum += square(d - mean)
	}
	return math.Min(math.Sqrt(sum/n)/40e3, 1) * math.Min((n-2)/5, 1)
}

// EffectiveWeights are the weights of the ranking that the options choose.
func (o *Options) EffectiveWeights() map[string]float64 { return o.weights(o.RankForPicture) }

func (o *Options) weights(picture bool) map[string]float64 {
	switch {
	case o.Weights != nil && o.RankForPicture == picture:
		return o.Weights
	case picture:
		return PictureWeights()
	default:
		return TestWeights()
	}
}

// weighted is the weighted mean of the terms that have a value.
func (s *Sightline) weighted(weights map[string]float64) float64 {
	sum, total := 0.0, 0.0
	for _, term := range s.terms() {
		if v := term.value; v != nil {
			w := weights[term.name]
			sum += w * *v
			total += w
		}
	}
	if total == 0 {
		return 0
	}
	return sum / total
}

// scoreTerm is a term of the score, with a nil value where it has none.
type scoreTerm struct {
	name  string
	value *float64
}

// terms are the terms of the score by name, in one order, so that rounding is the same every time.
func (s *Sightline) terms() [12]scoreTerm {
	return [12]scoreTerm{
		{"absence", s.ScoreAbsence}, {"air", s.ScoreAir}, {"evidence", s.ScoreEvidence}, {"fan", s.ScoreFan}, {"flip", s.ScoreFlip}, {"light", s.ScoreLight},
		{"loss", s.ScoreLoss}, {"reach", s.ScoreReach}, {"ruler", s.ScoreRuler}, {"share", s.ScoreShare}, {"sky", s.ScoreSky}, {"unique", s.ScoreUnique},
	}
}

// Terms are the terms of the score by name, nil where a term has no value.
func (s *Sightline) Terms() map[string]*float64 {
	terms := map[string]*float64{}
	for _, term := range s.terms() {
		terms[term.name] = term.value
	}
	return terms
}

// Gates are the gates that multiply the weighted mean of the terms, by name.
func (s *Sightline) Gates() map[string]*float64 {
	return map[string]*float64{"sure": &s.GateSure, "sound": &s.GateSound, "stand": &s.GateStand, "seen": &s.GateSeen}
}

// soundness is 1 for an end whose height two sources agree on (listed, and terrain that does not contradict it), 0.7 for a height
// from one source, 0.3 for a place to the minute of arc, 0 for a contradiction.
func soundness(f *gazetteer.Feature) float64 {
	sound := 1.0
	for _, d := range f.Doubts {
		switch d {
		case gazetteer.DoubtFeetAsMetres, gazetteer.DoubtHeightContradictsTerrain, gazetteer.DoubtSharesSummit:
			return 0
		case gazetteer.DoubtPlaceToTheMinute, gazetteer.DoubtPlaceRough:
			sound = math.Min(sound, 0.3)
		case gazetteer.DoubtHeightFromTerrain, gazetteer.DoubtHeightUnchecked, gazetteer.DoubtMoved, gazetteer.DoubtStructureHeightAssumed,
			gazetteer.DoubtHeightUnreadable, gazetteer.DoubtStructureHeightUnreadable, gazetteer.DoubtSummitOnVoid, gazetteer.DoubtSourcesDisagree,
			gazetteer.DoubtUnverified:
			sound = math.Min(sound, 0.7)
		}
	}
	return sound
}

// standing is how likely somebody can stand and photograph at an observer of this kind.
func standing(kind gazetteer.Kind) float64 {
	switch kind {
	case gazetteer.Viewpoint:
		return 1
	case gazetteer.Peak, gazetteer.Hill, gazetteer.Volcano, gazetteer.Place:
		return 0.6
	case gazetteer.Mast, gazetteer.Chimney, gazetteer.Turbine:
		return 0
	default:
		return 0.2
	}
}

// scoreAlignment is 0–100: order flip, evidence and closeness in azimuth, times the chance of what its case says, the soundness of the
// three features and whether anybody can stand there.
func scoreAlignment(opts *Options, a *Alignment, observer, near, far *gazetteer.Feature) float64 {
	evidence := evidenceTerm(opts, a.EvidenceSD)
	closeness := math.Exp(-square(a.AzimuthDifferenceArcmin / 60 / 0.1))
	mean := (3*a.OrderDiffersChance + 2*evidence + closeness) / 6
	if a.Case != BothInView {
		// What should be missing is seen to be missing, or not: as good as an order that flips, and closeness does not matter.
		mean = (3 + 2*evidence) / 5
	}
	sound := math.Min(math.Min(soundness(near), soundness(far)), soundness(observer))
	return 100 * mean * a.Chance * sound * standing(observer.Kind)
}
