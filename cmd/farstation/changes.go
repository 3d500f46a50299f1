package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"farstation/pipeline"
	"farstation/reports"
)

const changesLong = `Changes compares two runs: lines that appeared, vanished, have another verdict or another rank, with what changed that may have done it: a feature
that is new, gone, moved or of another height, terrain that was replaced, other parameters.

  farstation changes runs/monday runs/tuesday

It ends with 0 where nothing differs, with 3 where something does, and with 2 where one of the two is no run folder.`

// changesShown is how many lines of a kind are printed; JSON and Parquet have all.
const changesShown = 20

func newChangesCommand(stdio *stdio) *cobra.Command {
	asJSON, parquet := false, ""
	cmd := &cobra.Command{
		Use:   "changes RUN RUN",
		Short: "Compare two runs: what appeared, vanished, changed, and why",
		Long:  changesLong,
		Args:  atMostArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) < 2 {
				return wrongInput(errors.New("two runs are compared: name the folders that survey wrote, the earlier one first"))
			}
			return runChanges(stdio, args[0], args[1], parquet, asJSON)
		},
	}
	cmd.DisableFlagsInUseLine = true
	cmd.Flags().SortFlags = false
	cmd.Flags().StringVar(&parquet, "parquet", "", "`FILE`.parquet to write all changed lines to; it must not exist yet")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func runChanges(stdio *stdio, earlier, later, parquet string, asJSON bool) error {
	before, err := reports.ReadRunTables(earlier)
	if err != nil {
		return wrongInput(err)
	}
	after, err := reports.ReadRunTables(later)
	if err != nil {
		return wrongInput(err)
	}
	changes := pipeline.FindChanges(before, after)
	if parquet != "" {
		var table bytes.Buffer
		if err := reports.WriteChanges(&table, changes.Lines); err != nil {
			return err
		}
		if err := writeNew(parquet, table.Bytes()); err != nil {
			return fmt.Errorf("--parquet %s: cannot be written: %w: name another file", parquet, pathCause(err))
		}
	}
	var text bytes.Buffer
	if asJSON {
		if err := reports.WriteJSON(&text, changes); err != nil {
			return err
		}
	} else {
		writeChangesText(&text, &changes)
	}
	if _, err := text.WriteTo(stdio.out); err != nil {
		return err
	}
	if changes.Any() {
		return statusError{statusDiffers, fmt.Errorf("%s and %s differ", earlier, later)}
	}
	return nil
}

func writeChangesText(w io.Writer, c *pipeline.Changes) {
	printf := func(format string, args ...any) { fmt.Fprintln(w, plain(fmt.Sprintf(format, args...))) }
	if !c.Any() {
		printf("Nothing differs.")
		return
	}
	for _, group := range []struct {
		word  string
		lines []string
	}{{"Parameters", c.Parameters}, {"Terrain", c.Terrain}, {"Features", c.Features}} {
		for _, line := range group.lines {
			printf("%s: %s", group.word, line)
		}
	}
	if more := c.FeatureCount - len(c.Features); more > 0 {
		printf("Features: and %d more", more)
	}
	shown := map[string]int{}
	for i := range c.Lines {
		line := &c.Lines[i]
		if shown[line.Change]++; shown[line.Change] > changesShown {
			continue
		}
		words := map[string]string{pipeline.LineAppeared: "appeared", pipeline.LineVanished: "vanished", pipeline.LineVerdictChanged: "verdict changed", pipeline.LineRankChanged: "rank changed"}[line.Change]
		text := fmt.Sprintf("%s: %s to %s", words, line.ObserverName, line.TargetName)
		switch {
		case line.VerdictBefore != nil && line.VerdictAfter != nil && *line.VerdictBefore != *line.VerdictAfter:
			text += fmt.Sprintf(", %s before, %s now", *line.VerdictBefore, *line.VerdictAfter)
		case line.VerdictAfter != nil:
			text += ", " + *line.VerdictAfter
		case line.VerdictBefore != nil:
			text += ", was " + *line.VerdictBefore
		}
		if line.Change != pipeline.LineVanished && line.Change != pipeline.LineAppeared {
			text += fmt.Sprintf(", rank %s, was %s", rankWord(line.RankAfter), rankWord(line.RankBefore))
		} else if rank := line.RankAfter; rank != nil {
			text += fmt.Sprintf(", rank %d", *rank)
		}
		if line.Causes != "" {
			text += " (" + line.Causes + ")"
		}
		printf("%s", text)
	}
	for _, kind := range []string{pipeline.LineAppeared, pipeline.LineVanished, pipeline.LineVerdictChanged, pipeline.LineRankChanged} {
		if more := c.Counts[kind] - changesShown; more > 0 {
			printf("%s: and %d more lines (--json and --parquet have all)", kind, more)
		}
	}
}

func rankWord(rank *int32) string {
	if rank == nil {
		return "none"
	}
	return fmt.Sprint(*rank)
}
