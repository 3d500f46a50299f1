package pipeline

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"

	"farstation/gazetteer"
)

// extremeWorld turns a random world into one at the ends of what is valid: rays that all but follow the Earth, places at the poles and opposite
// each other, heights and spreads as great as gazetteers may state.
func extremeWorld(t testing.TB, seed uint64) Options {
	t.Helper()
	o := randomWorld(t, seed, 0, false)
	random := rand.New(rand.NewPCG(seed, 7))
	of := func(values ...float64) float64 { return values[random.IntN(len(values))] }
	kinds := gazetteer.Kinds()
	var csv strings.Builder
	csv.WriteString("id,name,kind,lat,lon,ele,structure_height_m,ground_height_sd_m,structure_height_sd_m,position_sd_m\n")
	lat, lon := of(-90, -89.999999, -0.5, 0, 47.5, 89.5, 90), of(-180, -0.5, 0, 100.5, 179.9999)
	for i := range 3 + random.IntN(12) {
		at, along := lat, lon
		switch random.IntN(6) {
		case 0: // elsewhere on the same cell
			at, along = lat+random.Float64()-0.5, lon+2*random.Float64()-1
		case 1: // opposite, or nearly so
			at, along = -lat+of(0, 1e-9, 1e-3, 0.5), lon+180+of(0, 1e-9, 1e-3, 0.5)
		case 2: // on the same meridian or parallel
			at, along = of(lat, lat+1, lat-0.01), of(lon, lon+1)
		case 3:
			at, along = 180*random.Float64()-90, 360*random.Float64()-180
		case 4:
			at, along = lat+of(1e-9, 1e-5, 1e-3), lon+of(1e-9, 1e-5, 1e-3)
		}
		fmt.Fprintf(&csv, "w%d,World %d,%s,%.9f,%.9f,%g,%g,%g,%g,%g\n", i, i, kinds[random.IntN(len(kinds))], math.Max(math.Min(at, 90), -90), math.Remainder(along, 360),
			of(-500, -1, 0, 1e-9, 300, 8849, 9000), of(0, 1, 300, 1500), of(0, 1e-9, 10, 1e3), of(0, 1e-9, 100), of(0, 1e-9, 30, 1e4))
	}
	if err := os.WriteFile(o.Features[0], []byte(csv.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	o.K = of(-5, -1, -1e-12, 0, 0.13, 0.9, 0.999, 1-1e-9)
	o.KSD = of(0, 1e-12, (1-o.K)/6, math.Max(0.04, (1-o.K)/5.0001))
	if o.K+5*o.KSD >= 1 {
		o.KSD = 0
	}
	o.KOwnSD = of(0, o.KSD)
	o.Air = AirConstant
	if o.K > 0.9 && random.IntN(3) > 0 {
		o.MaxDistanceKM = of(500, 2000)
	}
	o.MinDistanceKM, o.NearMinDistanceKM = of(0, 1e-6, 100), of(0, 1e-6, 50)
	if o.MaxDistanceKM > 0 {
		o.MinDistanceKM = math.Min(o.MinDistanceKM, o.MaxDistanceKM)
	}
	o.EyeHeightM = of(0, 2, 1e4)
	o.GuardM = of(leastGuardM, 200, 1e5)
	o.LowHeightM, o.LowK, o.LowKSD = of(0, 1, 1e4), of(-10, 0, 0.99), of(0, 1, 10)
	o.HeightSDM, o.TerrainSDM, o.SeaLevelSDM = of(0, 1e-9, 100), of(0, 1e-9, 1e3), of(0, 0.5, 100)
	o.SeaLevelM = of(0, -100, 100)
	o.TerrainCorrelationM = of(1, 300, 1e6)
	o.VisualRangeKM = of(1e-3, 150, 1e6)
	o.ToleranceDeg, o.FrameDeg = of(0, 10), of(1e-9, 60)
	o.Top, o.KeepAll = random.IntN(20), true
	return o
}

// At the ends of what is valid a survey still ends soon, in little memory, without a panic, and is the same with any number of workers.
func TestExtremeWorlds(t *testing.T) {
	count := 15
	switch {
	case *worldCount > 0:
		count = *worldCount
	case os.Getenv("CI") == "true":
		count = 60
	}
	const (
		longest = 60 * time.Second
		most    = 1 << 30
	)
	kept, refused := 0, 0
	for seed := uint64(*firstWorld); seed < uint64(*firstWorld+count); seed++ {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			opts := extremeWorld(t, seed)
			if err := opts.Validate(); err != nil {
				refused++
				t.Logf("refused: %v", err)
				return
			}
			ctx, cancel := context.WithTimeout(t.Context(), longest)
			defer cancel()
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			r, err := heldSurvey(ctx, opts, nil)
			if err != nil {
				t.Fatalf("%v\noptions %+v", err, opts)
			}
			runtime.ReadMemStats(&after)
			if after.TotalAlloc-before.TotalAlloc > 4*most || after.Sys > 2*most {
				t.Errorf("%d MiB asked for", (after.TotalAlloc-before.TotalAlloc)>>20)
			}
			kept += len(r.Sightlines)
			again := opts
			again.Workers = 1 + opts.Workers%3
			other, err := heldSurvey(ctx, again, nil)
			if err != nil {
				t.Fatal(err)
			}
			sameResult(t, "other workers", other, r)
			for i := range r.Sightlines {
				s := &r.Sightlines[i]
				if math.IsNaN(s.CriticalK) || math.IsNaN(s.ChanceLow) || math.IsNaN(s.ChanceHigh) || math.IsNaN(s.MarginArcmin) || s.ChanceLow < 0 || s.ChanceHigh > 1 {
					t.Fatalf("%s to %s, %.3f km: k_c %v, chance %v…%v, margin %v\noptions %+v", s.ObserverID, s.TargetID, s.DistanceM/1000, s.CriticalK, s.ChanceLow, s.ChanceHigh, s.MarginArcmin, opts)
				}
			}
		})
		if t.Failed() {
			break
		}
	}
	t.Logf("%d worlds, %d refused, %d lines kept", count, refused, kept)
	if refused > count/2 || kept < count {
		t.Errorf("%d of %d worlds refused, %d lines kept: the worlds test too little", refused, count, kept)
	}
}
