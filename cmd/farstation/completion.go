package main

import (
	"bytes"
	"errors"
	"fmt"

	"github.com/spf13/cobra"
)

const completionLong = `Completion prints a script that lets a shell complete the commands and flags of farstation.

  bash:  farstation completion bash > ~/.local/share/bash-completion/completions/farstation
  zsh:   farstation completion zsh > "${fpath[1]}/_farstation"
  fish:  farstation completion fish > ~/.config/fish/completions/farstation.fish

Then begin a new shell. That of bash needs the package bash-completion.`

func newCompletionCommand(stdio *stdio) *cobra.Command {
	cmd := &cobra.Command{
		Use:       "completion bash|zsh|fish",
		Short:     "Print a script that completes commands and flags in a shell",
		Long:      completionLong,
		ValidArgs: []string{"bash", "zsh", "fish"},
		Args:      atMostArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return wrongInput(errors.New("no shell: want bash, zsh or fish"))
			}
			root, script := cmd.Root(), bytes.Buffer{}
			var err error
			switch args[0] {
			case "bash":
				err = root.GenBashCompletionV2(&script, true)
			case "zsh":
				err = root.GenZshCompletion(&script)
			case "fish":
				err = root.GenFishCompletion(&script, true)
			default:
				return wrongInput(fmt.Errorf("shell %q: want bash, zsh or fish", args[0]))
			}
			if err != nil {
				return err
			}
			_, err = script.WriteTo(stdio.out)
			return err
		},
	}
	cmd.DisableFlagsInUseLine = true
	return cmd
}
