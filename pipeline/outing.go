package pipeline

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/geoid"
	"farstation/geodesy/light"
	"farstation/geodesy/terrain"
)

// OutingOptions are what an outing depends on besides its run. DefaultOutingOptions documents the defaults; zero values are not defaults.
type OutingOptions struct {
	// FromDate and ToDate are the first and the last day, 2006-01-02, in TimeZone; empty for the 30 days from the run's own day on.
	FromDate, ToDate string
	// TimeZone is a name of the tz database, such as Europe/London.
	TimeZone string
	// Sensor held across, in mm; pixel pitch in µm; focal length in mm; f-number.
	SensorWidthMM, SensorHeightMM float64
	PixelUM, FocalMM, ApertureF   float64
	// SeaLevelM and SeaLevelSDM are the height of the sea over the geoid on the day, in metres; nil keeps the run's.
	SeaLevelM, SeaLevelSDM *float64
	// ToleranceDeg is the horizontal angle within which two tops count as in line; 0 keeps the run's.
	ToleranceDeg float64
	// Draws is how often the whole profile is drawn at random, 0 for not at all.
	Draws int
	// Air is what sun and moon are seen through; nil is the standard atmosphere.
	Air *light.Profile
}

// DefaultOutingOptions returns the defaults: a sensor of 36 × 24 mm with pixels of 4 µm behind 600 mm at f/8.
func DefaultOutingOptions() OutingOptions {
	return OutingOptions{TimeZone: "UTC", SensorWidthMM: 36, SensorHeightMM: 24, PixelUM: 4, FocalMM: 600, ApertureF: 8}
}

// mostOutingDays bounds the dates of an outing.
const mostOutingDays = 400

// Validate says all that is wrong with the options.
func (o *OutingOptions) Validate() error {
	var wrong []error
	for _, limit := range []struct {
		name           string
		value, low, up float64
	}{
		{"sensor-mm", o.SensorWidthMM, 1, 1000}, {"sensor-mm", o.SensorHeightMM, 1, 1000}, {"pixel-um", o.PixelUM, 0.1, 100},
		{"focal-mm", o.FocalMM, 1, 100_000}, {"aperture-f", o.ApertureF, 0.5, 200}, {"tolerance-deg", o.ToleranceDeg, 0, 10}, {"draws", float64(o.Draws), 0, 1e7},
	} {
		if !(limit.value >= limit.low && limit.value <= limit.up) {
			wrong = append(wrong, fmt.Errorf("--%s %v: must lie within %v…%v", limit.name, limit.value, limit.low, limit.up))
		}
	}
	if _, err := time.LoadLocation(o.TimeZone); err != nil || o.TimeZone == "Local" {
		wrong = append(wrong, fmt.Errorf("--time-zone %q: is no zone of the tz database: give a name such as Europe/London or UTC", o.TimeZone))
	}
	if (o.FromDate == "") != (o.ToDate == "") {
		wrong = append(wrong, errors.New("give --from-date and --to-date, or neither"))
	}
	for _, flag := range [][2]string{{"from-date", o.FromDate}, {"to-date", o.ToDate}} {
		if _, err := time.Parse(time.DateOnly, flag[1]); flag[1] != "" && err != nil {
			wrong = append(wrong, fmt.Errorf("--%s %s: want a day such as 2031-05-20", flag[0], flag[1]))
		}
	}
	return errors.Join(wrong...)
}

// days returns the first day's midnight in the time zone, and how many days follow.
func (o *OutingOptions) days(started time.Time) (first time.Time, days int, err error) {
	zone, err := time.LoadLocation(o.TimeZone)
	if err != nil {
		return first, 0, err
	}
	if o.FromDate == "" {
		day := started.In(zone)
		return time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, zone), 30, nil
	}
	from, errFrom := time.Parse(time.DateOnly, o.FromDate)
	to, errTo := time.Parse(time.DateOnly, o.ToDate)
	if err := errors.Join(errFrom, errTo); err != nil {
		return first, 0, err
	}
	days = int(to.Sub(from).Hours()/24) + 1 // both at midnight UTC
	if days < 1 || days > mostOutingDays {
		return first, 0, fmt.Errorf("--from-date %s, --to-date %s: want 1 to %d days, the first day first", o.FromDate, o.ToDate, mostOutingDays)
	}
	return time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, zone), days, nil
}

// OutingRun is a run that outings are planned from.
type OutingRun struct {
	ClaimRun // its Features hold all of the run's
	tables   *Tables
	opts     Options
	world    *World
}

