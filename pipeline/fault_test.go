package pipeline

import (
	"errors"
	"fmt"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"
)

// A panic of a worker comes back as an error that names the chunk and the pair, and leaves no temporary file.
func TestFaultNamesChunkAndPair(t *testing.T) {
	tests := []struct {
		name  string
		spoil func(*job)
		where func(*job) string
		want  string // of what the panic says
	}{
		{
			"on a line", func(j *job) { j.opts.Air, j.opts.sounding = "spoilt", &sounding{} },
			func(j *job) string {
				at := j.plan.chunks[0][0]
				features := j.world.Features
				return fmt.Sprintf("chunk 0, line from %s to %s", features[at].ID, features[j.plan.candidates(j.opts, j.plan, at)[0]].ID)
			}, "nil pointer",
		},
		{
			"before the first line", func(j *job) { j.plan.eyes = nil },
			func(j *job) string {
				return fmt.Sprintf("chunk 0, observer %s", j.world.Features[j.plan.chunks[0][0]].ID)
			}, "index out of range",
		},
		{
			"before anything", func(j *job) { j.world.Store = nil }, func(*job) string { return "the beginning of a worker" }, "nil pointer",
		},
		{
			"in a later chunk", func(j *job) { last := len(j.plan.chunks) - 1; j.plan.chunks[last] = []int{-1} },
			func(j *job) string { return fmt.Sprintf("chunk %d, ", len(j.plan.chunks)-1) }, "index out of range [-1]",
		},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			opts := hillOptions()
			opts.Features, opts.Workers = []string{fewHills(t, 40)}, 1
			opts.MaxDistanceKM = 30
			opts.SpillFolder = t.TempDir()
			j, err := begin(t.Context(), opts, nil)
			if err != nil {
				t.Fatal(err)
			}
			want := test.where(j)
			test.spoil(j)
			_, err = j.finish(t.Context(), nil, nil, nil)
			var fault *Fault
			if !errors.As(err, &fault) {
				t.Fatalf("finish: %v, want a Fault", err)
			}
			if !strings.HasPrefix(fault.Where, want) || !strings.Contains(fault.Panic, test.want) || strings.Contains(err.Error(), "\n") {
				t.Errorf("finish: %v (at %q), want one line with %q at %q", err, fault.Where, test.want, want)
			}
			if !strings.Contains(fault.Stack, "pipeline.(*job).traceAll") {
				t.Errorf("the stack does not show the worker:\n%s", fault.Stack)
			}
			if left, err := os.ReadDir(opts.SpillFolder); err != nil || len(left) > 0 {
				t.Errorf("left behind: %v, %v", left, err)
			}
		})
	}
}

// A panic of the ranking and of the count of lines is caught too.
func TestFaultsOfOtherWorkers(t *testing.T) {
	var fault *Fault
	err := sideBySide(t.Context(), rowGroupName, 3, 5, func(i int) error {
		if i == 4 {
			panic("first line\nsecond line")
		}
		return nil
	})
	if !errors.As(err, &fault) || fault.Where != "row group 4" || fault.Panic != "first line" || !strings.HasPrefix(fault.Stack, "second line\n") {
		t.Errorf("sideBySide: %+v", err)
	}
	fine := errors.New("fine")
	if err := Guard(func() string { return "nowhere" }, func() error { return fine }); err != fine {
		t.Errorf("Guard = %v, want what do returns", err)
	}
}

// Stages have a rate, and memory that is about what tests hold.
func TestStagesHaveRateAndMemory(t *testing.T) {
	at := time.Unix(100, 0)
	c := clock{now: func() time.Time { return at }, since: time.Unix(96, 0)}
	c.stage("trace", 10)
	c.stage("rank", 7)
	if got := c.stages[0]; got.Seconds != 4 || got.PerSecond != 2.5 {
		t.Errorf("10 items in 4 s: %+v, want 2.5 a second", got)
	}
	if got := c.stages[1]; got.PerSecond != 0 || got.Items != 7 {
		t.Errorf("7 items in no time: %+v, want no rate", got)
	}
	before := MemoryBytes()
	if before < 1<<20 || before > 1<<40 {
		t.Errorf("MemoryBytes() = %d", before)
	}
	held := make([]byte, 256<<20)
	for i := range held { // or the system gives no memory
		held[i] = 1
	}
	if grown := MemoryBytes() - before; grown < 200<<20 {
		t.Errorf("with 256 MiB more MemoryBytes() grew by %d", grown)
	}
	runtime.KeepAlive(held)
}
