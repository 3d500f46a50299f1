package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

func newManCommand(stdio *stdio) *cobra.Command {
	out := ""
	cmd := &cobra.Command{
		Use:   "man --out DIR",
		Short: "Write the manual pages, one a command",
		Long: `Man writes a manual page of every command, in the form that man(1) reads, into a folder: farstation.1, farstation-survey.1 and so on.
Copy them to where your system looks for pages of section 1, or read one with man -l DIR/farstation-survey.1.`,
		Args: atMostArgs(0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if out == "" {
				return wrongInput(errors.New("no folder: give --out DIR"))
			}
			if err := os.MkdirAll(out, 0o777); err != nil {
				return fmt.Errorf("man: %w: give a folder that can be written", err)
			}
			root := cmd.Root()
			withoutDates(root)
			// The date is that of the text's last great change: no clock, so that the same program writes the same pages.
			date := time.Date(2026, time.November, 1, 0, 0, 0, 0, time.UTC)
			header := &doc.GenManHeader{Section: "1", Source: "farstation", Manual: "farstation", Date: &date}
			if err := doc.GenManTree(root, header, out); err != nil {
				return fmt.Errorf("man: %w", err)
			}
			pages, err := filepath.Glob(filepath.Join(out, "farstation*.1"))
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(stdio.out, "%d pages in %s\n", len(pages), out)
			return err
		},
	}
	cmd.DisableFlagsInUseLine = true
	cmd.Flags().StringVar(&out, "out", out, "folder `DIR` that the pages go to; made if it is not there")
	return cmd
}

// withoutDates keeps the generator from signing pages with a date.
func withoutDates(cmd *cobra.Command) {
	cmd.DisableAutoGenTag = true
	for _, child := range cmd.Commands() {
		withoutDates(child)
	}
}