// NewOutingRun reads the features of a run and finds its terrain: where the survey found it, relative paths from the folder that the program is
// started in, or in other sources that stand in for those.
func NewOutingRun(run ClaimRun, tables *Tables, sources []terrain.Source) (*OutingRun, error) {
	r := &OutingRun{ClaimRun: run, tables: tables}
	var err error
	if r.opts, err = OptionsOf(run.Manifest); err != nil {
		return nil, err
	}
	if len(sources) > 0 {
		r.opts.Terrain = sources
	}
	w := &World{}
	if w.Index, err = terrain.Discover(r.opts.Terrain); err != nil {
		return nil, fmt.Errorf("the terrain of the run: %w: start where the survey was started, or name it with --terrain", err)
	}
	if w.Geoid, err = geoid.EGM96(); err != nil {
		return nil, err
	}
	r.Features = map[string]FeatureRow{}
	for row, err := range tables.Features {
		if err != nil {
			return nil, err
		}
		r.Features[row.FeatureID] = *row
		w.Features = append(w.Features, row.feature())
	}
	w.Store = terrain.NewStore(w.Index, terrain.StoreOptions{MemoryBytes: r.opts.MemoryBytes, Strict: r.opts.Strict, LandHint: landHint(w.Features, w.Index)})
	r.world = w
	return r, nil
}

// planner holds what the parts of one outing share.
type planner struct {
	run                 *OutingRun
	opts                Options // the run's, with the sea of the day
	ask                 *OutingOptions
	tracer              *Tracer
	observer, near, far *gazetteer.Feature // near is nil without an alignment
	eyeM                float64            // height of the eye over the ellipsoid
	first               time.Time
	days                int
	out                 *Outing
}

func (p *planner) note(format string, args ...any) {
	p.out.Notes = append(p.out.Notes, fmt.Sprintf(format, args...))
}

// PlanLines plans an outing for each of the run's sightlines that are named by id or rank.
func (r *OutingRun) PlanLines(ctx context.Context, lines []string, ask OutingOptions) ([]Outing, error) {
	rows, err := r.findLines(lines)
	if err != nil {
		return nil, err
	}
	best, err := r.bestAlignments(rows)
	if err != nil {
		return nil, err
	}
	out := make([]Outing, len(rows))
	for i := range rows {
		out[i] = Outing{Line: rows[i], Alignment: best[LineID(&rows[i])]}
		p, err := r.newPlanner(&out[i], &ask)
		if err == nil {
			err = p.plan(ctx)
		}
		if err != nil {
			return nil, fmt.Errorf("outing %s: %w", LineID(&rows[i]), err)
		}
	}
	return out, nil
}

// findLines finds sightlines by id or rank, in the order asked for, each once.
func (r *OutingRun) findLines(lines []string) ([]Sightline, error) {
	found := make([]*Sightline, len(lines))
	for row, err := range r.tables.Sightlines {
		if err != nil {
			return nil, err
		}
		is := func(wanted string) bool {
			return wanted == LineID(row) || row.Rank != nil && strings.TrimPrefix(wanted, "#") == fmt.Sprint(*row.Rank)
		}
		if i := slices.IndexFunc(lines, is); i >= 0 {
			kept := *row
			for ; i < len(lines); i++ {
				if is(lines[i]) {
					found[i] = &kept
				}
			}
		}
	}
	var rows []Sightline
	var missing []error
	for i, row := range found {
		switch {
		case row == nil:
			missing = append(missing, fmt.Errorf("the run has no sightline %s: give the ids of its ends, \"observer_id>target_id\", or its rank in the report", lines[i]))
		case !slices.Contains(found[:i], row):
			rows = append(rows, *row)
		}
	}
	return rows, errors.Join(missing...)
}

// bestAlignments finds the alignment of the greatest score for each line, by LineID.
func (r *OutingRun) bestAlignments(rows []Sightline) (map[string]*Alignment, error) {
	best := map[string]*Alignment{}
	for i := range rows {
		best[LineID(&rows[i])] = nil
	}
	for a, err := range r.tables.Alignments {
		if err != nil {
			return nil, err
		}
		id := a.ObserverID + ">" + a.FarID
		if b, asked := best[id]; asked && (b == nil || a.Score > b.Score) {
			kept := *a
			best[id] = &kept
		}
	}
	return best, nil
}

func (r *OutingRun) newPlanner(out *Outing, ask *OutingOptions) (*planner, error) {
	p := &planner{run: r, opts: r.opts, ask: ask, out: out}
	out.Notes = []string{}
	out.RunSHA256, out.Made = r.SHA256, r.Made
	var err error
	if p.first, p.days, err = ask.days(r.Manifest.Started); err != nil {
		return nil, err
	}
	p.opts.KeepAll = true
	p.opts.SeaLevelM, p.opts.SeaLevelSDM = *cmp.Or(ask.SeaLevelM, &p.opts.SeaLevelM), *cmp.Or(ask.SeaLevelSDM, &p.opts.SeaLevelSDM)
	p.opts.ToleranceDeg = cmp.Or(ask.ToleranceDeg, p.opts.ToleranceDeg)
	p.tracer = NewTracer(p.opts, r.world.Store, r.world.Geoid)
	for _, end := range []struct {
		id string
		to **gazetteer.Feature
	}{{out.Line.ObserverID, &p.observer}, {out.Line.TargetID, &p.far}} {
		if *end.to, err = r.settledFeature(end.id); err != nil {
			return nil, err
		}
	}
	if out.Alignment != nil {
		if p.near, err = r.settledFeature(out.Alignment.NearID); err != nil {
			return nil, err
		}
	}
	p.eyeM = p.opts.eyeHeightM(p.observer) + r.world.Geoid.UndulationM(p.observer.At)
	return p, nil
}

