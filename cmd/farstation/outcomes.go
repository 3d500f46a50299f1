package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"farstation/pipeline"
	"farstation/reports"
)

// outcomesOptions are the flags of outcomes.
type outcomesOptions struct {
	out    string
	asJSON bool
}

const outcomesLong = `Outcomes holds the stated chances of a run against what was seen. FILE.csv has a header and a row for every line and day:

  line_id,date,outcome,note
  csv:109>csv:125,2031-05-20,seen,
  csv:109>csv:126,2031-05-21,air not clear,haze to the south

line_id is observer_id>target_id; outcome is seen, not_seen, air_not_clear or not_tried. Only seen and not_seen are scored; the others are
counted apart, for a chance is of geometry alone. Of several rows of one line and day the last counts; days of one line count each. Rows that
cannot be used are listed and passed over.

  farstation outcomes farstation-demo/run looks.csv --out looks.html

It prints a table by ranges of stated chance, the share seen with its 95 % interval (Wilson 1927), the Brier score (Brier 1950), the logarithmic
score and the expected calibration error, and says how far so many outcomes reach.`

func newOutcomesCommand(stdio *stdio) *cobra.Command {
	o := outcomesOptions{}
	cmd := &cobra.Command{
		Use:   "outcomes RUN FILE.csv [--out FILE.html]",
		Short: "Score the stated chances of a run against what was seen",
		Long:  outcomesLong,
		Args:  atMostArgs(2),
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) < 2 {
				return wrongInput(errors.New("want RUN and FILE.csv: the folder that survey wrote, and the table of outcomes"))
			}
			return runOutcomes(stdio, args[0], args[1], o)
		},
	}
	cmd.DisableFlagsInUseLine = true
	cmd.Flags().SortFlags = false
	cmd.Flags().StringVar(&o.out, "out", "", "`FILE`.html to write with table and plot, or a new folder for outcomes.html and outcomes.json; neither may exist")
	cmd.Flags().BoolVar(&o.asJSON, "json", false, "print JSON")
	return cmd
}

func runOutcomes(stdio *stdio, run, path string, o outcomesOptions) error {
	isPage := strings.EqualFold(filepath.Ext(o.out), ".html")
	if _, err := os.Lstat(o.out); o.out != "" && !errors.Is(err, fs.ErrNotExist) {
		return wrongInput(fmt.Errorf("--out %s: exists: name another file or folder", o.out))
	}
	file, err := os.Open(path)
	if err != nil {
		return wrongInput(fmt.Errorf("outcomes %s: %w", path, pathCause(err)))
	}
	defer file.Close()
	outcomes, rejected, err := pipeline.ReadOutcomes(file)
	if err != nil {
		return wrongInput(fmt.Errorf("outcomes %s: %w", path, err))
	}
	wanted := map[string]bool{}
	for _, outcome := range outcomes {
		wanted[outcome.LineID] = true
	}
	chances, err := reports.ReadChances(run, wanted)
	if err != nil {
		return wrongInput(err)
	}
	sum, err := reports.RunSHA256(run)
	if err != nil {
		return wrongInput(err)
	}
	score := pipeline.ScoreOutcomes(outcomes, rejected, chances)
	var page, text, asJSON bytes.Buffer
	if err := reports.WriteJSON(&asJSON, score); err != nil {
		return err
	}
	if o.out != "" {
		if err := reports.WriteOutcomesHTML(&page, score, run, sum, path); err != nil {
			return err
		}
		if err := placeOutcomes(o.out, isPage, page.Bytes(), asJSON.Bytes()); err != nil {
			return fmt.Errorf("--out %s: cannot be written: %w: name another file or folder", o.out, pathCause(err))
		}
	}
	if o.asJSON {
		_, err := asJSON.WriteTo(stdio.out)
		return err
	}
	writeOutcomes(&text, score, path)
	_, err = text.WriteTo(stdio.out)
	return err
}

// placeOutcomes writes the page alone, or the page and the JSON into a new folder.
func placeOutcomes(out string, isPage bool, page, asJSON []byte) error {
	if isPage {
		return writeNew(out, page)
	}
	if err := os.MkdirAll(out, 0o777); err != nil {
		return err
	}
	return errors.Join(writeNew(filepath.Join(out, "outcomes.html"), page), writeNew(filepath.Join(out, "outcomes.json"), asJSON))
}

// writeOutcomes prints the table, the scores and the rows passed over.
func writeOutcomes(w io.Writer, s *pipeline.OutcomeScore, path string) {
	fmt.Fprintf(w, "%s\n\n%-10s %9s %12s %11s  %s\n", s.Conclusion, "stated", "outcomes", "mean stated", "share seen", "95 % interval")
	for _, b := range s.Bins {
		line := fmt.Sprintf("%.1f-%.1f %12d", b.From, b.To, b.Counted)
		if b.Counted > 0 {
			line += fmt.Sprintf(" %12.3f %11.3f  %.3f to %.3f", *b.MeanChance, *b.Share, *b.Low, *b.High)
		}
		fmt.Fprintln(w, line)
	}
	fmt.Fprintln(w)
	if s.Counted > 0 {
		fmt.Fprintf(w, "Seen:                 %d of %d on %s; stated on average %.3f, seen %.3f to %.3f\n", s.SeenCount, s.Counted, plural(s.Lines, "sightline", "sightlines"), *s.MeanChance, *s.SeenLow, *s.SeenHigh)
		fmt.Fprintf(w, "Brier score:          %.4f; always stating the share seen: %.4f; 0 is best\n", *s.Brier, *s.BrierAlways)
		fmt.Fprintf(w, "Logarithmic score:    %.4f; 0 is best\n", *s.LogScore)
		fmt.Fprintf(w, "Expected calibration: %.4f away from the share seen\n", *s.CalibrationError)
	}
	fmt.Fprintf(w, "Counted apart:        %d air not clear, %d not tried; %s replaced by a later one of the same line and day\n",
		s.Outcomes[pipeline.AirNotClear], s.Outcomes[pipeline.NotTried], plural(s.Replaced, "row", "rows"))
	if len(s.Rejected) > 0 {
		fmt.Fprintf(w, "Passed over:          %s\n", plural(len(s.Rejected), "row", "rows"))
	}
	for _, r := range s.Rejected {
		fmt.Fprintf(w, "  %s line %d: %s\n", plain(path), r.Line, plain(r.Reason))
	}
}
