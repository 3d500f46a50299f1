package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"farstation/geodesy"
	"farstation/pipeline"
	"farstation/reports"
)

// photographFlags are what weigh and resect share.
type photographFlags struct {
	pipeline.PhotographOptions
	focalSDPercent float64
	asJSON         bool
	// cases is a folder of cases to weigh again.
	cases string
}

const pointsHelp = `The table of points is a CSV with the columns name_or_id, part, x_px, y_px, sd_px. Pixels count from the upper left corner of the picture as it is stored,
x to the right and y downwards; sd_px is by how much repeated measurements differ. name_or_id names a feature of --features; a top may have none, and weigh
finds the name that fits best. part is one of
  top          the top of the feature, with its structure
  base         the foot of its structure
  height:M     M metres over its ground
  cut          where ground before it cuts its face off: compared with the prediction, not fitted
  sea_horizon  a point of the sea horizon; name_or_id may be empty
  level        a point at the camera's own level, from an instrument
  plumb        one end of a line that hangs plumb; the other end has the same name
  sun:UTC      the centre of the sun at that second, such as sun:2031-05-20T18:04:31Z; moon:UTC likewise. Never look at the sun through a lens
  absent       looked for and not seen: compared with the prediction
A column frame may give the number of the photograph, from 1.`

const weighLong = `Weigh fits a camera to points measured on photographs, once for a curved Earth and once for a plane, with the same freedom for both, and says which of the
two stands, how strongly, and what would have to be wrong to overturn that. "This picture cannot tell" is an answer.

` + pointsHelp + `

  farstation weigh --photo ridge.jpg --points ridge.csv --features peaks.csv --terrain tiles --camera -32.415,-123.7233 --out ridge

With --out, a new folder gets weigh.json, the page weigh.html and all that they stand on: the photographs as they are (with what their EXIF says of
the place), points, features, ground, claim, and case.json, from which --cases weighs them again:

  farstation weigh --cases cases --features newer.csv --terrain tiles

That ends with 0 where every verdict is what it was, with 3 where one changed, with 1 where a case could not be weighed. "farstation --help" has the cautions.`

func newWeighCommand(stdio *stdio) *cobra.Command {
	o := photographFlags{PhotographOptions: pipeline.PhotographOptions{Options: pipeline.DefaultOptions()}}
	out, measuringPage := "", ""
	cmd := &cobra.Command{
		Use:   "weigh --photo FILE --points FILE --features FILE",
		Short: "Weigh the curved Earth against the plane on a photograph",
		Long:  weighLong,
		Args:  atMostArgs(0),
	}
	cmd.DisableFlagsInUseLine = true
	useGroups(cmd, []flagGroup{
		o.inputGroup(),
		newFlagGroup("Camera", func(f flagAdder) {
			f.Var(camerasValue{&o.Cameras}, "camera", "where the lens was, with its height over mean sea level if it is known (else the terrain and --eye-height-m); give one for all photographs or one each; without it EXIF tells")
			f.Float64Var(&o.CameraSDM, "camera-sd-m", 0, "standard deviation `M` of that place each way, in metres; 0 takes 10 m for a place typed and 50 m for one from EXIF")
			f.Float64Var(&o.EyeHeightM, "eye-height-m", o.EyeHeightM, "height `M` of the lens over the ground, in metres")
			o.addFocalFlags(f)
		}),
		newFlagGroup("Prediction", func(f flagAdder) {
			f.StringVar(&o.Prediction, "prediction", "", "claim `FILE` made before the photograph: its hash and dates are checked, and its own rule applied")
			f.IntVar(&o.Tried, "photographs-tried", 0, "how many photographs `N` were taken for this test, those that showed nothing included")
		}),
		newFlagGroup("Output", func(f flagAdder) {
			f.StringVar(&out, "out", "", "new folder `DIR` for weigh.json, weigh.html and all that they stand on")
			f.StringVar(&o.cases, "cases", "", "weigh every case in the folders below `DIR` again, with --features and --terrain in place of theirs if given, and tell which verdicts changed, and why")
			f.BoolVar(&o.asJSON, "json", false, "print weigh.json in place of the summary")
			f.StringVar(&measuringPage, "measuring-page", "", "write a page `FILE`.html on which points are clicked and saved as CSV, with the names of --features, and do nothing else")
		}),
		newFlagGroup("Air", func(f flagAdder) {
			addAirFlags(f, &o.Options)
			f.Float64Var(&o.KOwnSD, "k-own-sd", o.KOwnSD, "the part `K` of k-sd that two rays do not share")
		}),
		newFlagGroup("Heights and terrain", func(f flagAdder) { addHeightFlags(f, &o.Options) }),
	})
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if o.cases != "" {
			return runCases(cmd.Context(), stdio, o)
		}
		if measuringPage != "" {
			return runMeasuringPage(cmd.Context(), stdio, o, measuringPage)
		}
		return runWeigh(cmd.Context(), stdio, o, out)
	}
	return cmd
}