func (r *OutingRun) settledFeature(id string) (*gazetteer.Feature, error) {
	if _, err := r.feature(id); err != nil {
		return nil, err
	}
	f := r.settled(id)
	return &f, nil
}

// plan fills the outing of one line, part by part.
func (p *planner) plan(ctx context.Context) error {
	o := p.out
	o.Target = endOf(p.far)
	if p.near != nil {
		o.Near = pointer(endOf(p.near))
	}
	for _, step := range []struct {
		name string
		fill func(context.Context) error
	}{
		{"claim", p.freeze}, {"air", p.fillAir}, {"stand", p.fillStand}, {"fall-backs", p.fillFallBacks}, {"lens", p.fillLens}, {"frame", p.fillFrame}, {"sky", p.fillSky},
	} {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := step.fill(ctx); err != nil {
			return fmt.Errorf("%s: %w", step.name, err)
		}
	}
	return nil
}

func endOf(f *gazetteer.Feature) OutingEnd {
	return OutingEnd{ID: f.ID, Name: f.Name, LatitudeDeg: f.At.LatDeg, LongitudeDeg: f.At.LonDeg, TopHeightM: topHeightM(f)}
}

// freeze makes the claim of the outing: of its alignment, or of the line by itself. A line that can claim nothing goes without, and the sheet
// says why.
func (p *planner) freeze(context.Context) error {
	var claim *Claim
	var err error
	if p.out.Alignment != nil {
		claim, err = p.run.NewAlignmentClaim(p.out.Alignment)
	} else {
		claim, err = p.run.NewSightlineClaim(&p.out.Line)
	}
	if err != nil {
		p.note("Nothing is claimed: %v.", err)
		p.look(nil)
		return nil
	}
	if _, err := claim.Encode(); err != nil { // sets its hash
		return err
	}
	p.out.Claim, p.out.ClaimSHA256 = claim, claim.SHA256
	p.look(claim)
	return nil
}

// The reach and number of fall-back lines.
const (
	fallBackM     = 15e3
	mostFallBacks = 8
)

// fillFallBacks lists other ranked lines from the same stand or from one near by: the best ranked, and among them the one that needs the least
// clear air.
func (p *planner) fillFallBacks(context.Context) error {
	own := LineID(&p.out.Line)
	lines := []OutingOther{}
	for row, err := range p.run.tables.Sightlines {
		if err != nil {
			return err
		}
		if row.Rank == nil || LineID(row) == own {
			continue
		}
		at := geodesy.LatLon{LatDeg: row.ObserverLatDeg, LonDeg: row.ObserverLonDeg}
		away := 0.0
		if row.ObserverID != p.observer.ID {
			if away = geodesy.WGS84.Inverse(p.observer.At, at).DistanceM; away > fallBackM {
				continue
			}
		}
		lines = append(lines, OutingOther{
			LineID: LineID(row), Observer: row.ObserverName, Target: row.TargetName, DistanceM: row.DistanceM, AzimuthDeg: row.AzimuthDeg, AwayM: away,
			LatitudeDeg: at.LatDeg, LongitudeDeg: at.LonDeg, VisualRangeNeededKM: row.VisualRangeNeededKM, Rank: pointer(*row.Rank),
		})
	}
	slices.SortFunc(lines, func(a, b OutingOther) int { return cmp.Compare(*a.Rank, *b.Rank) })
	if len(lines) > mostFallBacks {
		least := slices.MinFunc(lines, func(a, b OutingOther) int { return cmp.Compare(a.VisualRangeNeededKM, b.VisualRangeNeededKM) })
		if lines = lines[:mostFallBacks]; *least.Rank > *lines[mostFallBacks-1].Rank {
			lines[mostFallBacks-1] = least
		}
	}
	for i := range lines {
		l := &lines[i]
		l.Why = "from the same stand"
		if l.AwayM > 0 {
			l.Why = fmt.Sprintf("from %.1f km away", l.AwayM/1000)
		}
		switch needed := p.out.Line.VisualRangeNeededKM; {
		case l.VisualRangeNeededKM < needed:
			l.Why += fmt.Sprintf(", in less clear air: %.0f km of visual range do, where this line needs %.0f km", l.VisualRangeNeededKM, needed)
		default:
			l.Why += fmt.Sprintf(", needs %.0f km of visual range", l.VisualRangeNeededKM)
		}
	}
	p.out.FallBacks = lines
	return nil
}
