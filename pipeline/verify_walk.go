package pipeline

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"farstation/gazetteer"
	"farstation/geodesy"
	"farstation/geodesy/geoid"
	"farstation/geodesy/terrain"
)

// walkTolerance is how far, relative to numbers above 1, a number computed again may lie from the one written: processors differ in the last
// digits, and some columns magnify that.
const walkTolerance = 1e-7

// The tolerances of the second formulation. Euler's radius of the middle stands for the whole line in elevation_deg (0.9″ at 450 km, 2.3″ at 530 km: it grows with the cube of the distance, and so does the tolerance from 300 km on). The lift of a
// ray is that of level lines: it errs with the square of the angle between a ray and the level.
const (
	twinDistanceM    = 0.001
	twinAzimuthDeg   = 1e-8
	twinRadiusM      = 0.01
	twinElevArcmin   = 0.025
	twinMarginArcmin = 0.01
	twinMarginShare  = 0.001
	twinK            = 0.001 // of numbers above 1
	twinKSteep       = 2.0   // times k and the square of the angle
	twinGroundM      = 0.02  // what ground between samples may add
)

// recompute computes a sample of sightlines again. ground says why that cannot be done, nil where it can.
func (v *verification) recompute(ctx context.Context, tables *Tables, sample int, ground error) ([]Finding, error) {
	const walkTitle, twinTitle = "sampled sightlines are those of the plain walk", "sampled sightlines are those of a second formulation of the geometry"
	same := func(note string, err error) []Finding {
		return []Finding{NewFinding(walkTitle, note, err), NewFinding(twinTitle, note, err)}
	}
	switch {
	case sample == 0:
		return same("", fmt.Errorf("%w: no row was asked for", ErrSkipped)), nil
	case ground != nil:
		return same("", ground), nil
	case v.manifest.Version != Version:
		return same("", fmt.Errorf("%w: the run is of version %s, this is %s", ErrSkipped, v.manifest.Version, Version)), nil
	}
	world, err := v.world()
	if err != nil {
		return same("", err), nil
	}
	rows, err := sampleRows(ctx, tables, sample, v.counts.Kept)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil {
		return same("", err), nil
	}
	opts := v.opts
	opts.KeepAll = true // walk to the end
	tracer := NewTracer(opts, world.Store, world.Geoid)
	tracer.highestM = world.highestGroundM()
	var walkErr, twinErr error
	exact, looked := 0, 0
	for i := range rows {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		row := &rows[i]
		name := row.ObserverID + " → " + row.TargetID
		observer, known := v.index[row.ObserverID]
		target, knownTarget := v.index[row.TargetID]
		if !known || !knownTarget {
			walkErr = errors.Join(walkErr, fmt.Errorf("%s: an end is not in features.parquet", name))
			continue
		}
		toTheBit, err := againstWalk(tracer, row, &v.features[observer], &v.features[target])
		if err != nil {
			walkErr = errors.Join(walkErr, fmt.Errorf("%s: %w", name, err))
		}
		if toTheBit {
			exact++
		}
		whole, err := againstTwin(world, row, &opts)
		if err != nil {
			twinErr = errors.Join(twinErr, fmt.Errorf("%s: %w", name, err))
		}
		if whole {
			looked++
		}
	}
	return []Finding{
		NewFinding(walkTitle, fmt.Sprintf("%d rows, %d equal to the bit, the rest to %g", len(rows), exact, walkTolerance), oneLine(walkErr)),
		NewFinding(twinTitle, fmt.Sprintf("%d rows: distance and azimuths, elevations; on the %d without a gap in the terrain critical_k and margins", len(rows), looked), oneLine(twinErr)),
	}, nil
}

// oneLine puts joined errors on one line.
func oneLine(err error) error {
	if err == nil {
		return nil
	}
	return errors.New(strings.ReplaceAll(err.Error(), "\n", "; "))
}

// world is the terrain of the run, with its features as they stand in the table.
func (v *verification) world() (*World, error) {
	index, err := terrain.Discover(v.opts.Terrain)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrSkipped, err)
	}
	said := map[string]bool{}
	for _, in := range v.manifest.Inputs {
		said[in.Path] = true
	}
	for _, ref := range index.Files() {
		if !said[ref.Path] {
			return nil, fmt.Errorf("%w: terrain %s was not there when the run was made", ErrSkipped, ref.Path)
		}
	}
	grid, err := geoid.EGM96()
	if err != nil {
		return nil, err
	}
	// Features without a usable height are in no table, yet told that their cells hold land: run.json names those.
	hint := landHint(v.features, index)
	return &World{Features: v.features, Index: index, Geoid: grid, Store: terrain.NewStore(index, terrain.StoreOptions{
		MemoryBytes: v.opts.MemoryBytes, Strict: v.opts.Strict, LandHint: func(latDeg, lonDeg int) bool {
			return hint(latDeg, lonDeg) || slices.Contains(v.manifest.Terrain.MissingLandCells, cellName(latDeg, lonDeg))
		},
	})}, nil
}

