package main

import (
	"bytes"
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"farstation/pipeline"
	"farstation/reports"
)

const resectLong = `Resect finds where a photograph was taken, from the horizontal angles between three or more named features (four or more where the focal length is not
known), and the height from the terrain. Angles that tell no place, since camera and features lie on one circle or too close together, are
refused, with the reason.

` + pointsHelp + `

  farstation resect --photo ridge.jpg --points ridge.csv --features peaks.csv --terrain tiles

"farstation --help" has the cautions.`

func newResectCommand(stdio *stdio) *cobra.Command {
	o := photographFlags{PhotographOptions: pipeline.PhotographOptions{Options: pipeline.DefaultOptions()}}
	cmd := &cobra.Command{
		Use:   "resect --photo FILE --points FILE --features FILE --terrain PATH",
		Short: "Find where a photograph was taken",
		Long:  resectLong,
		Args:  atMostArgs(0),
	}
	cmd.DisableFlagsInUseLine = true
	useGroups(cmd, []flagGroup{
		o.inputGroup(),
		newFlagGroup("Camera", func(f flagAdder) {
			f.Float64Var(&o.EyeHeightM, "eye-height-m", o.EyeHeightM, "height `M` of the lens over the ground, in metres")
			o.addFocalFlags(f)
		}),
		newFlagGroup("Output", func(f flagAdder) { f.BoolVar(&o.asJSON, "json", false, "print the places as JSON") }),
		newFlagGroup("Air", func(f flagAdder) { addAirFlags(f, &o.Options) }),
		newFlagGroup("Heights and terrain", func(f flagAdder) { addHeightFlags(f, &o.Options) }),
	})
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return runResect(cmd.Context(), stdio, o) }
	return cmd
}

func runResect(ctx context.Context, stdio *stdio, o photographFlags) error {
	opts := o.options()
	if err := opts.Validate(); err != nil {
		return wrongInput(err)
	}
	r, err := pipeline.Resect(ctx, opts)
	if err != nil {
		return photographError(ctx, err)
	}
	if o.asJSON {
		return reports.WriteJSON(stdio.out, r)
	}
	var text bytes.Buffer
	for i, p := range r.Places {
		row := func(head, format string, args ...any) {
			fmt.Fprintf(&text, "%-22s %s\n", head, plain(fmt.Sprintf(format, args...)))
		}
		row(fmt.Sprintf("place %d", i+1), "%.6f,%.6f, eye %.0f ± %.0f m over the sea", p.LatitudeDeg, p.LongitudeDeg, p.EyeHeightM, p.EyeHeightSDM)
		row("ellipse", "%.1f × %.1f m, the longer half axis towards %.0f°; one standard deviation", p.SemiMajorM, p.SemiMinorM, p.MajorAzimuthDeg)
		row("camera", "azimuth %s, focal length %.0f px", degrees(p.AzimuthDeg), p.FocalPx)
		row("fit", "χ² %.1f with %d degrees of freedom, probability %s", p.Chi2, p.DOF, chance(p.P))
		for _, q := range p.Residuals {
			row("left over", "%s %s: %.2f, %.2f px", q.Name, q.Part, q.XPx, q.YPx)
		}
	}
	for _, l := range r.Lines {
		fmt.Fprintf(&text, "%-22s %s\n", "line of position", plain(fmt.Sprintf("%s before %s, towards %s: turned by %s ± %s, sharp to %.0f m across", l.Near, l.Far, degrees(l.AzimuthDeg), arcmin(l.TurnArcmin), arcmin(l.TurnSDArcmin), l.AcrossM)))
	}
	if r.PlaneApartM != nil {
		fmt.Fprintf(&text, "%-22s %s from there\n", "place on the plane", metres(*r.PlaneApartM))
	}
	writePhotographNotes(&text, nil, r.Notes, r.Rejected)
	_, err = text.WriteTo(stdio.out)
	return err
}
