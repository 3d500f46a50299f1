package pipeline

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// isles is a made world in the open Pacific: hilly tiles, a cell without one, and features all over.
type isles struct {
	dir  string
	rows []isle
}

type isle struct {
	id, name, kind     string
	at                 geodesy.LatLon
	groundM, structure float64
}

// newIsles makes the world from a seed. In the terrain there are voids, and in the cell of 30° S, 119° W no tile: sea, unless a feature stands there.
func newIsles(t testing.TB, seed uint64, features int) *isles {
	t.Helper()
	w := &isles{dir: t.TempDir()}
	for lat := -31; lat <= -29; lat++ {
		for lon := -121; lon <= -118; lon++ {
			if lat != -30 || lon != -119 {
				w.writeTile(t, lat, lon, seed)
			}
		}
	}
	random := rand.New(rand.NewPCG(seed, 1))
	kinds := []string{"peak", "viewpoint", "tower", "mast", "place", "hill"}
	for i := range features {
		at := geodesy.LatLon{LatDeg: -31 + 3*random.Float64(), LonDeg: -121 + 4*random.Float64()}
		if at.LatDeg > -30 && at.LatDeg < -29 && at.LonDeg > -119 && at.LonDeg < -118 {
			at.LatDeg -= 1
		}
		kind := kinds[i%len(kinds)]
		r := isle{id: fmt.Sprint("i", i), name: fmt.Sprint("Isle ", i), kind: kind, at: at, groundM: 60 + 1100*random.Float64()*random.Float64()}
		if kind == "tower" || kind == "mast" {
			r.structure = 40
		}
		if kind == "place" {
			r.groundM = 1 // below the horizon of most, but on the plane in view
		}
		w.rows = append(w.rows, r)
	}
	return w
}

// writeTile writes a tile of low hills with a few voids.
func (w *isles) writeTile(t testing.TB, lat, lon int, seed uint64) {
	t.Helper()
	random := rand.New(rand.NewPCG(seed, uint64(1000*(lat+90)+lon+180)))
	tile := make([]byte, 2*61*61)
	for i := range 61 * 61 {
		row, column := i/61, i%61
		y, x := float64(lat+1)-float64(row)/60, float64(lon)+float64(column)/60
		h := 90 * math.Sin(11*x+3*y) * math.Sin(9*y-2*x)
		post := int16(math.Max(h, 0))
		if random.IntN(400) == 0 {
			post = terrain.Void
		}
		binary.BigEndian.PutUint16(tile[2*i:], uint16(post))
	}
	path := filepath.Join(w.dir, fmt.Sprintf("S%02dW%03d.hgt", -lat, -lon))
	if err := os.WriteFile(path, tile, 0o644); err != nil {
		t.Fatal(err)
	}
}

