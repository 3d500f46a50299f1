package main

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"farstation/geodesy/terrain"
	"farstation/pipeline"
	"farstation/reports"
)

// outingOptions are the flags of outing.
type outingOptions struct {
	pipeline.OutingOptions
	run, lines, near, far  string
	area                   *pipeline.Area
	terrain                []terrain.Source
	out, date, kSource     string
	seaLevelM, seaLevelSDM float64
}

const outingLong = `Outing turns chosen sightlines of a run into field sheets: where to stand and how far aside the tops still line up, what the frame should show under
both models, when sun and moon stand where, what the lens makes of it, in which air, and lines near by to fall back on. With each sheet it freezes the claim, so that
weigh --prediction can prove that it came first.

  farstation outing --run farstation-demo/run --lines 1,2 --from-date 2031-05-20 --to-date 2031-06-03 --out trip

Lines are named by their rank in the report, or in quotes by the ids of their ends, "csv:109>csv:126". For a near and a far feature and no observer yet:

  farstation outing --run farstation-demo/run --near csv:118 --far csv:101 --area=-122.85,-33.05,-122.65,-32.9 --out trip

looks for ground in the area from which the two line up. The terrain must lie where the survey found it, relative paths from the folder that outing is
started in, or be named with --terrain. The new folder gets outing.json, places.gpx, and for each line outing-N.html and claim-N.json.

Never look at or near the sun through a lens or finder; the sheet says when it stands within 10° of the frame. "farstation --help" has the other cautions.`

func newOutingCommand(stdio *stdio) *cobra.Command {
	o := outingOptions{OutingOptions: pipeline.DefaultOutingOptions()}
	cmd := &cobra.Command{
		Use:   "outing --run DIR --lines ID,… --out DIR",
		Short: "Field sheets for chosen lines: where to stand, when, with what lens, in which air",
		Long:  outingLong,
		Args:  atMostArgs(0),
	}
	cmd.DisableFlagsInUseLine = true
	useGroups(cmd, []flagGroup{
		newFlagGroup("Lines", func(f flagAdder) {
			f.StringVar(&o.run, "run", "", "run folder `DIR` that survey wrote")
			f.StringVar(&o.lines, "lines", "", "comma list of sightlines `ID`: ranks, or \"observer_id>target_id\"")
			f.StringVar(&o.near, "near", "", "feature `ID` of a near top instead, with --far and --area")
			f.StringVar(&o.far, "far", "", "feature `ID` of the far top to stand behind it")
			f.Var(areaValue{&o.area}, "area", "where to look for ground to stand on; W > E crosses the date line")
			f.Float64Var(&o.ToleranceDeg, "tolerance-deg", 0, "horizontal angle `DEG` within which two tops count as in line; 0 is the run's")
			f.IntVar(&o.Draws, "draws", 0, "also draw the whole profile `N` times at random, for the share that shows the top")
			f.Var(terrainValue{&o.terrain}, "terrain", "elevation in place of the run's: "+terrainUsage)
		}),
		newFlagGroup("Dates", func(f flagAdder) {
			f.StringVar(&o.FromDate, "from-date", "", "first `DAY`, such as 2031-05-20 (default that of the run)")
			f.StringVar(&o.ToDate, "to-date", "", "last `DAY` (default 30 days in all)")
			f.StringVar(&o.TimeZone, "time-zone", o.TimeZone, "zone of the tz database that days and times are in, by `NAME`, such as Europe/London")
		}),
		newFlagGroup("Camera", func(f flagAdder) {
			f.Float64Var(&o.FocalMM, "focal-mm", o.FocalMM, "focal length `MM`")
			f.Var(sensorValue{&o.SensorWidthMM, &o.SensorHeightMM}, "sensor-mm", "sensor held across, in mm")
			f.Float64Var(&o.PixelUM, "pixel-um", o.PixelUM, "pixel pitch `UM` in µm")
			f.Float64Var(&o.ApertureF, "aperture-f", o.ApertureF, "f-number `N`")
		}),
		newFlagGroup("Sea", func(f flagAdder) {
			f.Float64Var(&o.seaLevelM, "sea-level-m", 0, "height `M` of the sea over the geoid on the day, in metres: the tide (default the run's)")
			f.Float64Var(&o.seaLevelSDM, "sea-level-sd-m", 0, "standard deviation `M` of that (default the run's)")
		}),
		newFlagGroup("Claim and output", func(f flagAdder) {
			f.StringVar(&o.date, "date", "", "`DAY` of the claims in UTC, such as 2031-05-20 (default today)")
			f.StringVar(&o.kSource, "k-source", "", "`TEXT` that says where the run's refraction coefficient is from, such as a sounding of that day")
			f.StringVar(&o.out, "out", "", "new folder `DIR`")
		}),
	})
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if cmd.Flags().Changed("sea-level-m") {
			o.SeaLevelM = &o.seaLevelM
		}
		if cmd.Flags().Changed("sea-level-sd-m") {
			o.SeaLevelSDM = &o.seaLevelSDM
		}
		return runOuting(cmd.Context(), stdio, o)
	}
	return cmd
}

