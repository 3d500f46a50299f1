package pipeline

import "sync/atomic"

// Progress counts what a survey has done, for whoever shows it; the survey writes, others read. The zero value is ready, and a nil
// *Progress takes no notice.
type Progress struct {
	stage       atomic.Pointer[string]
	done, total atomic.Int64
}

// Snapshot is what a Progress holds at one moment. Total is 0 where the number of items is not known beforehand.
type Snapshot struct {
	Stage       string
	Done, Total int64
}

// Snapshot returns the stage that runs and how far it is.
func (p *Progress) Snapshot() Snapshot {
	if stage := p.stage.Load(); stage != nil {
		return Snapshot{Stage: *stage, Done: p.done.Load(), Total: p.total.Load()}
	}
	return Snapshot{}
}

// Begin names the stage that runs from now on, for one that another package runs; total is 0 where the number of items is not known.
func (p *Progress) Begin(stage string, total int) { p.begin(stage, total) }

func (p *Progress) begin(stage string, total int) {
	if p == nil {
		return
	}
	p.done.Store(0)
	p.total.Store(int64(total))
	p.stage.Store(&stage)
}

func (p *Progress) add(n int) {
	if p != nil {
		p.done.Add(int64(n))
	}
}
