package pipeline

import (
	"fmt"
	"math"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"farstation/gazetteer"
	"farstation/geodesy/terrain"
)

// startUpReachM is so short that a viewshed of it is the command's start, and no more of the raster than a few rows.
const startUpReachM = 200

// inMemory times GDAL's engine on a raster that is in memory already, and into one: the least of the rounds, by the clock.
const inMemory = `
import sys, time
from osgeo import gdal
source = gdal.GetDriverByName("MEM").CreateCopy("", gdal.Open(sys.argv[1]))
east, north, eye, factor, reach = map(float, sys.argv[2:7])
rounds = []
for _ in range(int(sys.argv[7])):
    start = time.perf_counter()
    gdal.ViewshedGenerate(source.GetRasterBand(1), "MEM", "", [], east, north, eye, 0, 255, 0, 0, -1, factor, gdal.GVM_Edge, reach)
    rounds.append(time.perf_counter() - start)
print(min(rounds))
`

// pythonOfGDAL finds a Python that knows GDAL.
func pythonOfGDAL(b *testing.B) string {
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(name, "-c", "from osgeo import gdal").Run() == nil {
			return name
		}
	}
	b.Skip("no python3 knows osgeo: GDAL's engine is not timed in memory")
	return ""
}

// least keeps the least of several rounds, which on a machine that others share is the nearest to what the work takes.
type least struct{ spent }

func (l *least) take(s spent) {
	if l.wall == 0 || s.wall < l.wall {
		l.wall = s.wall
	}
	if l.processor == 0 || s.processor < l.processor {
		l.processor = s.processor
	}
}

func (l *least) report(b *testing.B) {
	b.ReportMetric(l.wall.Seconds(), "least-s")
	b.ReportMetric(l.processor.Seconds(), "least-cpu-s")
}

// BenchmarkViewshed times the viewshed of Broad Law, 100 km around, by GDAL and GRASS on one mosaic, and our lines to all its targets: as
// commands and in memory. Commands run under the clock with their start and their files; "reach of 200 m" is their start alone.
func BenchmarkViewshed(b *testing.B) {
	needEngine(b)
	world := viewshedWorld(b)
	folder := b.TempDir()
	places := onMap(b, world.Features)
	mosaics := map[int]string{90: mosaic(b, folder, 90), 30: mosaic(b, folder, 30)}
	eye := viewshedEyes(b, world, 1)[0]
	at, eyeM := places[eye.ID], DefaultOptions().EyeHeightM
	location := newGrass(b, folder, mosaics[90], mosaics[30])
	command := func(name string, run func() spent) {
		b.Run(name, func(b *testing.B) {
			var l least
			for b.Loop() {
				l.take(run())
			}
			l.report(b)
		})
	}
	for _, cellM := range []int{90, 30} {
		path := mosaics[cellM]
		for _, reach := range []struct {
			name string
			m    float64
		}{{"", engineReachM}, {", reach of 200 m", startUpReachM}} {
			command(fmt.Sprintf("gdal_viewshed, %d m%s", cellM, reach.name), func() spent {
				return gdalViewshed(b, path, filepath.Join(folder, "seen.img"), "NORMAL", at, eyeM, reach.m)
			})
			if location != nil {
				location.region(b, path)
				command(fmt.Sprintf("r.viewshed, %d m%s", cellM, reach.name), func() spent { return location.viewshed(b, path, at, eyeM, reach.m) })
			}
		}
		b.Run(fmt.Sprintf("GDAL's engine in memory, %d m", cellM), func(b *testing.B) {
			python := pythonOfGDAL(b)
			for b.Loop() {
				text, _ := runEngine(b, folder, "", python, "-c", inMemory, path, number(at.eastM), number(at.northM), number(eyeM), fmt.Sprint(1-engineK), fmt.Sprint(engineReachM), "5")
				var seconds float64
				if _, err := fmt.Sscan(text, &seconds); err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(seconds, "least-s")
			}
		})
	}
	benchmarkSurveyCommand(b, eye)
	benchmarkTargets(b, world, 1)
	benchmarkTargets(b, world, 20)
}

// benchmarkSurveyCommand times the command that surveys from one observer as far as the engines look: gazetteer and zipped tiles read, kept
// lines in full, report and tables written.
func benchmarkSurveyCommand(b *testing.B, eye *gazetteer.Feature) {
	folder := b.TempDir()
	program := filepath.Join(folder, "farstation")
	runEngine(b, folder, "", "go", "build", "-buildvcs=false", "-o", program, "../cmd/farstation")
	const side = 1e-5
	args := []string{"survey", "--quiet", "--replace", "--features", bordersFeatures, "--out", filepath.Join(folder, "run"), "--min-distance-km", "1", "--near-min-distance-km", "1", "--max-distance-km", "99.9",
		"--area", fmt.Sprintf("%.6f,%.6f,%.6f,%.6f", eye.At.LonDeg-side, eye.At.LatDeg-side, eye.At.LonDeg+side, eye.At.LatDeg+side)}
	for _, source := range hillOptions().Terrain {
		args = append(args, "--terrain", source.Path)
	}
	b.Run("farstation survey", func(b *testing.B) {
		var l least
		for b.Loop() {
			_, took := runEngine(b, folder, "", program, args...)
			l.take(took)
		}
		l.report(b)
	})
}

// benchmarkTargets times our lines, geometry and all, from some observers to all their targets, over tiles in memory: k_c of whole lines, and
// lines that end early where they are blocked for a survey.
func benchmarkTargets(b *testing.B, world *World, observers int) {
	opts := DefaultOptions()
	for _, form := range []struct {
		name      string
		stopAbove float64
	}{{"k_c of whole lines", math.Inf(1)}, {"as a survey stops", opts.kCeiling() + keepSpreads*opts.KSD}} {
		b.Run(fmt.Sprintf("%s, observers %d", form.name, observers), func(b *testing.B) {
			tracer := NewTracer(opts, world.Store, world.Geoid)
			eyes := viewshedEyes(b, world, observers)
			least := make([]time.Duration, len(eyes))
			lines := 0
			for b.Loop() {
				lines = 0
				for i, eye := range eyes {
					targets := viewshedTargets(world, eye)
					lines += len(targets)
					start := time.Now()
					for _, target := range targets {
						if _, ok, err := tracer.aim(eye, target); err != nil || !ok {
							b.Fatal(ok, err)
						}
						if _, err := tracer.walker.Critical(&tracer.line, terrain.FillSea, opts.GuardM, form.stopAbove); err != nil {
							b.Fatal(err)
						}
					}
					if took := time.Since(start); least[i] == 0 || took < least[i] {
						least[i] = took
					}
				}
			}
			var all time.Duration
			for _, took := range least {
				all += took
			}
			b.ReportMetric(float64(all.Nanoseconds())/float64(lines), "least-ns/target")
			b.ReportMetric(all.Seconds()*1e3/float64(len(eyes)), "least-ms/observer")
			b.ReportMetric(float64(lines)/float64(len(eyes)), "targets/observer")
		})
	}
}
