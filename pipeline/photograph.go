package pipeline

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	_ "image/jpeg" // sizes of JPEG files
	_ "image/png"  // sizes of PNG files
	"io"
	"math"
	"time"

	"github.com/bep/imagemeta"

	"farstation/geodesy"
)

// Photograph is what a picture file says of itself. Nothing of it is trusted: lengths only start a search.
type Photograph struct {
	Path   string `json:"path"`
	SHA256 string `json:"sha256"`
	Bytes  int64  `json:"bytes"`
	Format string `json:"format"`
	// WidthPx and HeightPx are those of the picture as it is stored.
	WidthPx  int `json:"width_px"`
	HeightPx int `json:"height_px"`
	// Taken is the time that EXIF states, as the camera's clock had it, without a zone; "" where it states none.
	Taken string `json:"taken,omitempty"`
	// FocalPx is the focal length in pixels that EXIF gives; 0 where it gives none.
	FocalPx float64 `json:"focal_px_exif,omitempty"`
	// Place is the position that EXIF gives, nil where it gives none.
	Place *geodesy.LatLon `json:"-"`
	// Notes say what was found and what is doubtful of it.
	Notes []string `json:"notes"`
}

// Limits of a picture file.
const (
	mostPhotographBytes = 2 << 30
	mostPhotographPx    = 100_000 // of a side
)

// ReadPhotograph reads size, hash and EXIF of a JPEG or PNG file; its pixels are not decoded. EXIF that cannot be read is a note, a file that
// is no picture an error.
func ReadPhotograph(path string) (Photograph, error) {
	p := Photograph{Path: path, Notes: []string{}}
	fail := func(err error) (Photograph, error) { return p, fmt.Errorf("photograph %s: %w", path, err) }
	file, err := OpenRegular(path)
	if err != nil {
		return fail(err)
	}
	defer file.Close()
	hash := sha256.New()
	if p.Bytes, err = io.Copy(hash, io.LimitReader(file, mostPhotographBytes+1)); err != nil {
		return fail(err)
	}
	if p.Bytes > mostPhotographBytes {
		return fail(fmt.Errorf("more than %d bytes", int64(mostPhotographBytes)))
	}
	p.SHA256 = hex.EncodeToString(hash.Sum(nil))
	if _, err = file.Seek(0, io.SeekStart); err != nil {
		return fail(err)
	}
	config, format, err := image.DecodeConfig(file)
	if err != nil {
		return fail(fmt.Errorf("%w: want a JPEG or PNG file", err))
	}
	p.Format, p.WidthPx, p.HeightPx = format, config.Width, config.Height
	if p.WidthPx < 1 || p.HeightPx < 1 || max(p.WidthPx, p.HeightPx) > mostPhotographPx {
		return fail(fmt.Errorf("%d × %d pixels: want 1…%d a side", p.WidthPx, p.HeightPx, mostPhotographPx))
	}
	if _, err = file.Seek(0, io.SeekStart); err != nil {
		return fail(err)
	}
	p.readEXIF(file)
	return p, nil
}

func (p *Photograph) note(format string, args ...any) {
	p.Notes = append(p.Notes, fmt.Sprintf(format, args...))
}

// readEXIF takes from EXIF what starts a search, and notes the rest.
func (p *Photograph) readEXIF(r io.ReadSeeker) {
	format := imagemeta.JPEG
	if p.Format == "png" {
		format = imagemeta.PNG
	}
	var tags imagemeta.Tags
	_, err := imagemeta.Decode(imagemeta.Options{
		R: r, ImageFormat: format, Sources: imagemeta.EXIF, Timeout: 10 * time.Second,
		ShouldHandleTag: func(imagemeta.TagInfo) bool { return true },
		HandleTag:       func(tag imagemeta.TagInfo) error { tags.Add(tag); return nil },
	})
	exif := tags.EXIF()
	switch {
	case err != nil:
		p.note("EXIF cannot be read: %v", err)
	case len(exif) == 0:
		p.note("no EXIF: time, focal length and position are not known from the file")
		return
	}
	number := func(tag string) float64 { return exifNumber(exif[tag].Value) }
	if text, ok := exif["DateTimeOriginal"].Value.(string); ok && text != "" {
		p.Taken = text
	} else {
		p.note("EXIF states no time of the exposure")
	}
	if turn := number("Orientation"); turn > 1 {
		p.note("EXIF asks for the picture to be turned or mirrored when shown (orientation %.0f): points count on the picture as it is stored", turn)
	}
	if zoom := number("DigitalZoomRatio"); zoom > 1 {
		p.note("EXIF states a digital zoom of %.3g", zoom)
	}
	p.focalFromEXIF(number)
	p.placeFromEXIF(exif, number)
}

