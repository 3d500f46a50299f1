package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"

	"github.com/spf13/cobra"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/pipeline"
	"farstation/reports"
)

// lineOptions are the flags of line.
type lineOptions struct {
	pipeline.Options
	from, to                     string
	fromStructureM, toStructureM float64
	// fromStructure and toStructure tell whether those flags were given.
	fromStructure, toStructure bool
	asJSON, feet               bool
	draws                      int
	figure                     string
}

const lineLong = `Line predicts one pair in full: what the top of the one must show from the other, under a curved Earth with bending light and on a plane,
with the spread of every number, and past which measured angle a photograph refutes which of the two.

A PLACE is LAT,LON or LAT,LON,GROUND_HEIGHT in degrees and metres over mean sea level, or the name or id of a feature of --features. A
ground height that is left out is the terrain's.

  farstation line --terrain tiles --from -32.415,-123.7233 --to -32.625,-122.44

With the world that "farstation demo" leaves behind:

  farstation line --features farstation-demo/world/features.csv --terrain farstation-demo/world/terrain \
    --from "Sennuva Bluff" --to "Telquin Horn" --figure telquin.svg

"farstation --help" has the cautions.`

func newLineCommand(stdio *stdio) *cobra.Command {
	o := lineOptions{Options: pipeline.DefaultOptions()}
	cmd := &cobra.Command{
		Use:   "line --from PLACE --to PLACE --terrain PATH",
		Short: "Predict one pair in full",
		Long:  lineLong,
		Args:  atMostArgs(0),
	}
	cmd.DisableFlagsInUseLine = true
	useGroups(cmd, o.flagGroups())
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		o.fromStructure, o.toStructure = cmd.Flags().Changed("from-structure-m"), cmd.Flags().Changed("to-structure-m")
		return runLine(cmd.Context(), stdio, o)
	}
	return cmd
}

func (o *lineOptions) flagGroups() []flagGroup {
	return []flagGroup{
		newFlagGroup("The pair", func(f flagAdder) {
			f.StringVar(&o.from, "from", "", "`PLACE` of the observer")
			f.StringVar(&o.to, "to", "", "`PLACE` of the target")
			f.Float64Var(&o.fromStructureM, "from-structure-m", 0, "the eye is over the top of a structure `M` metres high, not over the ground")
			f.Float64Var(&o.toStructureM, "to-structure-m", 0, "height `M` of the target's structure over its ground, in metres (default that of the feature, or none)")
			f.Float64Var(&o.EyeHeightM, "eye-height-m", o.EyeHeightM, "height `M` of the eye over that, in metres")
		}),
		newFlagGroup("Input and output", func(f flagAdder) {
			f.Var(terrainValue{&o.Terrain}, "terrain", terrainUsage)
			f.Var(featuresValue{&o.Options}, "features", "for names and ids: "+featuresUsage)
			f.BoolVar(&o.asJSON, "json", false, "print the row that a survey would write, as JSON")
			f.IntVar(&o.draws, "draws", 0, "also draw the whole profile `N` times at random and print the share that shows the top, beside the chance")
			f.StringVar(&o.figure, "figure", "", "`FILE`.svg to draw the profile into; it must not exist yet")
			addFeetFlag(f, &o.feet)
		}),
		newFlagGroup("Air", func(f flagAdder) { addAirFlags(f, &o.Options) }),
		newFlagGroup("Heights and terrain", func(f flagAdder) { addHeightFlags(f, &o.Options) }),
	}
}

func (o *lineOptions) check() error {
	var wrong []error
	say := func(format string, args ...any) { wrong = append(wrong, fmt.Errorf(format, args...)) }
	if o.asJSON && o.draws > 0 {
		say("--draws does not go with --json: the row has no place for it")
	}
	if o.draws < 0 || o.draws > 1e7 {
		say("--draws %d: must lie within 0…10000000", o.draws)
	}
	for _, end := range []struct {
		flag, place string
		structureM  float64
	}{{"from", o.from, o.fromStructureM}, {"to", o.to, o.toStructureM}} {
		if strings.TrimSpace(end.place) == "" {
			say("no --%s: give LAT,LON or LAT,LON,GROUND_HEIGHT, or a name or id with --features", end.flag)
		}
		if !(end.structureM >= 0 && end.structureM <= tallestStructureM) {
			say("--%s-structure-m %v: must lie within 0…%d", end.flag, end.structureM, tallestStructureM)
		}
	}
	if len(o.Terrain) == 0 {
		say("no --terrain: name an elevation tile or a folder of them")
	}
	if o.figure != "" {
		if !strings.EqualFold(filepath.Ext(o.figure), ".svg") {
			say("--figure %s: only SVG is drawn: give it a name that ends in .svg", o.figure)
		} else if _, err := os.Lstat(o.figure); !errors.Is(err, fs.ErrNotExist) {
			say("--figure %s: exists: name another file", o.figure)
		}
	}
	if len(wrong) == 0 {
		return o.ValidateLine()
	}
	return errors.Join(wrong...)
}

// tallestStructureM is the limit that gazetteers are held to as well.
const tallestStructureM = 1500

// structureSDM is the spread of a structure height that is typed, as of one that is listed.
const structureSDM = 2

// drawSeed makes the draws of one line the same every time.
const drawSeed = 1

