// Command farstation predicts which far peaks and towers a telephoto look from each peak must show under a curved Earth and under a
// plane, and ranks the sightlines that are worth a photograph.
package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"strconv"
	"strings"
	"syscall"
	"unicode"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"farstation/pipeline"
)

// Exit statuses, as rootLong lists them.
const (
	statusDone        = 0
	statusFailed      = 1
	statusWrongInput  = 2
	statusDiffers     = 3
	statusPartly      = 4
	statusInterrupted = 130 // 128 + SIGINT, as shells have it
)

// stdio is where a command prints: results on out, everything else on err.
type stdio struct {
	out, err io.Writer
}

func main() {
	os.Exit(run(os.Args[1:], &stdio{out: os.Stdout, err: os.Stderr}))
}

// run runs the program and returns its exit status. The first SIGINT or SIGTERM cancels the one context, a second one ends the program at
// once.
func run(args []string, stdio *stdio) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop)
	root := newRootCommand(stdio)
	root.SetArgs(args)
	err := pipeline.Guard(func() string { return commandWord(root, args) }, func() error { return root.ExecuteContext(ctx) })
	if ctx.Err() != nil && errors.Is(err, context.Canceled) {
		err = statusError{statusInterrupted, errors.New("interrupted: nothing was written")}
	}
	report(stdio.err, asksForJSON(args), err)
	return statusOf(err)
}

// commandWord names the command of some arguments.
func commandWord(root *cobra.Command, args []string) string {
	if cmd, _, err := root.Find(args); err == nil {
		return cmd.CommandPath()
	}
	return root.Name()
}

// report says on standard error what is wrong, one line for each error, and after a fault of the program what it was calling; as objects
// where asked for.
func report(out io.Writer, asObjects bool, err error) {
	var fault *pipeline.Fault
	errors.As(err, &fault)
	status := statusOf(err)
	for _, line := range errorLines(err) {
		if !asObjects {
			fmt.Fprintf(out, "farstation: %s\n", plain(line))
			continue
		}
		items, level := []any{"status", status}, slog.LevelError
		if fault != nil {
			items = append(items, "stack", fault.Stack)
		}
		if status == statusPartly {
			level = slog.LevelWarn
		}
		jsonLog(out).Log(context.Background(), level, plain(line), items...)
	}
	if fault != nil && !asObjects {
		for line := range strings.Lines(fault.Stack) {
			fmt.Fprintf(out, "  %s\n", plain(strings.ReplaceAll(strings.TrimRight(line, "\n"), "\t", "  ")))
		}
	}
}

// statusError is an error that ends the program with a status of its own.
type statusError struct {
	status int
	error
}

func (e statusError) Unwrap() error { return e.error }

// wrongInput marks an error as that of the user's flags or files.
func wrongInput(err error) error {
	var fault *pipeline.Fault
	if err == nil || errors.As(err, &fault) { // a fault of the program is nobody's input
		return err
	}
	return statusError{statusWrongInput, err}
}

func statusOf(err error) int {
	if err == nil {
		return statusDone
	}
	var marked statusError
	if errors.As(err, &marked) {
		return marked.status
	}
	return statusFailed
}

// errorLines returns the message of an error, one line for each of those that were joined into it.
func errorLines(err error) []string {
	if err == nil {
		return nil
	}
	if marked, ok := err.(statusError); ok {
		return errorLines(marked.error)
	}
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		var lines []string
		for _, one := range joined.Unwrap() {
			lines = append(lines, errorLines(one)...)
		}
		if strings.Join(lines, "\n") == err.Error() { // not so for fmt.Errorf with several errors, which has words of its own
			return lines
		}
	}
	return []string{err.Error()}
}

// plain makes a text that may come from a file safe to print: control characters and those that turn the direction of writing, which
// could drive a terminal or disguise a name, are written out.
func plain(text string) string {
	var b strings.Builder
	for at, size := 0, 0; at < len(text); at += size {
		var r rune
		r, size = utf8.DecodeRuneInString(text[at:])
		switch {
		case r == utf8.RuneError && size == 1:
			fmt.Fprintf(&b, `\x%02x`, text[at])
		case unicode.IsControl(r) && r < 0x80:
			fmt.Fprintf(&b, `\x%02x`, r)
		case unicode.IsControl(r), unicode.Is(unicode.Bidi_Control, r), r == '\u2028', r == '\u2029':
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			b.WriteString(text[at : at+size])
		}
	}
	return b.String()
}

