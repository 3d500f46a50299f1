package pipeline

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// CaseForm names the layout of a case's record.
const CaseForm = "farstation case 1"

// CaseFile is the record's file in the folder of a case.
const CaseFile = "case.json"

// CaseRecord is all that a weighing started from, so that it can be done again when heights, terrain or the program have changed. Its file is JSON; paths
// of photographs, points and prediction are within the case's folder, those of features and terrain as they were given.
type CaseRecord struct {
	Form        string         `json:"form"`
	Version     string         `json:"farstation_version"`
	Photos      []CaseInput    `json:"photos"`
	Points      []CaseInput    `json:"points"`
	Prediction  string         `json:"prediction,omitempty"`
	Cameras     []CaseCamera   `json:"cameras"`
	CameraSDM   float64        `json:"camera_sd_m"`
	FocalPx     float64        `json:"focal_px"`
	FocalSD     float64        `json:"focal_sd"`
	Tried       int            `json:"photographs_tried"`
	Parameters  map[string]any `json:"parameters"`
	Inputs      []Input        `json:"inputs"`
	LicenceNote string         `json:"licence_note,omitempty"`
	Targets     []ClaimFeature `json:"targets"`
	EyeHeightsM []float64      `json:"eye_heights_m"` // by station, over the geoid
	// Ground is the SHA-256 of the ground on the way to each target, by observer and target, for telling whether it changed.
	Ground  map[string]string `json:"ground_sha256"`
	Verdict CaseVerdict       `json:"verdict"`

	// Profiles are the ground itself.
	Profiles []Profile `json:"-"`
}

// CaseInput is a file within the folder of a case.
type CaseInput struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	// Source is the path that it was copied from, as it was given; it is not written.
	Source string `json:"-"`
}

// CaseCamera is where a lens was; EyeHeightM is null where the terrain tells it.
type CaseCamera struct {
	LatitudeDeg  float64  `json:"latitude_deg"`
	LongitudeDeg float64  `json:"longitude_deg"`
	EyeHeightM   *float64 `json:"eye_height_m"`
}

// CaseVerdict is what is compared when a case is weighed again.
type CaseVerdict struct {
	Outcome  string   `json:"outcome"`
	Decides  bool     `json:"decides"`
	Strength string   `json:"strength"`
	K        *float64 `json:"k"`
	KSD      *float64 `json:"k_sd"`
	PlaneSD  *float64 `json:"plane_sd"`
}

// same tells whether two verdicts say the same thing, whatever their decimals.
func (v CaseVerdict) same(w CaseVerdict) bool {
	return v.Outcome == w.Outcome && v.Decides == w.Decides && v.Strength == w.Strength
}

func verdictOfWeighing(w *Weighing) CaseVerdict {
	return CaseVerdict{Outcome: w.Outcome, Decides: w.Decides, Strength: w.Strength, K: w.K, KSD: w.KSD, PlaneSD: w.PlaneSD}
}

