package pipeline

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"os"

	"farstation/geodesy/light"
)

// formatSounding is the format of a sounding among a run's inputs.
const formatSounding = "sounding"

// mostSoundingBytes bounds a sounding's file.
const mostSoundingBytes = 8 << 20

// sounding is the layered air of a file.
type sounding struct {
	profile *light.Profile
	notes   []string
	bytes   int64
	rows    int
	// greatestK is that of any height.
	greatestK float64
}

// ErrAirChanged marks a sounding that is not the one that a run was made with.
var ErrAirChanged = errors.New("the sounding was changed")

// airIsFile tells whether the air is neither of the built-in kinds, so that it names a file.
func (o *Options) airIsFile() bool { return o.Air != AirConstant && o.Air != AirStandard }

// LoadAir reads the sounding that Air names, if it names one, and keeps its hash; where the hash is there already, the file must have it. It must be called
// before anything is computed.
func (o *Options) LoadAir() error {
	if !o.airIsFile() || o.sounding != nil {
		return nil
	}
	fail := func(err error) error {
		return fmt.Errorf("air %s: %w: want %s, %s, or a sounding as CSV", o.Air, err, AirConstant, AirStandard)
	}
	content, err := ReadRegular(o.Air, mostSoundingBytes)
	if err != nil {
		return fail(err)
	}
	sum := sha256.Sum256(content)
	hash := hex.EncodeToString(sum[:])
	if o.AirSHA256 != "" && o.AirSHA256 != hash {
		return fmt.Errorf("air %s: %w since the run: it has the SHA-256 %s, the run %s", o.Air, ErrAirChanged, hash, o.AirSHA256)
	}
	table, err := light.ReadSounding(bytes.NewReader(content))
	if err != nil {
		return fail(err)
	}
	profile, err := table.Profile(light.GreenUM)
	if err != nil {
		return fail(err)
	}
	s := &sounding{profile: profile, notes: table.Notes, bytes: int64(len(content)), rows: len(table.Levels)}
	if table.Levels[0].PressureHPa == 0 {
		s.notes = append(s.notes, "no pressure is given: that of the standard atmosphere at the lowest level is assumed, which moves k by 4 % at most")
	}
	s.greatestK = math.Inf(-1)
	for h := float64(lowestSoughtM); h <= highestSoughtM; h += soughtStepM {
		s.greatestK = math.Max(s.greatestK, profile.KAt(h))
	}
	for _, layer := range profile.NamedLayers() { // thinner ones are not passed over
		s.greatestK = math.Max(s.greatestK, layer.K)
	}
	o.sounding, o.AirSHA256 = s, hash
	return nil
}

// pathError is what went wrong with a path, without the path.
func pathError(err error) error {
	var failed *os.PathError
	if errors.As(err, &failed) {
		return failed.Err
	}
	return err
}

// soundingInput describes the sounding for the manifest.
func (o *Options) soundingInput() Input {
	return Input{Path: o.Air, Bytes: o.sounding.bytes, SHA256: o.AirSHA256, Format: formatSounding, Licence: "as its publisher states", Rows: o.sounding.rows, Used: o.sounding.rows}
}

// AirNotes say what was assumed of a sounding, which of its layers are unusual, and where lines leave it; nil for built-in air.
func (o *Options) AirNotes() []string {
	if o.sounding == nil {
		return nil
	}
	notes := append([]string{}, o.sounding.notes...)
	lowestM, highestM := o.sounding.profile.GivenM()
	notes = append(notes, fmt.Sprintf("the sounding reaches from %.0f to %.0f m; beyond it air changes as in the standard atmosphere", lowestM, highestM))
	for _, layer := range o.sounding.profile.NamedLayers() {
		notes = append(notes, fmt.Sprintf("from %.0f to %.0f m: %s, k = %.2f", layer.BottomM, layer.TopM, layer.Name, layer.K))
	}
	return notes
}

// The heights over the sea within which the greatest k of a sounding is sought, and how far apart, in metres.
const (
	lowestSoughtM  = -500
	highestSoughtM = 9500
	soughtStepM    = 10
)

// airCap is the greatest k that goes into the mean of a line: candidates are found by it, and a ray that a duct holds has no horizon. Layers beyond it make a
// doubt.
func (o *Options) airCap() float64 { return 0.98 - keepSpreads*o.KSD }

// kAt is the refraction coefficient of free air by height over the sea, and whether the air there could catch light.
func (o *Options) kAt(heightM float64) (k float64, ducts bool) {
	if o.sounding == nil {
		return light.StandardK(heightM), false
	}
	k = o.sounding.profile.KAt(heightM)
	return math.Min(k, o.airCap()), k >= 1
}