func (o *photographFlags) inputGroup() flagGroup {
	return newFlagGroup("Input", func(f flagAdder) {
		f.StringArrayVar(&o.Photos, "photo", nil, "JPEG or PNG `FILE`: size, hash and EXIF are read, and the picture itself for the page; repeatable")
		f.StringArrayVar(&o.PointFiles, "points", nil, "CSV `FILE` of points measured on it; one for each photograph")
		f.Var(featuresValue{&o.Options}, "features", featuresUsage)
		f.Var(terrainValue{&o.Terrain}, "terrain", terrainUsage)
	})
}

func (o *photographFlags) addFocalFlags(f flagAdder) {
	f.Float64Var(&o.FocalPx, "focal-px", 0, "focal length `PX` in pixels to start the search from (default what EXIF says, or twice the width)")
	f.Float64Var(&o.focalSDPercent, "focal-sd-percent", 0, "standard deviation `P` of --focal-px in percent; 0 leaves the focal length free")
}

// options returns what the flags ask for.
func (o *photographFlags) options() pipeline.PhotographOptions {
	opts := o.PhotographOptions
	opts.FocalSD = o.focalSDPercent / 100
	opts.Workers = 1
	return opts
}

func runWeigh(ctx context.Context, stdio *stdio, o photographFlags, out string) error {
	opts := o.options()
	if err := opts.Validate(); err != nil {
		return wrongInput(err)
	}
	if out != "" {
		if err := reports.CheckOut(out, false); err != nil {
			return wrongInput(err)
		}
	}
	w, err := pipeline.Weigh(ctx, opts)
	if err != nil {
		return photographError(ctx, err)
	}
	if out != "" {
		if err := reports.WriteCase(ctx, out, w); err != nil {
			return err
		}
	}
	if o.asJSON {
		return reports.WriteJSON(stdio.out, w)
	}
	var text bytes.Buffer
	writeWeighing(&text, w)
	if out != "" {
		fmt.Fprintf(&text, "%-22s %s\n", "written", out)
	}
	_, err = text.WriteTo(stdio.out)
	return err
}

// runMeasuringPage writes the page on which points are measured.
func runMeasuringPage(ctx context.Context, stdio *stdio, o photographFlags, path string) error {
	names, err := pipeline.FeatureNames(ctx, o.options())
	if err != nil {
		return photographError(ctx, err)
	}
	var page bytes.Buffer
	if err := reports.WriteMeasuringPage(&page, names); err != nil {
		return err
	}
	if err := writeNew(path, page.Bytes()); err != nil {
		return wrongInput(fmt.Errorf("--measuring-page %s: cannot be written: %w: name another file", path, pathCause(err)))
	}
	_, err = fmt.Fprintf(stdio.out, "written %s with %s: open it in a browser\n", plain(path), plural(len(names), "name", "names"))
	return err
}

// photographError tells an interruption from input that cannot be used.
func photographError(ctx context.Context, err error) error {
	if ctx.Err() != nil && errors.Is(err, context.Canceled) {
		return err
	}
	return wrongInput(err)
}