// record makes the record of a weighing.
func (s *Scene) record(w *Weighing) (*CaseRecord, error) {
	o := &s.opts
	parameters, err := o.parameters()
	if err != nil {
		return nil, err
	}
	c := &CaseRecord{Form: CaseForm, Version: Version, CameraSDM: o.CameraSDM, FocalPx: o.FocalPx, FocalSD: o.FocalSD, Tried: o.Tried, Parameters: parameters, Inputs: append([]Input{}, s.world.Inputs...),
		Ground: map[string]string{}, Cameras: []CaseCamera{}, Verdict: verdictOfWeighing(w)}
	for i, photo := range s.Photos {
		c.Photos = append(c.Photos, CaseInput{caseName(i, photo.Path), photo.SHA256, photo.Path})
		sum, err := hashFile(o.PointFiles[i])
		if err != nil {
			return nil, fmt.Errorf("points %s: %w", o.PointFiles[i], err)
		}
		c.Points = append(c.Points, CaseInput{caseName(i, o.PointFiles[i]), sum, o.PointFiles[i]})
	}
	if o.Prediction != "" {
		c.Prediction = "claim.json"
	}
	for _, at := range o.Cameras {
		of := CaseCamera{LatitudeDeg: at.At.LatDeg, LongitudeDeg: at.At.LonDeg}
		if !math.IsNaN(at.EyeHeightM) {
			of.EyeHeightM = pointer(at.EyeHeightM)
		}
		c.Cameras = append(c.Cameras, of)
	}
	for i := range s.Targets {
		row := featureRow(&s.Targets[i], s.world.Geoid.UndulationM(s.Targets[i].At))
		claimed, err := (&ClaimRun{Features: map[string]FeatureRow{row.FeatureID: row}}).feature(row.FeatureID)
		if err != nil {
			return nil, err
		}
		c.Targets = append(c.Targets, claimed)
	}
	for i := range s.stations {
		c.EyeHeightsM = append(c.EyeHeightsM, s.stations[i].EyeHeightM-s.world.Geoid.UndulationM(s.stations[i].Place))
	}
	for station := range s.stations {
		for target := range s.Targets {
			if line := s.lines[[2]int{station, target}]; line != nil {
				profile := line.Profile
				profile.ObserverID = fmt.Sprintf("camera %d", station+1)
				c.Profiles = append(c.Profiles, profile)
				c.Ground[profile.ObserverID+">"+profile.TargetID] = hashProfile(&profile)
			}
		}
	}
	used := map[string]bool{}
	for _, p := range c.Profiles {
		for _, sample := range p.Samples {
			used[sample.Source] = true
		}
	}
	for _, file := range s.world.Index.Files() {
		if !used[file.Path] && !used[filepath.Base(file.Path)] {
			continue
		}
		sum, err := hashFile(file.Path)
		if err != nil {
			return nil, fmt.Errorf("terrain %s: %w", file.Path, err)
		}
		c.Inputs = append(c.Inputs, Input{Path: file.Path, Bytes: file.Bytes, SHA256: sum, Format: file.Format, Licence: file.Source.Licence, Attribution: file.Source.Attribution, Rows: 1, Used: 1})
	}
	c.LicenceNote = licenceNote(c.Inputs)
	return c, nil
}

// caseName is the name of a file within a case: numbered, so that two of one name do not meet.
func caseName(i int, path string) string {
	return fmt.Sprintf("%d-%s", i+1, filepath.Base(path))
}

