package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"runtime/pprof"

	"farstation/reports"
)

// profiler watches where the time and the memory of a command go. The profile stays in memory until the work is done, so that nothing of
// it is left of a command that was interrupted or failed.
type profiler struct {
	dir string
	cpu bytes.Buffer
}

// startProfile begins a profile for a new folder, which finish writes; an empty name is for none.
func startProfile(dir string) (*profiler, error) {
	p := &profiler{dir: dir}
	if dir == "" {
		return p, nil
	}
	if _, err := os.Lstat(dir); !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("--profile %s: exists: name a new folder", dir)
	}
	if err := reports.CheckOut(dir, false); err != nil {
		return nil, fmt.Errorf("--profile: %w", err)
	}
	if err := pprof.StartCPUProfile(&p.cpu); err != nil {
		return nil, fmt.Errorf("--profile %s: %w", dir, err)
	}
	return p, nil
}

// finish ends the profile, and writes its folder where the command's work was done. It returns the command's error, joined with its own.
func (p *profiler) finish(ctx context.Context, worked error) error {
	if p.dir == "" {
		return worked
	}
	pprof.StopCPUProfile()
	if status := statusOf(worked); status != statusDone && status != statusPartly || ctx.Err() != nil {
		return worked
	}
	err := reports.WriteNewFolder(ctx, p.dir, []reports.File{
		{Name: "cpu.pprof", Write: func(w io.Writer) error { _, err := p.cpu.WriteTo(w); return err }},
		{Name: "heap.pprof", Write: pprof.WriteHeapProfile},
	})
	if err != nil {
		return statusError{statusFailed, errors.Join(worked, fmt.Errorf("the work is done, but --profile could not be written: %w", err))}
	}
	return worked
}