// runLine predicts one pair and prints it.
func runLine(ctx context.Context, stdio *stdio, o lineOptions) error {
	if err := errors.Join(o.LoadAir(), o.check()); err != nil {
		return wrongInput(err)
	}
	o.Workers = 1
	world, err := pipeline.Load(ctx, o.Options, nil)
	if err != nil {
		return wrongInput(err)
	}
	observer, errFrom := findEnd(world, o.Options, "from", o.from)
	target, errTo := findEnd(world, o.Options, "to", o.to)
	if err := errors.Join(errFrom, errTo); err != nil {
		return wrongInput(err)
	}
	if o.fromStructure {
		observer.StructureHeightM, observer.StructureHeightSDM, o.FromTops = o.fromStructureM, structureSDM, true
	}
	if o.toStructure {
		target.StructureHeightM, target.StructureHeightSDM = o.toStructureM, 0
		if o.toStructureM > 0 {
			target.StructureHeightSDM = structureSDM
		}
	}
	prediction, err := world.PredictLine(o.Options, &observer, &target)
	if err != nil {
		return wrongInput(err)
	}
	var text bytes.Buffer
	if o.asJSON {
		if err := writeRowJSON(&text, prediction.Row); err != nil {
			return err
		}
	} else {
		writeLine(&text, &o.Options, prediction, &observer, &target)
		if o.draws > 0 {
			share, err := world.DrawLine(o.Options, &observer, &target, o.draws, drawSeed)
			if err != nil {
				return wrongInput(err)
			}
			fmt.Fprintf(&text, "%-22s the top shows in %.3f of %d random draws of k, heights and terrain\n", "draws", share, o.draws)
		}
	}
	if o.figure != "" {
		svg, err := reports.ProfileFigure(&prediction.Row, &prediction.Profile, reports.FigureOptions{K: prediction.K, KSD: o.KSD})
		if err != nil {
			return err
		}
		if err := writeNew(o.figure, svg); err != nil {
			return fmt.Errorf("--figure %s: cannot be written: %w: name another file", o.figure, pathCause(err))
		}
	}
	if _, err := io.WriteString(stdio.out, inUnits(text.String(), o.feet && !o.asJSON)); err != nil {
		return err
	}
	var unreadable []string
	for _, err := range world.Store.Unreadable() {
		unreadable = append(unreadable, err.Error())
	}
	return unreadableTiles(unreadable)
}

// writeNew writes a file that must not exist yet, wholly or not at all.
func writeNew(path string, content []byte) error {
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return err
	}
	_, err = file.Write(content)
	if err = errors.Join(err, file.Close()); err != nil {
		err = errors.Join(err, os.Remove(path))
	}
	return err
}

// findEnd finds the feature that --from or --to names, or makes one of the place that it gives.
func findEnd(world *pipeline.World, opts pipeline.Options, flag, text string) (gazetteer.Feature, error) {
	fail := func(format string, args ...any) (gazetteer.Feature, error) {
		return gazetteer.Feature{}, fmt.Errorf("--%s %s: %w", flag, text, fmt.Errorf(format, args...))
	}
	if numbers, err := parseNumbers(text); err == nil {
		if len(numbers) != 2 && len(numbers) != 3 {
			return fail("want LAT,LON or LAT,LON,GROUND_HEIGHT")
		}
		at, groundM := geodesy.LatLon{LatDeg: numbers[0], LonDeg: numbers[1]}, math.NaN()
		if !(math.Abs(at.LatDeg) <= 90) || !(at.LonDeg >= -180 && at.LonDeg <= 360) {
			return fail("latitude must lie within -90…90 and longitude within -180…360 (latitude comes first)")
		}
		if at.LonDeg > 180 {
			at.LonDeg -= 360
		}
		if len(numbers) == 3 {
			if groundM = numbers[2]; !(groundM >= -500 && groundM <= 9000) {
				return fail("ground height must lie within -500…9000 m")
			}
		}
		f, err := world.FeatureAt(opts, flag, at, groundM)
		if err != nil {
			return fail("%w: give the ground height as LAT,LON,GROUND_HEIGHT, or terrain that covers it", err)
		}
		return f, nil
	}
	found := world.Find(text)
	switch {
	case len(found) == 1:
		return *found[0], nil
	case len(found) > 1:
		return fail("%s have that name; give the id of one: %s", plural(len(found), "feature", "features"), candidates(found))
	case len(opts.Features) == 0:
		return fail("is no LAT,LON or LAT,LON,GROUND_HEIGHT; to use a name or id, name the gazetteer with --features")
	}
	hint := "check the spelling, or give LAT,LON"
	if like := world.FindLike(text, candidatesShown); len(like) > 0 {
		hint = "did you mean " + candidates(like) + "?"
	}
	return fail("no usable feature has that name or id: %s", hint)
}

const candidatesShown = 10

// candidates lists features by id, name, kind and place, on one line.
func candidates(features []*gazetteer.Feature) string {
	var words []string
	for i, f := range features {
		if i == candidatesShown {
			words = append(words, fmt.Sprintf("and %d more", len(features)-i))
			break
		}
		words = append(words, fmt.Sprintf("%s (%s, %s, at %.4f,%.4f)", f.ID, f.Name, f.Kind, f.At.LatDeg, f.At.LonDeg))
	}
	return strings.Join(words, "; ")
}

// writeRowJSON writes a row as one JSON object whose keys are its columns, in their order.
func writeRowJSON(w *bytes.Buffer, row pipeline.Sightline) error {
	value := reflect.ValueOf(row)
	separator := "{\n"
	for field, v := range value.Fields() {
		column, _, _ := strings.Cut(field.Tag.Get("parquet"), ",")
		if column == "" || column == "-" {
			continue
		}
		text, err := json.Marshal(v.Interface())
		if err != nil {
			return fmt.Errorf("column %s: %w", column, err)
		}
		fmt.Fprintf(w, "%s  %q: %s", separator, column, text)
		separator = ",\n"
	}
	w.WriteString("\n}\n")
	return nil
}