func hashProfile(p *Profile) string {
	h := sha256.New()
	for _, sample := range p.Samples {
		fmt.Fprintf(h, "%.3f %.3f %v\n", sample.DistanceM, sample.GroundM, sample.Missing)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// mostCaseBytes bounds the record of a case.
const mostCaseBytes = 256 << 20

// ReadCase reads the record of a case and checks that its files are what they were.
func ReadCase(dir string) (*CaseRecord, error) {
	if err := regular(filepath.Join(dir, CaseFile)); err != nil {
		return nil, fmt.Errorf("case: %w", err)
	}
	text, err := ReadRegular(filepath.Join(dir, CaseFile), mostCaseBytes)
	if err != nil {
		return nil, fmt.Errorf("case %s: %s: %w", dir, CaseFile, err)
	}
	var c CaseRecord
	if err := json.Unmarshal(text, &c); err != nil {
		return nil, fmt.Errorf("case %s: is no record of a case: %w", dir, err)
	}
	if c.Form != CaseForm {
		return nil, fmt.Errorf("case %s: its form is %q, want %q", dir, c.Form, CaseForm)
	}
	if len(c.Photos) != len(c.Points) || len(c.Photos) == 0 {
		return nil, fmt.Errorf("case %s: %d photographs and %d tables of points", dir, len(c.Photos), len(c.Points))
	}
	for _, in := range slices.Concat(c.Photos, c.Points) {
		if !filepath.IsLocal(in.File) || in.File != filepath.Base(in.File) {
			return nil, fmt.Errorf("case %s: file %q leads out of the folder", dir, in.File)
		}
		if err := regular(filepath.Join(dir, in.File)); err != nil {
			return nil, fmt.Errorf("case: %w", err)
		}
		sum, err := hashFile(filepath.Join(dir, in.File))
		if err != nil {
			return nil, fmt.Errorf("case: %w", err)
		}
		if sum != in.SHA256 {
			return nil, fmt.Errorf("case %s: %s was changed: it has the SHA-256 %s, the record states %s", dir, in.File, sum, in.SHA256)
		}
	}
	if c.Prediction != "" {
		if !filepath.IsLocal(c.Prediction) || c.Prediction != filepath.Base(c.Prediction) {
			return nil, fmt.Errorf("case %s: prediction %q leads out of the folder", dir, c.Prediction)
		}
		if err := regular(filepath.Join(dir, c.Prediction)); err != nil {
			return nil, fmt.Errorf("case: %w", err)
		}
	}
	return &c, nil
}

// regular refuses what is no file of its own in the folder of a case: links lead out of it, and pipes and devices may have no end.
func regular(path string) error {
	info, err := os.Lstat(path)
	if err != nil {
		return err
	}
	if !info.Mode().IsRegular() {
		return fmt.Errorf("%s is no regular file: copy it into the folder of the case", path)
	}
	return nil
}

// options are what a case is weighed with again.
func (c *CaseRecord) options(dir string) (PhotographOptions, error) {
	opts := PhotographOptions{Options: DefaultOptions(), CameraSDM: c.CameraSDM, FocalPx: c.FocalPx, FocalSD: c.FocalSD, Tried: c.Tried}
	text, err := json.Marshal(c.Parameters)
	if err == nil {
		err = json.Unmarshal(text, &opts.Options)
	}
	if err != nil {
		return opts, fmt.Errorf("case %s: parameters: %w", dir, err)
	}
	for i := range c.Photos {
		opts.Photos, opts.PointFiles = append(opts.Photos, filepath.Join(dir, c.Photos[i].File)), append(opts.PointFiles, filepath.Join(dir, c.Points[i].File))
	}
	for _, at := range c.Cameras {
		place := CameraPlace{At: geodesy.LatLon{LatDeg: at.LatitudeDeg, LonDeg: at.LongitudeDeg}, EyeHeightM: math.NaN()}
		if at.EyeHeightM != nil {
			place.EyeHeightM = *at.EyeHeightM
		}
		opts.Cameras = append(opts.Cameras, place)
	}
	if c.Prediction != "" {
		opts.Prediction = filepath.Join(dir, c.Prediction)
	}
	opts.Workers = 1
	return opts, nil
}

// CaseRefit is a case that was weighed again.
type CaseRefit struct {
	Case    string      `json:"case"`
	Before  CaseVerdict `json:"before"`
	After   CaseVerdict `json:"after"`
	Changed bool        `json:"changed"`
	// Causes are what changed since the case was recorded and may have done it.
	Causes []string `json:"causes"`
	// Problem says why the case could not be weighed again; "" where it was.
	Problem string `json:"problem,omitempty"`
}

// RefitCases weighs every case in the folders below dir again, with the features and terrain of the record unless others are given. A case that cannot be
// weighed is told, not an error; no case at all is one.
func RefitCases(ctx context.Context, dir string, features []string, sources []terrain.Source) ([]CaseRefit, error) {
	var folders []string
	err := filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if !entry.IsDir() && entry.Name() == CaseFile {
			folders = append(folders, filepath.Dir(path))
		}
		return ctx.Err()
	})
	if err != nil {
		return nil, fmt.Errorf("cases %s: %w", dir, err)
	}
	if len(folders) == 0 {
		return nil, fmt.Errorf("cases %s: no case below this folder: weigh --out writes one", dir)
	}
	refits := []CaseRefit{}
	for _, folder := range folders {
		refit, err := refitCase(ctx, folder, features, sources)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if err != nil {
			refit.Problem = err.Error()
		}
		refits = append(refits, refit)
	}
	return refits, nil
}

func refitCase(ctx context.Context, folder string, features []string, sources []terrain.Source) (CaseRefit, error) {
	refit := CaseRefit{Case: folder, Causes: []string{}}
	record, err := ReadCase(folder)
	if err != nil {
		return refit, err
	}
	refit.Before = record.Verdict
	opts, err := record.options(folder)
	if err != nil {
		return refit, err
	}
	if len(features) > 0 {
		opts.Features, opts.FeatureTerms = features, nil
	}
	if len(sources) > 0 {
		opts.Terrain = sources
	}
	w, err := Weigh(ctx, opts)
	if err != nil {
		return refit, err
	}
	refit.After = w.Record.Verdict
	refit.Changed = !refit.After.same(refit.Before)
	refit.Causes = caseCauses(record, w.Record)
	return refit, nil
}