// sampleRows returns up to n rows, the middles of equal parts of the table.
func sampleRows(ctx context.Context, tables *Tables, n, of int) ([]Sightline, error) {
	var rows []Sightline
	n = min(n, of)
	i := 0
	for row, err := range tables.Sightlines {
		if err != nil {
			return nil, err
		}
		if len(rows) == n || ctx.Err() != nil {
			break
		}
		if i == (2*len(rows)+1)*of/(2*n) {
			rows = append(rows, *row)
		}
		i++
	}
	return rows, nil
}

// againstWalk traces a row again and compares every column that one line decides by itself.
func againstWalk(tracer *Tracer, row *Sightline, observer, target *gazetteer.Feature) (exact bool, err error) {
	trace, err := tracer.Trace(observer, target, true)
	if err != nil {
		return false, err
	}
	again := trace.Row
	gates(&again, observer, target)
	// What other lines decide too is held against the tables.
	passOver := func(column string) bool {
		return strings.HasPrefix(column, "score_") || slices.Contains([]string{"rank", "alike_count", "alignment_count", "best_alignment_near_id"}, column) ||
			column == "evidence_sd" && row.AlignmentCount > 0 // that of the best alignment
	}
	if off := compareColumns(row, &again, walkTolerance, passOver); len(off) > 0 {
		return false, fmt.Errorf("%s is %s, the walk gives %s", off[0].Column, off[0].Is, off[0].Other)
	}
	return len(compareColumns(row, &again, 0, passOver)) == 0, nil
}

// againstTwin compares a row with the second formulation; whole tells whether the ground of all the line was known.
func againstTwin(world *World, row *Sightline, opts *Options) (whole bool, err error) {
	undulation := func(latDeg, lonDeg float64) float64 {
		return world.Geoid.UndulationM(geodesy.LatLon{LatDeg: latDeg, LonDeg: lonDeg})
	}
	t, err := newTwin(row, undulation(row.ObserverLatDeg, row.ObserverLonDeg), undulation(row.TargetLatDeg, row.TargetLonDeg))
	if err != nil {
		return false, err
	}
	var off []string
	hold := func(column string, is, twin, tolerance float64) {
		if !(math.Abs(is-twin) <= tolerance) {
			off = append(off, fmt.Sprintf("%s is %v, the second formulation gives %v (± %.2g)", column, is, twin, tolerance))
		}
	}
	turn := func(deg, near float64) float64 { return near + math.Remainder(deg-near, 360) }
	hold("distance_m", row.DistanceM, t.arc.distanceM, twinDistanceM)
	hold("azimuth_deg", row.AzimuthDeg, turn(t.arc.azimuthRad/radPerDeg, row.AzimuthDeg), twinAzimuthDeg)
	hold("back_azimuth_deg", row.BackAzimuthDeg, turn(t.arc.endAzimuthRad/radPerDeg+180, row.BackAzimuthDeg), twinAzimuthDeg)
	hold("radius_m", row.RadiusM, t.radiusM, twinRadiusM)
	if opts.Air == AirConstant { // air by height has another k for the elevation than for the grazing point, which no column states
		hold("elevation_deg", row.ElevationDeg, t.elevation(t.top)/radPerDeg, twinElevArcmin/60*math.Max(1, math.Pow(row.DistanceM/300_000, 3)))
	}
	view, whole := t.look(func(at geodesy.LatLon) (float64, float64, bool) {
		groundM, known := world.Store.HeightM(at)
		if world.Store.State(int(math.Floor(at.LatDeg)), int(math.Floor(at.LonDeg))) == terrain.Sea {
			groundM = opts.SeaLevelM
		}
		return groundM, world.Geoid.UndulationM(at), known
	}, opts.GuardM)
	if whole && row.TerrainCoverage == 1 {
		k := math.Abs(view.criticalK)
		steep := math.Abs(row.TopHeightM-row.EyeHeightM)/row.DistanceM + k*row.DistanceM/(2*row.RadiusM)
		hold("critical_k", row.CriticalK, view.criticalK, twinK*math.Max(1, k)+twinKSteep*k*steep*steep+math.Abs(twinGroundM/groundOff(1, view.criticalAtM, row)))
		hold("margin_arcmin", row.MarginArcmin, view.marginArcmin, twinMarginArcmin+twinMarginShare*math.Abs(view.marginArcmin))
		hold("margin_plane_arcmin", row.MarginPlaneArcmin, view.marginPlaneArcmin, twinMarginArcmin+twinMarginShare*math.Abs(view.marginPlaneArcmin))
	}
	if len(off) > 0 {
		return whole, errors.New(off[0])
	}
	return whole, nil
}
