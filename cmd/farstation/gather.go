package main

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"github.com/spf13/cobra"

	"farstation/pipeline"
	"farstation/reports"
)

const gatherLong = `Gather makes one run of the shares of a survey. Every file but run.json has the bytes that the survey would have written at once.

  farstation survey --share 1/2 --features peaks.tsv --terrain tiles --out shares/1
  farstation survey --share 2/2 --features peaks.tsv --terrain tiles --out shares/2
  farstation gather shares/1 shares/2 --out run

All shares must be made with the same flags, files and program. Gather reads features and terrain again, from the paths that the shares were
given; run it in the same folder. It names shares that are missing, there twice, or of another survey, and ends with 2. The shares are left as they
are, so that it can be repeated.`

type gatherOptions struct {
	out      string
	replace  bool
	json     bool
	workers  int
	memory   int64
	cache    string
	progress progressOptions
}

func newGatherCommand(stdio *stdio) *cobra.Command {
	o := gatherOptions{memory: pipeline.DefaultOptions().MemoryBytes}
	cmd := &cobra.Command{
		Use:   "gather SHARE... --out DIR",
		Short: "Make one run of the shares of a survey",
		Long:  gatherLong,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runGather(cmd.Context(), stdio, args, o)
		},
	}
	cmd.DisableFlagsInUseLine = true
	cmd.Flags().SortFlags = false
	cmd.Flags().StringVar(&o.out, "out", "", "run folder `DIR` to write; it must not exist yet")
	cmd.Flags().BoolVar(&o.replace, "replace", false, "replace the earlier run that --out holds, once the new one is complete")
	cmd.Flags().BoolVar(&o.json, "json", false, "print what run.json holds")
	cmd.Flags().IntVar(&o.workers, "workers", 0, "observers put together at once, `N`; 0 is one a core; changes no result")
	cmd.Flags().Var(bytesValue{&o.memory}, "memory", "`SIZE` of memory to make do with, such as 512MiB; changes no result")
	cmd.Flags().StringVar(&o.cache, "cache", "", cacheUsage)
	o.progress.addFlags(cmd.Flags())
	return cmd
}

func runGather(ctx context.Context, stdio *stdio, dirs []string, o gatherOptions) error {
	switch {
	case o.out == "":
		return wrongInput(errors.New("no --out: name the folder to write"))
	case o.workers < 0:
		return wrongInput(fmt.Errorf("--workers %d: must be 0 (one a core) or more", o.workers))
	case o.workers == 0:
		o.workers = pipeline.DefaultWorkers()
	}
	if err := reports.CheckOut(o.out, o.replace); err != nil {
		return wrongInput(err)
	}
	shares, err := openShares(ctx, dirs)
	closeAll := sync.OnceFunc(func() { closeShares(shares) })
	defer closeAll()
	if err != nil {
		return wrongInput(err)
	}
	watcher := watch(stdio.err, o.progress)
	defer watcher.stop()
	defer limitMemory(o.memory, o.cache)()
	result, err := pipeline.Gather(ctx, shares, pipeline.GatherOptions{Workers: o.workers, MemoryBytes: o.memory, CacheFolder: o.cache, SpillFolder: reports.FolderFor(o.out)}, &watcher.Progress)
	closeAll()
	if err != nil {
		return computeError(err)
	}
	defer result.Close()
	first := &shares[0]
	return writeRun(ctx, stdio, result, runOutput{options: &first.Options, out: o.out, replace: o.replace, feet: first.Feet, json: o.json}, watcher)
}

// openShares opens all shares, and tells all that cannot be used.
func openShares(ctx context.Context, dirs []string) ([]pipeline.OpenShare, error) {
	var shares []pipeline.OpenShare
	var wrong []error
	for _, dir := range dirs {
		share, err := reports.ReadShare(ctx, dir)
		if ctx.Err() != nil {
			return shares, ctx.Err()
		}
		if err != nil {
			wrong = append(wrong, err)
			continue
		}
		shares = append(shares, *share)
	}
	return shares, errors.Join(wrong...)
}

func closeShares(shares []pipeline.OpenShare) {
	for i := range shares {
		shares[i].Records.Close()
	}
}
