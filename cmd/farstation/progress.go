package main

import (
	"fmt"
	"io"
	"log/slog"
	"math"
	"os"
	"slices"
	"sync"
	"time"

	"golang.org/x/term"

	"farstation/pipeline"
)

// progressOptions say how progress is shown.
type progressOptions struct {
	quiet bool
	log   string // text or json
}

func (o *progressOptions) addFlags(add flagAdder) {
	o.log = "text"
	add.BoolVar(&o.quiet, "quiet", false, "no progress on standard error")
	add.Var(choiceValue{&o.log, []string{"text", "json"}}, "log", "form of the progress where standard error is no terminal; json, also where it is one, makes all that goes there one object a line, errors too")
}

// jsonLog writes objects, each whole and on a line of its own: the handler hands every line to the writer at once.
func jsonLog(out io.Writer) *slog.Logger { return slog.New(slog.NewJSONHandler(out, nil)) }

// asksForJSON tells whether the arguments of a command ask for objects on standard error. It looks at them itself, since a wrong flag ends a
// command before they are all understood.
func asksForJSON(args []string) bool {
	at := slices.Index(args, "--log")
	return slices.Contains(args, "--log=json") || at >= 0 && at+1 < len(args) && args[at+1] == "json"
}

// note says something beside the results on standard error.
func (o *progressOptions) note(out io.Writer, text string) {
	if o.log == "json" {
		jsonLog(out).Info(plain(text))
		return
	}
	fmt.Fprintf(out, "farstation: %s\n", plain(text))
}

const (
	lookEvery   = 200 * time.Millisecond // a line redrawn five times a second is calm and still feels live
	reportEvery = 10 * time.Second
)

// watcher shows the progress of a survey on standard error: on a terminal one line that is redrawn, else a line of log at every stage that
// lasts long enough to be seen and every ten seconds.
type watcher struct {
	pipeline.Progress
	now    func() time.Time
	draw   *redrawn
	log    *slog.Logger
	json   bool // the log is one of objects
	began  time.Time
	stage  string
	since  time.Time // beginning of the stage
	logged time.Time

	done chan struct{}
	wait sync.WaitGroup
}

// watch begins to show progress; stop must be called. What is to be watched goes into the Progress.
func watch(out io.Writer, opts progressOptions) *watcher {
	w := &watcher{now: time.Now, began: time.Now(), done: make(chan struct{})}
	file, isFile := out.(*os.File)
	switch {
	case opts.quiet:
		return w
	case opts.log == "json":
		w.log, w.json = jsonLog(out), true
	case isFile && term.IsTerminal(int(file.Fd())):
		w.draw = &redrawn{file: file}
	default:
		w.log = slog.New(slog.NewTextHandler(out, nil))
	}
	w.wait.Go(func() {
		ticker := time.NewTicker(lookEvery)
		defer ticker.Stop()
		for {
			select {
			case <-ticker.C:
				w.look()
			case <-w.done:
				if w.draw != nil {
					w.draw.clear()
				}
				return
			}
		}
	})
	return w
}

// stop ends the showing and leaves the terminal clean. Only the first call counts.
func (w *watcher) stop() {
	select {
	case <-w.done:
	default:
		close(w.done)
		w.wait.Wait()
	}
}

// finish is stop for work that is done. A log of objects gets a last one with what was counted, for texts say that on standard output.
func (w *watcher) finish(out string, counts any, unreadable []string) {
	w.stop()
	if !w.json {
		return
	}
	items := []any{"counts", counts, "unreadable_tiles", len(unreadable), "seconds", math.Round(1000*w.now().Sub(w.began).Seconds()) / 1000, "peak_memory_bytes", memoryBytes()}
	if out != "" {
		items = append(items, "out", plain(out))
	}
	w.log.Info("done", items...)
}

// look shows what has changed since the last look.
func (w *watcher) look() {
	s, now := w.Snapshot(), w.now()
	if s.Stage == "" {
		return
	}
	begins := s.Stage != w.stage
	if begins {
		w.stage, w.since = s.Stage, now
	}
	pace := paceOf(s, now.Sub(w.since))
	if w.draw != nil {
		w.draw.show(pace.words(s))
		return
	}
	if !begins && now.Sub(w.logged) < reportEvery {
		return
	}
	w.logged = now
	w.log.Info("progress", pace.items(s)...)
}

// pace is how fast a stage goes; values that are not known yet are 0.
type pace struct {
	perSecond float64
	left      time.Duration
}

func paceOf(s pipeline.Snapshot, spent time.Duration) pace {
	if s.Done == 0 || spent < time.Second {
		return pace{}
	}
	p := pace{perSecond: float64(s.Done) / spent.Seconds()}
	if s.Total > s.Done {
		p.left = time.Duration(float64(s.Total-s.Done) / p.perSecond * float64(time.Second)).Round(time.Second)
	}
	return p
}

// items are the fields of a line of log.
func (p pace) items(s pipeline.Snapshot) []any {
	items := []any{"stage", s.Stage, "done", s.Done, "memory_bytes", pipeline.MemoryBytes()}
	if s.Total > 0 {
		items = append(items, "total", s.Total)
	}
	if p.perSecond > 0 {
		items = append(items, "per_second", math.Round(10*p.perSecond)/10)
	}
	if p.left > 0 {
		items = append(items, "left_seconds", p.left.Seconds())
	}
	return items
}

func (p pace) words(s pipeline.Snapshot) string {
	text := s.Stage
	switch {
	case s.Total > 0:
		text += fmt.Sprintf(": %d of %d", s.Done, s.Total)
	case s.Done > 0:
		text += fmt.Sprintf(": %d", s.Done)
	}
	if p.perSecond > 0 {
		text += fmt.Sprintf(", %.1f a second", p.perSecond)
	}
	if p.left > 0 {
		text += fmt.Sprintf(", %v left", p.left)
	}
	return text
}

// redrawn is one line of a terminal.
type redrawn struct {
	file  *os.File
	shown bool
}

// clearLine goes to the first column and clears to the end of the line (ECMA-48: CR, EL).
const clearLine = "\r\x1b[K"

func (r *redrawn) show(text string) {
	// A line that wraps could not be cleared.
	if width, _, err := term.GetSize(int(r.file.Fd())); err == nil && width > 0 && len(text) >= width {
		text = text[:width-1]
	}
	fmt.Fprint(r.file, clearLine, text)
	r.shown = true
}

func (r *redrawn) clear() {
	if r.shown {
		fmt.Fprint(r.file, clearLine)
	}
}
