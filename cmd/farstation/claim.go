package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"farstation/pipeline"
	"farstation/reports"
)

// claimOptions are the flags of claim.
type claimOptions struct {
	run, line, alignment string
	out, check           string
	date, kSource        string
}

const claimLong = `Claim freezes what a run predicts of one sightline or alignment before the photograph is taken: the numbers of both models with their
bands, the threshold, the rule by which the photograph decides, what each outcome means, by how much each input would have to be wrong, and
the hash of the run. It writes FILE.json and, beside it, FILE.html, one page to be printed, and prints the hash of the claim: lodge that with somebody else.

A line is named by the ids of its ends, in quotes because of the ">", or by its rank in the report:

  farstation claim --run farstation-demo/run --line "csv:109>csv:125" --out telquin.json
  farstation claim --run farstation-demo/run --alignment 1 --out light.json
  farstation claim --check telquin.json --run farstation-demo/run

Nothing is ever overwritten. The hash is the SHA-256 of the JSON without its member sha256, in the canonical form of RFC 8785. --check
computes it again and ends with 3 where the claim was changed; with --run also where the run is another, or does not give the claim's numbers.

"farstation --help" has the cautions.`

func newClaimCommand(stdio *stdio) *cobra.Command {
	o := claimOptions{}
	cmd := &cobra.Command{
		Use:   "claim --run DIR --line ID --out FILE.json",
		Short: "Freeze a prediction before the photograph, with its rule of decision and its hash",
		Long:  claimLong,
		Args:  atMostArgs(0),
		RunE:  func(*cobra.Command, []string) error { return runClaim(stdio, o) },
	}
	cmd.DisableFlagsInUseLine = true
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVar(&o.run, "run", "", "run folder `DIR` that survey wrote")
	f.StringVar(&o.line, "line", "", "sightline `ID`: \"observer_id>target_id\", or its rank")
	f.StringVar(&o.alignment, "alignment", "", "alignment `ID` instead: \"observer_id>near_id>far_id\", or its rank")
	f.StringVar(&o.out, "out", "", "`FILE`.json to write, and FILE.html beside it; neither may exist")
	f.StringVar(&o.kSource, "k-source", "", "`TEXT` that says where the run's refraction coefficient is from, such as a sounding of that day")
	f.StringVar(&o.date, "date", "", "`DAY` of the claim in UTC, such as 2031-05-20 (default today)")
	f.StringVar(&o.check, "check", "", "check the claim `FILE`.json instead of making one")
	return cmd
}

func runClaim(stdio *stdio, o claimOptions) error {
	if o.check != "" {
		if o.line != "" || o.alignment != "" || o.out != "" || o.date != "" || o.kSource != "" {
			return wrongInput(errors.New("--check goes with --run alone"))
		}
		return checkClaim(stdio, o.check, o.run)
	}
	if err := o.complete(); err != nil {
		return wrongInput(err)
	}
	in, err := reports.ReadClaimInput(o.run, o.line, o.alignment)
	if err != nil {
		return wrongInput(err)
	}
	in.Made, in.KSource = o.date, o.kSource
	claim, err := in.Claim()
	if err != nil {
		return wrongInput(err)
	}
	text, err := claim.Encode()
	if err != nil {
		return err
	}
	var page bytes.Buffer
	if err := reports.WriteClaimHTML(&page, claim, in.Line, in.Profile); err != nil {
		return err
	}
	// The page goes first: where there is a claim, there is its page.
	if err := writeNew(o.page(), page.Bytes()); err != nil {
		return fmt.Errorf("claim page %s: cannot be written: %w: name another --out", o.page(), pathCause(err))
	}
	if err := writeNew(o.out, text); err != nil {
		return errors.Join(fmt.Errorf("claim %s: cannot be written: %w: name another --out", o.out, pathCause(err)), os.Remove(o.page()))
	}
	_, err = fmt.Fprintf(stdio.out, "%s\n\n%s\n\nClaim:   %s\nPage:    %s\nSHA-256: %s\n",
		plain(claim.Sentence), plain(claim.Decision.Rule), o.out, o.page(), claim.SHA256)
	return err
}

