package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"farstation/pipeline"
	"farstation/reports"
)

// verifyOptions are the flags of verify.
type verifyOptions struct {
	reports.VerifyOptions
	asJSON bool
}

const verifyLong = `Verify holds a run folder against its rules and prints what each found: passed, FAILED with the reason, or skipped with the reason.

It looks at every file's hash, every column, every row: order, the features behind each line, verdict, chance, scores, ranks, alignments, the
profiles that come with the run. Then it computes a sample of sightlines again, spread over the table, by the plain walk through the terrain, and once
more in a second formulation of the geometry that shares nothing with the first but terrain and geoid. For that the terrain must lie where the
survey found it; relative paths are taken from the folder that verify is started in.

  farstation verify farstation-demo/run
  farstation verify islands --sample 1000
  farstation verify islands --against islands-of-last-week

With --against it also compares parameters, sightlines and alignments of two runs, row by row, and lists the first values that differ.

It ends with 0 where no rule failed (rules may be skipped: it says which), with 3 where one did, and with 2 where there is no run folder.`

func newVerifyCommand(stdio *stdio) *cobra.Command {
	o := verifyOptions{VerifyOptions: reports.VerifyOptions{Sample: 25}}
	cmd := &cobra.Command{
		Use:   "verify RUN [--sample N] [--against RUN]",
		Short: "Check a run: hashes, schema, every row, and a sample computed again",
		Long:  verifyLong,
		Args:  atMostArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return wrongInput(errors.New("no RUN: name the folder that survey wrote"))
			}
			return runVerify(cmd.Context(), stdio, args[0], o)
		},
	}
	cmd.DisableFlagsInUseLine = true
	cmd.Flags().SortFlags = false
	cmd.Flags().IntVar(&o.Sample, "sample", o.Sample, "number `N` of sightlines to compute again; 0 for none")
	cmd.Flags().StringVar(&o.Against, "against", "", "another `RUN` folder to compare with")
	cmd.Flags().BoolVar(&o.asJSON, "json", false, "print JSON")
	return cmd
}

// runVerify verifies a run and prints what was found; it ends with 3 where a rule failed.
func runVerify(ctx context.Context, stdio *stdio, run string, o verifyOptions) error {
	if o.Sample < 0 {
		return wrongInput(fmt.Errorf("--sample %d: must be 0 or more", o.Sample))
	}
	v, err := reports.Verify(ctx, run, o.VerifyOptions)
	if err != nil {
		if ctx.Err() != nil {
			return err
		}
		return wrongInput(err)
	}
	var text bytes.Buffer
	if o.asJSON {
		if err := reports.WriteJSON(&text, v); err != nil {
			return err
		}
	} else {
		writeVerification(&text, v)
	}
	if _, err := text.WriteTo(stdio.out); err != nil {
		return err
	}
	if failed := v.Count(pipeline.Failed); failed > 0 {
		return statusError{statusDiffers, fmt.Errorf("%s: %s failed", run, plural(failed, "rule", "rules"))}
	}
	return nil
}

// writeVerification prints a line for each rule, what differs from another run, and a summary.
func writeVerification(w io.Writer, v *reports.Verification) {
	words := map[string]string{pipeline.Passed: "passed", pipeline.Failed: "FAILED", pipeline.Skipped: "skipped"}
	for _, f := range v.Findings {
		line := fmt.Sprintf("%-8s%s", words[f.Result], f.Title)
		switch {
		case f.Reason == "":
		case f.Result == pipeline.Passed:
			line += " (" + f.Reason + ")"
		default:
			line += ": " + f.Reason
		}
		fmt.Fprintln(w, plain(line))
	}
	if len(v.Differences) > 0 {
		fmt.Fprintf(w, "\nFirst differences, %s and %s:\n", plain(v.Run), plain(v.Against))
		for _, d := range v.Differences {
			fmt.Fprintln(w, plain(fmt.Sprintf("  %s, %s: %s and %s", d.Row, d.Column, d.Is, d.Other)))
		}
	}
	fmt.Fprintf(w, "\n%s: %d passed, %d failed, %d skipped\n", plural(len(v.Findings), "rule", "rules"),
		v.Count(pipeline.Passed), v.Count(pipeline.Failed), v.Count(pipeline.Skipped))
}