// writeWeighing prints the verdict and what it stands on.
func writeWeighing(b *bytes.Buffer, w *pipeline.Weighing) {
	for _, sentence := range w.Sentences {
		fmt.Fprintln(b, plain(sentence))
	}
	fmt.Fprintln(b)
	row := func(head, format string, args ...any) {
		fmt.Fprintf(b, "%-22s %s\n", head, plain(fmt.Sprintf(format, args...)))
	}
	row("decides", "%v", w.Decides)
	row("strength", "%s", w.Strength)
	for _, o := range w.Orders {
		row("order of tops", "%s, %s %s measured; %s on the curved Earth, %s on the plane", o.Far, o.Near, separated(o.MeasuredArcmin), separated(o.CurvedArcmin), separated(o.PlaneArcmin))
	}
	if w.PlaneSD != nil {
		row("apparent curvature", "%.3g ± %.2g per km; the plane's is 0, %s standard deviations away", *w.ApparentCurvaturePerM*1000, *w.ApparentCurvatureSDPerM*1000, pipeline.StrengthWords(*w.PlaneSD))
		row("k", "%s", plusMinus(coefficient(*w.K), coefficient(*w.KSD)))
	}
	for _, m := range w.Models {
		if !m.Fitted {
			row(m.Name, "not fitted: %s", m.Problem)
			continue
		}
		row(m.Name, "χ² %.1f with %d degrees of freedom, probability %s", m.Chi2, m.DOF, chance(m.P))
	}
	if w.LowRays > 0 {
		if w.WithoutLow == nil {
			row("without low rays", "too little is left to fit (%s)", plural(w.LowRays, "point", "points"))
		} else {
			row("without low rays", "curvature %s of the Earth's, %s standard deviations from the plane's 0", plusMinus(coefficient(w.WithoutLow.Curvature), coefficient(w.WithoutLow.CurvatureSD)),
				pipeline.StrengthWords(w.WithoutLow.PlaneSD))
		}
	}
	for i, o := range w.OverturnedBy {
		if i == 5 {
			break
		}
		row("overturned if wrong", "%s by %s (%s times its standard deviation)", o.Input, pipeline.AmountWords(o), pipeline.StrengthWords(o.Times))
	}
	for _, c := range w.Camera {
		row(fmt.Sprintf("camera %d", c.Frame), "azimuth %s, tilt %s, roll %s, focal length %.0f ± %.0f px, eye %.1f m", degrees(c.AzimuthDeg), degrees(c.TiltDeg), degrees(c.RollDeg), c.FocalPx, c.FocalSDPx, c.EyeHeightM)
	}
	for _, c := range w.Cuts {
		row("cut", "%s: measured %s m and predicted %s m on the curved Earth; %s m and %s m on the plane", c.Name, optionalMetres(c.MeasuredCurvedM), optionalMetres(c.CurvedM), optionalMetres(c.MeasuredPlaneM), optionalMetres(c.PlaneM))
	}
	for _, a := range w.Absent {
		if a.Chance == nil {
			row("absent", "%s: no terrain to say what each model shows", a.Name)
			continue
		}
		row("absent", "%s: in view with a chance of %s on the curved Earth; on the plane %s what stands before it", a.Name, chance(*a.Chance), separated(*a.MarginPlaneArcmin))
	}
	if w.WrongName != "" {
		row("names", "%s", w.WrongName)
	}
	writeFound(w, row)
	writePhotographNotes(b, w.Images, w.Notes, w.Rejected)
}

func optionalMetres(v *float64) string {
	if v == nil || math.IsNaN(*v) {
		return "–"
	}
	return decimals(*v, 0)
}

// writePhotographNotes prints what was found on the way.
func writePhotographNotes(b *bytes.Buffer, images []pipeline.Photograph, notes []string, rejected []pipeline.InputRejected) {
	for _, image := range images {
		for _, note := range image.Notes {
			notes = append(notes, image.Path+": "+note)
		}
	}
	for _, note := range notes {
		fmt.Fprintf(b, "%-22s %s\n", "note", plain(note))
	}
	for _, r := range rejected {
		for _, line := range r.Rows {
			fmt.Fprintf(b, "%-22s %s line %d: %s\n", "row left out", plain(r.Path), line.Line, plain(line.Reason))
		}
	}
}

// camerasValue collects --camera LAT,LON[,EYE_HEIGHT].
type camerasValue struct{ cameras *[]pipeline.CameraPlace }

func (v camerasValue) String() string { return "" }
func (v camerasValue) Type() string   { return "lat,lon[,eye_height]" }

func (v camerasValue) Set(text string) error {
	numbers, err := parseNumbers(text)
	if err != nil || len(numbers) != 2 && len(numbers) != 3 || math.Abs(numbers[0]) > 90 || numbers[1] < -180 || numbers[1] > 360 {
		return errors.New("want LAT,LON or LAT,LON,EYE_HEIGHT in degrees and metres over mean sea level, such as -32.415,-123.7233,642")
	}
	place := pipeline.CameraPlace{At: geodesy.LatLon{LatDeg: numbers[0], LonDeg: numbers[1]}, EyeHeightM: math.NaN()}
	if place.At.LonDeg > 180 {
		place.At.LonDeg -= 360
	}
	if len(numbers) == 3 {
		if place.EyeHeightM = numbers[2]; !(place.EyeHeightM >= -500 && place.EyeHeightM <= 12_000) {
			return errors.New("the eye's height must lie within -500…12000 m")
		}
	}
	*v.cameras = append(*v.cameras, place)
	return nil
}