// page is where the page of the claim goes.
func (o *claimOptions) page() string { return strings.TrimSuffix(o.out, filepath.Ext(o.out)) + ".html" }

// complete checks the flags and fills the date.
func (o *claimOptions) complete() error {
	var wrong []error
	if o.run == "" {
		wrong = append(wrong, errors.New("no --run: name the folder that survey wrote"))
	}
	if (o.line == "") == (o.alignment == "") {
		wrong = append(wrong, errors.New("give one of --line and --alignment: the ids of its ends, or its rank"))
	}
	if !strings.EqualFold(filepath.Ext(o.out), ".json") {
		wrong = append(wrong, fmt.Errorf("--out %q: name a file that ends in .json", o.out))
	} else {
		for _, path := range []string{o.out, o.page()} {
			if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
				wrong = append(wrong, fmt.Errorf("--out %s: %s exists, and a claim is never overwritten: name another file", o.out, path))
			}
		}
	}
	if o.date == "" {
		o.date = time.Now().UTC().Format(time.DateOnly)
	} else if _, err := time.Parse(time.DateOnly, o.date); err != nil {
		wrong = append(wrong, fmt.Errorf("--date %s: want a day such as 2031-05-20", o.date))
	}
	return errors.Join(wrong...)
}

// checkClaim computes the hashes of a claim again; with a run also what that run gives.
func checkClaim(stdio *stdio, path, run string) error {
	claim, err := pipeline.ReadClaim(path)
	if errors.Is(err, pipeline.ErrClaimChanged) {
		return statusError{statusDiffers, err}
	}
	if err != nil {
		return wrongInput(err)
	}
	words := "claim " + path + ": of " + claim.Made + ", unchanged, SHA-256 " + claim.SHA256
	if run != "" {
		err := claimOfRun(claim, run)
		var differs statusError
		if errors.As(err, &differs) {
			return statusError{differs.status, fmt.Errorf("claim %s: %w", path, err)}
		}
		if err != nil {
			return wrongInput(err)
		}
		words += "\nrun " + run + ": is the one that it was made from, and gives its numbers"
	}
	_, err = fmt.Fprintln(stdio.out, plainLines(words))
	return err
}

// claimOfRun makes the claim again from a run; the error is a statusError where the run is another, or gives other numbers.
func claimOfRun(claim *pipeline.Claim, run string) error {
	sum, err := reports.RunSHA256(run)
	if err != nil {
		return err
	}
	if sum != claim.RunSHA256 {
		return statusError{statusDiffers, fmt.Errorf("it was made from a run whose run.json has the hash %s; that of %s has %s", claim.RunSHA256, run, sum)}
	}
	if claim.Version != pipeline.Version {
		return statusError{statusDiffers, fmt.Errorf("its numbers were not computed again: it is of version %s, this is %s", claim.Version, pipeline.Version)}
	}
	line, alignment := claim.ID, ""
	if claim.Subject == pipeline.SubjectAlignment {
		line, alignment = "", claim.ID
	}
	in, err := reports.ReadClaimInput(run, line, alignment)
	if err != nil {
		return err
	}
	in.Made, in.KSource = claim.Made, claim.Air.KSource
	again, err := in.Claim()
	if err == nil {
		_, err = again.Encode()
	}
	if err != nil {
		return err
	}
	if again.SHA256 != claim.SHA256 {
		return statusError{statusDiffers, fmt.Errorf("its content is not what %s gives: that has the hash %s, the claim %s", run, again.SHA256, claim.SHA256)}
	}
	return nil
}

// plainLines is plain for a text of several lines.
func plainLines(text string) string {
	lines := strings.Split(text, "\n")
	for i := range lines {
		lines[i] = plain(lines[i])
	}
	return strings.Join(lines, "\n")
}