// caseCauses tells what differs between two records of one case.
func caseCauses(before, after *CaseRecord) []string {
	causes := []string{}
	say := func(format string, args ...any) { causes = append(causes, fmt.Sprintf(format, args...)) }
	if before.Version != after.Version {
		say("the program is %s, it was %s", after.Version, before.Version)
	}
	for _, was := range before.Targets {
		i := slices.IndexFunc(after.Targets, func(f ClaimFeature) bool { return f.ID == was.ID })
		if i < 0 {
			say("%s (%s) is not used any more", was.Name, was.ID)
			continue
		}
		is := after.Targets[i]
		if d := is.GroundHeightM - was.GroundHeightM; math.Abs(d) >= 0.05 {
			say("the ground of %s is %.1f m high, it was %.1f m", is.Name, is.GroundHeightM, was.GroundHeightM)
		}
		if d := is.StructureHeightM - was.StructureHeightM; math.Abs(d) >= 0.05 {
			say("the structure of %s is %.1f m high, it was %.1f m", is.Name, is.StructureHeightM, was.StructureHeightM)
		}
		if is.GroundHeightSDM != was.GroundHeightSDM || is.PositionSDM != was.PositionSDM {
			say("%s is known to %.1f m in height and %.1f m in place, it was %.1f m and %.1f m", is.Name, is.GroundHeightSDM, is.PositionSDM, was.GroundHeightSDM, was.PositionSDM)
		}
		apartM := geodesy.WGS84.Inverse(geodesy.LatLon{LatDeg: was.LatitudeDeg, LonDeg: was.LongitudeDeg}, geodesy.LatLon{LatDeg: is.LatitudeDeg, LonDeg: is.LongitudeDeg}).DistanceM
		if apartM >= 0.5 {
			say("%s lies %.0f m from where it was", is.Name, apartM)
		}
	}
	for _, is := range after.Targets {
		if !slices.ContainsFunc(before.Targets, func(f ClaimFeature) bool { return f.ID == is.ID }) {
			say("%s (%s) is new", is.Name, is.ID)
		}
	}
	for i := range min(len(before.EyeHeightsM), len(after.EyeHeightsM)) {
		if d := after.EyeHeightsM[i] - before.EyeHeightsM[i]; math.Abs(d) >= 0.05 {
			say("the eye of camera %d is %.1f m high, it was %.1f m", i+1, after.EyeHeightsM[i], before.EyeHeightsM[i])
		}
	}
	changed := 0
	for key, was := range before.Ground {
		if is, known := after.Ground[key]; known && is != was {
			changed++
		}
	}
	if changed > 0 {
		say("the ground on the way to %d of %d targets is another", changed, len(before.Ground))
	}
	if len(before.Ground) == 0 && len(after.Ground) > 0 {
		say("there is terrain, there was none")
	}
	if len(before.Ground) > 0 && len(after.Ground) == 0 {
		say("there is no terrain, there was")
	}
	return causes
}

// CaseFeatures is the gazetteer of a case: its targets as they were used, as a CSV that --features reads.
func (c *CaseRecord) CaseFeatures() string {
	var b strings.Builder
	b.WriteString("id,name,kind,latitude_deg,longitude_deg,ground_height_m,structure_height_m,ground_height_sd_m,structure_height_sd_m,position_sd_m\n")
	for _, f := range c.Targets {
		fmt.Fprintf(&b, "%s,%s,%s,%.9f,%.9f,%.3f,%.3f,%.3f,%.3f,%.3f\n", csvText(f.ID), csvText(f.Name), f.Kind, f.LatitudeDeg, f.LongitudeDeg, f.GroundHeightM, f.StructureHeightM,
			f.GroundHeightSDM, f.StructureHeightSDM, f.PositionSDM)
	}
	return b.String()
}

func csvText(s string) string {
	if strings.ContainsAny(s, ",\"\n\r") {
		return `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
	}
	return s
}