// options writes the features and returns the options of a survey of the world.
func (w *isles) options(t testing.TB) Options {
	t.Helper()
	var csv strings.Builder
	csv.WriteString("id,name,kind,lat,lon,ele,structure_height_m,ground_height_sd_m,structure_height_sd_m,position_sd_m\n")
	for _, r := range w.rows {
		fmt.Fprintf(&csv, "%s,%s,%s,%.7f,%.7f,%.1f,%g,2,0,20\n", r.id, r.name, r.kind, r.at.LatDeg, r.at.LonDeg, r.groundM, r.structure)
	}
	list := filepath.Join(w.dir, "isles.csv")
	if err := os.WriteFile(list, []byte(csv.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	opts := DefaultOptions()
	opts.Features, opts.Terrain = []string{list}, []terrain.Source{{Path: w.dir}}
	opts.AsListed, opts.Workers = true, 2
	opts.ObserverKinds = []gazetteer.Kind{gazetteer.Viewpoint, gazetteer.Peak}
	opts.Top, opts.ToleranceDeg, opts.FrameDeg = 5, 1, 8
	return opts
}

// keep writes the records of a result and opens them.
func keep(t testing.TB, r *held) *RecordsFile {
	t.Helper()
	path := filepath.Join(t.TempDir(), "records")
	out, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(r.Records.Write(out), out.Close()); err != nil {
		t.Fatal(err)
	}
	file, err := OpenRecords(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { file.Close() })
	return file
}

func mustSurvey(t testing.TB, opts Options, before *RecordsFile) *held {
	t.Helper()
	r, err := SurveySince(t.Context(), opts, before, nil)
	if err != nil {
		t.Fatal(err)
	}
	return mustHold(t, r)
}

// mustHold holds a result, which stays open until the test ends.
func mustHold(t testing.TB, r *Result) *held {
	t.Helper()
	t.Cleanup(func() { r.Close() })
	h, err := hold(r)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// A survey since an earlier run gives the result of a whole one, records and manifest included, whatever changed in between.
func TestSurveySince(t *testing.T) {
	nothing := func(*testing.T, *isles) {}
	same := func(*Options) {}
	tests := []struct {
		name    string
		before  func(*Options)
		change  func(*testing.T, *isles)
		options func(*Options)
		whole   bool // whether all observers are taken over as they are
		none    bool // whether nothing is taken over
	}{
		{"nothing", same, nothing, same, true, false},
		{"the order of the rows", same, func(_ *testing.T, w *isles) { slices.Reverse(w.rows) }, same, true, false},
		{"the ranking", same, nothing, func(o *Options) { o.RankForPicture, o.Top = true, 7 }, true, false},
		{"which kinds look", same, nothing, func(o *Options) { o.ObserverKinds = o.ObserverKinds[1:] }, true, false},
		{"a height", same, func(_ *testing.T, w *isles) { w.rows[7].groundM += 150 }, same, false, false},
		{"a height, everything kept", func(o *Options) { o.KeepAll = true }, func(_ *testing.T, w *isles) { w.rows[7].groundM -= 50 }, same, false, false},
		{"a name", same, func(_ *testing.T, w *isles) { w.rows[12].name = "Renamed" }, same, false, false},
		{"a place", same, func(_ *testing.T, w *isles) { w.rows[3].at.LatDeg -= 0.01 }, same, false, false},
		{"two are gone", same, func(_ *testing.T, w *isles) { w.rows = w.rows[2:] }, same, false, false},
		{"a low one is gone", same, func(_ *testing.T, w *isles) { w.rows = slices.Delete(w.rows, 40, 41) }, same, false, false},
		{"a low one is renamed", same, func(_ *testing.T, w *isles) { w.rows[10].name = "Renamed" }, same, false, false},
		{"one is new", same, func(_ *testing.T, w *isles) {
			w.rows = append(w.rows, isle{"new", "New", "peak", geodesy.LatLon{LatDeg: -29.7, LonDeg: -119.6}, 1200, 0})
		}, same, false, false},
		{"one is new where there is no tile", same, func(_ *testing.T, w *isles) {
			w.rows = append(w.rows, isle{"new", "New", "peak", geodesy.LatLon{LatDeg: -29.5, LonDeg: -118.5}, 700, 0})
		}, same, false, true},
		{"another kind is looked at", func(o *Options) { o.TargetKinds = []gazetteer.Kind{gazetteer.Peak, gazetteer.Tower} }, nothing, func(o *Options) { o.TargetKinds[1] = gazetteer.Mast }, false, false},
		{"a tile", same, func(t *testing.T, w *isles) { w.writeTile(t, -30, -120, 99) }, same, false, true},
		{"k", same, nothing, func(o *Options) { o.K = 0.15 }, false, true},
		{"k by height", same, nothing, func(o *Options) { o.Air = AirStandard }, false, true},
	}
	for i, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			world := newIsles(t, uint64(i), 90)
			opts := world.options(t)
			test.before(&opts)
			first := mustSurvey(t, opts, nil)
			before := keep(t, first)
			test.change(t, world)
			opts = world.options(t)
			test.before(&opts)
			test.options(&opts)
			want := mustSurvey(t, opts, nil)
			got := mustSurvey(t, opts, before)
			reuse := got.Reuse
			checkSince(t, got, want)
			if all := reuse.Whole + reuse.Partly + reuse.Anew; all != want.Manifest.Counts.Observers || test.whole != (reuse.Whole == all) || test.none != (reuse.Anew == all) {
				t.Errorf("of %d observers %+v were taken over", want.Manifest.Counts.Observers, reuse)
			}
			m := &first.Manifest
			if len(first.Sightlines) < 100 || len(first.Alignments) < 5 || m.Terrain.VoidSamplesMet == 0 {
				t.Errorf("%d sightlines, %d alignments, %d voids: too little to tell runs apart", len(first.Sightlines), len(first.Alignments), m.Terrain.VoidSamplesMet)
			}
		})
	}
}

func checkSince(t *testing.T, got, want *held) {
	t.Helper()
	got.Reuse = nil
	if !bytes.Equal(got.records, want.records) {
		t.Error("the records differ")
	}
	if !reflect.DeepEqual(timeless(got).Manifest, timeless(want).Manifest) {
		t.Errorf("the manifest differs:\n%+v\n%+v", got.Manifest, want.Manifest)
	}
	sameResult(t, "since", got, want)
}

// Nor does it matter how many runs went before, each since the last, with some features changed, gone or new each time.
func TestSurveySinceAgainAndAgain(t *testing.T) {
	for seed := range uint64(3) {
		world := newIsles(t, 100+seed, 80)
		random := rand.New(rand.NewPCG(seed, 2))
		last := mustSurvey(t, world.options(t), nil)
		partly := 0
		for night := range 5 {
			for range 1 + random.IntN(3) {
				i := random.IntN(len(world.rows))
				switch r := &world.rows[i]; random.IntN(5) {
				case 0:
					world.rows = slices.Delete(world.rows, i, i+1)
				case 1:
					r.at.LonDeg += 0.05 * random.Float64()
				case 2:
					r.groundM += 200 * (random.Float64() - 0.5)
				case 3:
					r.structure += 30
				default:
					more := *r
					more.id, more.at.LatDeg = fmt.Sprint("n", seed, night, i, len(world.rows)), r.at.LatDeg-0.1
					world.rows = append(world.rows, more)
				}
			}
			opts := world.options(t)
			opts.MaxDistanceKM = 150
			if night == 0 {
				opts.MaxDistanceKM = 0
			}
			got, want := mustSurvey(t, opts, keep(t, last)), mustSurvey(t, opts, nil)
			partly += got.Reuse.Partly
			checkSince(t, got, want)
			last = got
		}
		if partly == 0 {
			t.Errorf("seed %d: no observer was taken over in part", seed)
		}
	}
}
