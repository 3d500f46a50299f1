package main

import (
	"bytes"
	"cmp"
	"slices"

	"github.com/spf13/cobra"

	"farstation/gazetteer"
	"farstation/pipeline"
	"farstation/reports"
)

func newSchemaCommand(stdio *stdio) *cobra.Command {
	format := "text"
	cmd := &cobra.Command{
		Use:   "schema [--format text|markdown|json]",
		Short: "Explain every file and column of a run, and every code of doubt",
		Long: `Schema prints the data dictionary of a run folder: each file with its order, each column with its type, unit, meaning and whether it may be
null, and each code that the doubts columns hold. It is read off the program itself, so it is that of this version.`,
		Args: atMostArgs(0),
		RunE: func(*cobra.Command, []string) error {
			write := reports.WriteSchemaText
			switch format {
			case "markdown":
				write = reports.WriteSchemaMarkdown
			case "json":
				write = reports.WriteSchemaJSON
			}
			var text bytes.Buffer
			if err := write(&text, reports.Dictionary(), allDoubts()); err != nil {
				return err
			}
			_, err := text.WriteTo(stdio.out)
			return err
		},
	}
	cmd.DisableFlagsInUseLine = true
	cmd.Flags().Var(choiceValue{&format, []string{"text", "markdown", "json"}}, "format", "`FORM` of the dictionary: text, markdown or json")
	return cmd
}

// allDoubts explains every code of doubt, sorted by code.
func allDoubts() []reports.Doubt {
	doubts := slices.Concat(gazetteer.Doubts(), pipeline.LineDoubts())
	slices.SortFunc(doubts, func(a, b reports.Doubt) int { return cmp.Compare(a.Code, b.Code) })
	return doubts
}
