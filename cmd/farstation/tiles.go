package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"farstation/pipeline"
	"farstation/reports"
)

// tilesOptions are the flags of tiles: those of survey that say which pairs are lines, and its own.
type tilesOptions struct {
	surveyOptions
	missing, asJSON bool
	pattern         string
}

const tilesLong = `Tiles says which cells of elevation a survey needs. It finds every pair that a survey with the same flags would trace, counts the lines that
cross each cell of 1°, and says which file serves the cell, whether it is sea, or that its tile is missing. With --area alone it takes all
cells of that box instead. A tile that cannot be read counts as missing.

  farstation tiles --features peaks.tsv --terrain tiles
  farstation tiles --features peaks.tsv --missing --name-pattern copernicus > wanted.txt

Without --terrain the lowest ground is the sea, heights are those of the gazetteer, and features that list none are left out. Tiles change
all of that: run it again with what was fetched, until none is missing. Ground behind a target, which a survey looks at to tell sky from
ground behind it, may lie in yet another cell; such cells are not counted.`

func newTilesCommand(stdio *stdio) *cobra.Command {
	o := tilesOptions{surveyOptions: defaultSurveyOptions(), pattern: "hgt"}
	cmd := &cobra.Command{
		Use:   "tiles --features FILE [--terrain PATH] | --area W,S,E,N",
		Short: "Say which elevation tiles a region needs, has and lacks",
		Long:  tilesLong,
		Args:  atMostArgs(0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runTiles(cmd.Context(), stdio, o)
		},
	}
	cmd.DisableFlagsInUseLine = true
	useGroups(cmd, o.flagGroups())
	return cmd
}

func (o *tilesOptions) flagGroups() []flagGroup {
	survey := o.surveyOptions.flagGroups()
	// pick takes flags of survey as they are, so that both commands mean the same by them.
	pick := func(to flagAdder, names ...string) {
		for _, name := range names {
			for _, group := range survey {
				if flag := group.flags.Lookup(name); flag != nil {
					to.AddFlag(flag)
				}
			}
		}
	}
	return []flagGroup{
		newFlagGroup("Input and output", func(f flagAdder) {
			pick(f, "features", "terrain")
			f.BoolVar(&o.missing, "missing", false, "print the names of missing tiles only, one a line")
			f.Var(choiceValue{&o.pattern, []string{"hgt", "copernicus", "copernicus90"}}, "name-pattern",
				"names of missing tiles: hgt as N55W004.hgt, copernicus as the set GLO-30 has them, copernicus90 as GLO-90")
			f.BoolVar(&o.asJSON, "json", false, "print JSON; with --missing a list of names")
		}),
		newFlagGroup("Who looks at what", func(f flagAdder) {
			f.Var(areaValue{&o.Area}, "area", "observers inside `W,S,E,N` only, in degrees (W above E crosses the date line); without --features all cells of that box")
			pick(f, "observer-kinds", "target-kinds", "min-distance-km", "max-distance-km", "near-min-distance-km", "eye-height-m", "from-tops")
		}),
		newFlagGroup("Air and heights", func(f flagAdder) {
			pick(f, "k", "k-sd", "air", "height-sd-m", "terrain-sd-m", "sea-level-m", "as-listed")
		}),
		newFlagGroup("Running", func(f flagAdder) { pick(f, "workers", "memory", "strict", "quiet", "log") }),
	}
}

// runTiles prints what tiles are needed; it ends with 4 where one cannot be read.
func runTiles(ctx context.Context, stdio *stdio, o tilesOptions) error {
	switch {
	case len(o.Features) == 0 && o.Area == nil:
		return wrongInput(errors.New("no --features and no --area: name a gazetteer extract, or a box W,S,E,N"))
	case o.Workers < 0:
		return wrongInput(fmt.Errorf("--workers %d: must be 0 (one a core) or more", o.Workers))
	case o.Workers == 0:
		o.Workers = pipeline.DefaultWorkers()
	}
	watcher := watch(stdio.err, o.progress)
	defer watcher.stop()
	needs, err := pipeline.Tiles(ctx, o.Options, &watcher.Progress)
	if err != nil {
		return wrongInput(err)
	}
	watcher.finish("", map[string]int64{"observers": int64(needs.Observers), "lines": needs.Lines, "cells": int64(len(needs.Cells))}, needs.Unreadable)
	var text bytes.Buffer
	switch {
	case o.asJSON:
		err = writeTilesJSON(&text, needs, &o)
	case o.missing:
		names := missingTiles(needs, o.pattern)
		for _, name := range names {
			fmt.Fprintln(&text, name)
		}
		if len(names) == 0 {
			o.progress.note(stdio.err, "none missing")
		}
		if left := leftOut(needs); left != "" {
			o.progress.note(stdio.err, left)
		}
	default:
		err = writeTiles(&text, needs, &o)
	}
	if err != nil {
		return err
	}
	if _, err := text.WriteTo(stdio.out); err != nil {
		return err
	}
	return unreadableTiles(needs.Unreadable)
}