// complete checks the flags and fills the date.
func (o *outingOptions) complete() error {
	wrong := []error{o.Validate()}
	say := func(format string, args ...any) { wrong = append(wrong, fmt.Errorf(format, args...)) }
	if o.run == "" {
		say("no --run: name the folder that survey wrote")
	}
	ofArea := o.near != "" || o.far != "" || o.area != nil
	switch {
	case o.lines != "" && ofArea, o.lines == "" && !ofArea:
		say("give --lines, or --near, --far and --area")
	case ofArea && (o.near == "" || o.far == "" || o.area == nil):
		say("--near, --far and --area go together")
	case ofArea && o.near == o.far:
		say("--near and --far name the same feature")
	}
	if a := o.area; a != nil && !(a.South <= a.North && a.South >= -90 && a.North <= 90 && math.Abs(a.West) <= 180 && math.Abs(a.East) <= 180) {
		say("--area: want W,S,E,N in degrees with south below north")
	}
	if s := o.SeaLevelM; s != nil && !(math.Abs(*s) <= 500) {
		say("--sea-level-m %v: must lie within -500…500", *s)
	}
	if s := o.SeaLevelSDM; s != nil && !(*s >= 0 && *s <= 500) {
		say("--sea-level-sd-m %v: must lie within 0…500", *s)
	}
	o.date = cmp.Or(o.date, time.Now().UTC().Format(time.DateOnly))
	if _, err := time.Parse(time.DateOnly, o.date); err != nil {
		say("--date %s: want a day such as 2031-05-20", o.date)
	}
	if o.out == "" {
		say("no --out: name a new folder")
	} else if err := reports.CheckOut(o.out, false); err != nil {
		wrong = append(wrong, err)
	}
	return errors.Join(wrong...)
}

func runOuting(ctx context.Context, stdio *stdio, o outingOptions) error {
	if err := o.complete(); err != nil {
		return wrongInput(err)
	}
	run, err := reports.OpenOutingRun(o.run, o.terrain, o.date, o.kSource)
	if err != nil {
		return wrongInput(err)
	}
	var outings []pipeline.Outing
	if o.lines != "" {
		outings, err = run.PlanLines(ctx, splitList(o.lines), o.OutingOptions)
	} else {
		var one *pipeline.Outing
		if one, err = run.PlanArea(ctx, o.near, o.far, *o.area, o.OutingOptions); err == nil {
			outings = []pipeline.Outing{*one}
		}
	}
	if err != nil {
		if ctx.Err() != nil {
			return err
		}
		return wrongInput(err)
	}
	if err := reports.WriteOutings(ctx, o.out, outings); err != nil {
		return err
	}
	var text bytes.Buffer
	for i := range outings {
		writeOuting(&text, i+1, &outings[i])
	}
	fmt.Fprintf(&text, "written %s\n", plain(o.out))
	_, err = text.WriteTo(stdio.out)
	return err
}

// splitList is a comma list without empty parts.
func splitList(list string) []string {
	var parts []string
	for part := range strings.SplitSeq(list, ",") {
		if part = strings.TrimSpace(part); part != "" {
			parts = append(parts, part)
		}
	}
	return parts
}