const rootLong = `farstation reads named peaks and towers from open gazetteer extracts and the ground between them from open elevation tiles. For every
pair it predicts what a telephoto look from the one must show of the other: under a curved Earth with bending light, and on a plane. It
says how sure that is, and ranks the sightlines that are worth a photograph.

First thing to try; it needs no data and no network:

  farstation demo

It makes an invented archipelago, surveys it, and says where the report lies. Then "farstation survey --help" with files of your own.

Exit status:
  0    done
  1    failed
  2    wrong flags, or input that cannot be read
  3    verify, changes or claim --check found a difference
  4    done, but terrain files could not be read
  130  interrupted; nothing was written

Cautions:
  Never look at or near the sun through a lens or finder; a filter belongs on the front of the lens.
  Mountain weather, cliffs and tides kill. Private land and towers need permission; drones and obstacles to aviation have local rules.
  Predictions are for photography, not for navigation, aviation, radio licensing or construction.
  Local codes and licensed practice come first.`

func newRootCommand(stdio *stdio) *cobra.Command {
	root := &cobra.Command{
		Use:     "farstation",
		Short:   "Predict and rank long-distance sightlines between named peaks and towers",
		Long:    rootLong,
		Version: pipeline.Version,
		// Errors are printed once, by run.
		SilenceErrors: true, SilenceUsage: true,
		Args: cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cmd.Help()
			}
			return unknownCommand(cmd, args[0])
		},
	}
	root.SetOut(stdio.out)
	root.SetErr(stdio.err)
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error { return wrongInput(flagError(cmd, err)) })
	root.SetVersionTemplate("farstation {{.Version}}\n")
	root.SetUsageTemplate(usageTemplate)
	root.CompletionOptions.DisableDefaultCmd = true
	root.SuggestionsMinimumDistance = 2
	root.SetHelpCommand(newHelpCommand())
	root.AddCommand(newDemoCommand(stdio), newSurveyCommand(stdio), newGatherCommand(stdio), newLineCommand(stdio), newSchemaCommand(stdio), newTilesCommand(stdio), newVerifyCommand(stdio), newChangesCommand(stdio), newWeighCommand(stdio), newResectCommand(stdio), newClaimCommand(stdio), newOutcomesCommand(stdio), newCompletionCommand(stdio), newManCommand(stdio), newOutingCommand(stdio), newRehearseCommand(stdio))
	return root
}

const usageTemplate = `Usage:
  {{if .HasAvailableSubCommands}}{{.CommandPath}} COMMAND [FLAGS]{{else}}{{.UseLine}}{{end}}{{if .HasAvailableSubCommands}}

Commands:{{range .Commands}}{{if .IsAvailableCommand}}
  {{rpad .Name .NamePadding}} {{.Short}}{{end}}{{end}}{{end}}{{if .HasAvailableLocalFlags}}

Flags:
{{.LocalFlags.FlagUsagesWrapped 120 | trimTrailingWhitespaces}}{{end}}{{if .HasAvailableSubCommands}}

"{{.CommandPath}} COMMAND --help" says more of a command.{{end}}
`

// flagError says in our words what is wrong with a flag.
func flagError(cmd *cobra.Command, err error) error {
	var invalid *pflag.InvalidValueError
	if !errors.As(err, &invalid) {
		return fmt.Errorf("%w: %q lists the flags", err, cmd.CommandPath()+" --help")
	}
	var number *strconv.NumError
	if errors.As(err, &number) {
		want := map[string]string{"bool": "true or false", "int": "a whole number"}[invalid.GetFlag().Value.Type()]
		return fmt.Errorf("--%s %s: want %s", invalid.GetFlag().Name, invalid.GetValue(), cmp.Or(want, "a number"))
	}
	return fmt.Errorf("--%s %s: %w", invalid.GetFlag().Name, invalid.GetValue(), invalid.Unwrap())
}

// unknownCommand names what the user may have meant.
func unknownCommand(cmd *cobra.Command, name string) error {
	hint := ""
	if like := cmd.Root().SuggestionsFor(name); len(like) > 0 {
		hint = fmt.Sprintf("did you mean %s? ", strings.Join(like, " or "))
	}
	return wrongInput(fmt.Errorf("unknown command %q: %s%q lists the commands", name, hint, "farstation --help"))
}

func newHelpCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND]",
		Short: "Say what farstation or one of its commands does",
		Args:  atMostArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cmd.Root().Help()
			}
			for _, other := range cmd.Root().Commands() {
				if other.Name() == args[0] {
					return other.Help()
				}
			}
			return unknownCommand(cmd, args[0])
		},
	}
}

// atMostArgs refuses more arguments beside the flags than a command takes.
func atMostArgs(most int) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) <= most {
			return nil
		}
		return wrongInput(fmt.Errorf("%q is not understood: %q lists the flags, and a value with spaces stands in quotes", args[most], cmd.CommandPath()+" --help"))
	}
}
