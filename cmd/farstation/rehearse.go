package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"farstation/cmd/farstation/internal/rehearsal"
)

// newRehearseCommand makes the input of a rehearsal; it is not listed in the help, for nobody but a developer has a use for it.
func newRehearseCommand(stdio *stdio) *cobra.Command {
	out := ""
	o := rehearsal.Options{Columns: 27, Rows: 27, Intervals: 1200, Features: 40_000, Seed: 1}
	cmd := &cobra.Command{
		Use: "rehearse --out DIR", Short: "Make a synthetic part of a planet, to measure a survey with", Hidden: true, Args: atMostArgs(0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if _, err := os.Lstat(out); out == "" || !errors.Is(err, fs.ErrNotExist) {
				return wrongInput(fmt.Errorf("--out %q: name a new folder", out))
			}
			if o.Columns < 1 || o.Rows < 1 || o.Intervals < 60 || o.Features < 1 || o.SouthDeg < -90 || o.SouthDeg+o.Rows > 90 || o.WestDeg < -180 || o.WestDeg+o.Columns > 180 {
				return wrongInput(errors.New("the part must have cells, 60 intervals a degree and features, and lie on the planet"))
			}
			made, err := rehearsal.Write(cmd.Context(), out, o)
			if err != nil {
				return errors.Join(err, os.RemoveAll(out))
			}
			_, err = fmt.Fprintf(stdio.out, "%d cells with land, %d features\n\n  farstation survey --features %s --terrain %s --out rehearsal\n", made.Cells, made.Listed, shellWord(made.Features), shellWord(made.Terrain))
			return err
		},
	}
	f := cmd.Flags()
	f.StringVar(&out, "out", "", "new folder `DIR`")
	f.IntVar(&o.Columns, "columns", o.Columns, "cells of 1° eastwards")
	f.IntVar(&o.Rows, "rows", o.Rows, "cells of 1° northwards")
	f.IntVar(&o.WestDeg, "west", o.WestDeg, "western edge")
	f.IntVar(&o.SouthDeg, "south", 30, "southern edge")
	f.IntVar(&o.Intervals, "intervals", o.Intervals, "post intervals a degree")
	f.IntVar(&o.Features, "count", o.Features, "features, about")
	f.Uint64Var(&o.Seed, "seed", o.Seed, "another planet")
	o.SouthDeg = 30
	return cmd
}