// writeOuting prints what matters most of one outing.
func writeOuting(b *bytes.Buffer, number int, o *pipeline.Outing) {
	l := &o.Line
	fmt.Fprintf(b, "%d. From %s to %s, %.1f km away at azimuth %.2f°\n", number, plain(l.ObserverName), plain(l.TargetName), l.DistanceM/1000, l.AzimuthDeg)
	row := func(head, format string, args ...any) {
		fmt.Fprintf(b, "   %-13s %s\n", head, plain(fmt.Sprintf(format, args...)))
	}
	if n := len(o.Sky.Glare); n > 0 {
		glare := o.Sky.Glare[0]
		row("sun in frame", "%s to %s: no optical finder, filter on the front of the lens", clock(glare.From), glare.To.Format("15:04"))
		if n > 1 {
			row("", "and %s more, see the sheet", plural(n-1, "time", "times"))
		}
	}
	row("look for", "%s", o.LookCurved)
	row("", "%s", o.LookPlane)
	s := &o.Stand
	row("stand", "%.5f, %.5f, ground %.0f m, eye %.1f m over the sea", s.LatitudeDeg, s.LongitudeDeg, s.GroundM, s.EyeHeightM)
	if s.LostLeftM != nil && s.LostRightM != nil {
		row("", "in line from %.0f m to the left to %.0f m to the right; %.1f m aside turn the tops by 1′", *s.LostLeftM, *s.LostRightM, *s.AsideMPerArcmin)
	}
	if n := len(s.Strip); n > 0 {
		row("", "%s of the ground around serve too", plural(n, "place", "places"))
	}
	if s.Drawn != nil {
		row("draws", "the top shows in %.3f of %d random draws of k, heights and terrain", *s.Drawn, s.Draws)
	}
	kinds := map[string]int{}
	for _, w := range o.Sky.Windows {
		kinds[w.Light]++
	}
	row("light", "%s to %s (%s): %d times silhouette, %d side light, %d front light", o.Sky.Days[0].Date, o.Sky.Days[len(o.Sky.Days)-1].Date, o.Sky.TimeZone, kinds["silhouette"], kinds["side"], kinds["front"])
	for i, pass := range o.Sky.Passes {
		if i == 3 {
			row("", "and %s more, see the sheet", plural(len(o.Sky.Passes)-i, "pass", "passes"))
			break
		}
		row(pass.Body, "%s ± %.0f s, %.0f′ from the top", pass.At.Format("2006-01-02 15:04:05 -07:00"), pass.SDSeconds, pass.SeparationArcmin)
	}
	row("lens", "%s", o.Lens.Binds)
	row("air", "needs %.0f km of visual range; in %.0f km of it %.1f %% of contrast are left", o.Air.VisualRangeNeededKM, o.Air.VisualRangeKM, 100*o.Air.Contrast)
	if o.ClaimSHA256 != "" {
		row("claim", "claim-%d.json, SHA-256 %s", number, o.ClaimSHA256)
	}
	for _, note := range o.Notes {
		row("note", "%s", note)
	}
	b.WriteString("\n")
}

func clock(t time.Time) string { return t.Format("2006-01-02 15:04") }

// sensorValue is a sensor's size WxH in mm.
type sensorValue struct{ widthMM, heightMM *float64 }

func (v sensorValue) String() string {
	if v.widthMM == nil {
		return ""
	}
	return fmt.Sprintf("%gx%g", *v.widthMM, *v.heightMM)
}

func (v sensorValue) Type() string { return "wxh" }

func (v sensorValue) Set(text string) error {
	width, height, found := strings.Cut(strings.ReplaceAll(strings.ToLower(text), "×", "x"), "x")
	w, errW := strconv.ParseFloat(width, 64)
	h, errH := strconv.ParseFloat(height, 64)
	if !found || errW != nil || errH != nil {
		return errors.New("want width and height in mm, such as 36x24")
	}
	*v.widthMM, *v.heightMM = w, h
	return nil
}