// fullFrameDiagonalMM is that of 36 × 24 mm, which 35 mm equivalents refer to (CIPA DCG-001).
var fullFrameDiagonalMM = math.Hypot(36, 24)

// focalFromEXIF finds the focal length in pixels, from the spacing of the sensor's pixels or else from the 35 mm equivalent.
func (p *Photograph) focalFromEXIF(number func(string) float64) {
	width, height := number("ExifImageWidth"), number("ExifImageHeight")
	scale := 1.0
	if width > 0 && height > 0 && (int(width) != p.WidthPx || int(height) != p.HeightPx) {
		long, exifLong := float64(max(p.WidthPx, p.HeightPx)), math.Max(width, height)
		shape := long * math.Min(width, height) / (float64(min(p.WidthPx, p.HeightPx)) * exifLong)
		if math.Abs(shape-1) < 0.005 {
			scale = long / exifLong
			p.note("the picture was resized: EXIF has %.0f × %.0f pixels, the file %d × %d (or it is a crop of the same shape)", width, height, p.WidthPx, p.HeightPx)
		} else {
			p.note("the picture was cropped: EXIF has %.0f × %.0f pixels, the file %d × %d; its centre need not be that of the lens", width, height, p.WidthPx, p.HeightPx)
		}
	}
	if !(width > 0 && height > 0) {
		width, height = float64(p.WidthPx), float64(p.HeightPx)
	}
	unitMM := 25.4
	if number("FocalPlaneResolutionUnit") == 3 {
		unitMM = 10
	}
	mm, equivalentMM, perUnit := number("FocalLength"), number("FocalLengthIn35mmFormat"), number("FocalPlaneXResolution")
	switch {
	case mm > 0 && perUnit > 0:
		p.FocalPx = mm * perUnit / unitMM * scale
	case equivalentMM > 0:
		p.FocalPx = equivalentMM / fullFrameDiagonalMM * math.Hypot(width, height) * scale
	case mm > 0:
		p.note("EXIF states a focal length of %.4g mm but not how large a pixel is", mm)
	default:
		p.note("EXIF states no focal length")
	}
	if !(p.FocalPx >= 10 && p.FocalPx < 1e8) {
		p.FocalPx = 0
	}
}

func (p *Photograph) placeFromEXIF(exif map[string]imagemeta.TagInfo, number func(string) float64) {
	if _, stated := exif["GPSLatitude"]; !stated {
		p.note("EXIF states no position")
		return
	}
	lat, latOK := exifAngleDeg(exif, "GPSLatitude", "N", "S", 90)
	lon, lonOK := exifAngleDeg(exif, "GPSLongitude", "E", "W", 180)
	switch {
	case !latOK || !lonOK:
		p.note("the position in EXIF cannot be read")
	case lat == 0 || lon == 0:
		// The library gives 0 too where it cannot read one of them.
		p.note("the position in EXIF is %.5g, %.5g: a latitude or longitude of 0 is what a receiver without a fix writes; it is not used", lat, lon)
	default:
		p.Place = &geodesy.LatLon{LatDeg: lat, LonDeg: lon}
		p.note("EXIF states a position; how old it was at the exposure is not known")
	}
	if altitudeM := number("GPSAltitude"); altitudeM != 0 {
		p.note("EXIF states an altitude of %.4g m, over the sea or over the ellipsoid: it is not used", altitudeM)
	}
}

// exifAngleDeg is a latitude or longitude, whose sign stands in a tag of its own (CIPA DC-008, GPSLatitudeRef); false where either is not as it
// should be. The library's own function for both takes it that they are.
func exifAngleDeg(exif map[string]imagemeta.TagInfo, tag, positive, negative string, mostDeg float64) (deg float64, ok bool) {
	deg, ok = exif[tag].Value.(float64)
	if !ok || !(deg >= 0 && deg <= mostDeg) {
		return 0, false
	}
	switch exif[tag+"Ref"].Value {
	case positive:
		return deg, true
	case negative:
		return -deg, true
	}
	return 0, false
}

// exifNumber is the number that a tag holds; 0 for none.
func exifNumber(v any) float64 {
	switch v := v.(type) {
	case interface{ Float64() float64 }:
		if f := v.Float64(); !math.IsNaN(f) && !math.IsInf(f, 0) {
			return f
		}
	case float64:
		return v
	case float32:
		return float64(v)
	case uint8:
		return float64(v)
	case uint16:
		return float64(v)
	case uint32:
		return float64(v)
	case int:
		return float64(v)
	case int32:
		return float64(v)
	}
	return 0
}