// tileName is the file name that a set gives to the tile of a cell such as N55W004: the .hgt sets, and Copernicus DEM GLO-30 and GLO-90 as
// cloud-optimised GeoTIFF (10 and 30 stand for 1″ and 3″; the names are from memory).
func tileName(cell, pattern string) string {
	spacing := map[string]string{"copernicus": "10", "copernicus90": "30"}[pattern]
	if spacing == "" {
		return cell + ".hgt"
	}
	latitude, longitude := cell[:len("N55")], cell[len("N55"):]
	return fmt.Sprintf("Copernicus_DSM_COG_%s_%s_00_%s_00_DEM.tif", spacing, latitude, longitude)
}

// missingTiles names the missing tiles, sorted.
func missingTiles(needs *pipeline.TileNeeds, pattern string) []string {
	names := []string{}
	for i := range needs.Cells {
		if c := &needs.Cells[i]; c.State == pipeline.CellMissing {
			names = append(names, tileName(c.Cell, pattern))
		}
	}
	slices.Sort(names)
	return names
}

// leftOut says what could not be taken into account; empty where all could.
func leftOut(needs *pipeline.TileNeeds) string {
	if needs.Dropped+needs.Rejected == 0 {
		return ""
	}
	return fmt.Sprintf("left out: %s without a usable height, and %s that could not be read", plural(needs.Dropped, "feature", "features"), plural(needs.Rejected, "row", "rows"))
}

func writeTilesJSON(w io.Writer, needs *pipeline.TileNeeds, o *tilesOptions) error {
	if o.missing {
		return reports.WriteJSON(w, missingTiles(needs, o.pattern))
	}
	return reports.WriteJSON(w, needs)
}

// writeTiles prints the cells as a table, and totals.
func writeTiles(w io.Writer, needs *pipeline.TileNeeds, o *tilesOptions) error {
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	withLines := len(o.Features) > 0
	header := "cell\tlines\ttile\n"
	if !withLines {
		header = "cell\ttile\n"
	}
	fmt.Fprint(table, header)
	cells := map[string]int{}
	for i := range needs.Cells {
		c := &needs.Cells[i]
		cells[c.State]++
		tile := "sea"
		switch c.State {
		case pipeline.CellServed:
			tile = plain(strings.Join(c.Files, ", "))
		case pipeline.CellMissing:
			tile = "MISSING " + tileName(c.Cell, o.pattern)
			if len(c.Files) > 0 {
				tile += ", for " + plain(strings.Join(c.Files, ", ")) + " cannot be read"
			}
		}
		if withLines {
			fmt.Fprintf(table, "%s\t%s\t%s\n", c.Cell, count(*c.Lines), tile)
		} else {
			fmt.Fprintf(table, "%s\t%s\n", c.Cell, tile)
		}
	}
	if err := table.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(w, "\n%s: %s served by a tile, %s sea, %s missing\n", plural(len(needs.Cells), "cell", "cells"),
		count(cells[pipeline.CellServed]), count(cells[pipeline.CellSea]), count(cells[pipeline.CellMissing]))
	if withLines {
		fmt.Fprintf(w, "%s from %s to %s\n", plural(int(needs.Lines), "line", "lines"), plural(needs.Observers, "observer", "observers"), plural(needs.Targets, "target", "targets"))
	}
	if left := leftOut(needs); left != "" {
		fmt.Fprintln(w, left)
	}
	return nil
}
