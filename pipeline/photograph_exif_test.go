package pipeline

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// exifEntry is one entry of a directory: text, or unsigned numbers of 2 or 4 bytes, or rationals.
type exifEntry struct {
	tag, kind uint16
	values    []uint32 // rationals: numerator, denominator, …
	text      string
}

const (
	exifText     = 2
	exifShort    = 3
	exifLong     = 4
	exifRational = 5
)

// exifSegment is the APP1 segment of the Exif standard (JEITA CP-3451, section 4.5.4), with directories for the picture, Exif and GPS.
func exifSegment(main, exif, gps []exifEntry) []byte {
	sizeOf := func(entries []exifEntry) int { return 2 + 12*len(entries) + 4 }
	main = append(main, exifEntry{tag: 0x8769, kind: exifLong, values: []uint32{0}}, exifEntry{tag: 0x8825, kind: exifLong, values: []uint32{0}})
	mainAt := 8
	exifAt := mainAt + sizeOf(main)
	gpsAt := exifAt + sizeOf(exif)
	dataAt := gpsAt + sizeOf(gps)
	main[len(main)-2].values[0], main[len(main)-1].values[0] = uint32(exifAt), uint32(gpsAt)
	head, data := []byte("MM\x00*\x00\x00\x00\x08"), []byte{}
	be := binary.BigEndian
	for _, entries := range [][]exifEntry{main, exif, gps} {
		head = be.AppendUint16(head, uint16(len(entries)))
		for _, e := range entries {
			var value []byte
			n := len(e.values)
			switch e.kind {
			case exifText:
				value, n = append([]byte(e.text), 0), len(e.text)+1
			case exifShort:
				for _, v := range e.values {
					value = be.AppendUint16(value, uint16(v))
				}
			default:
				for _, v := range e.values {
					value = be.AppendUint32(value, v)
				}
			}
			if e.kind == exifRational {
				n /= 2
			}
			head = be.AppendUint32(be.AppendUint16(be.AppendUint16(head, e.tag), e.kind), uint32(n))
			if len(value) > 4 {
				head = be.AppendUint32(head, uint32(dataAt+len(data)))
				data = append(data, value...)
			} else {
				head = append(head, append(value, 0, 0, 0, 0)[:4]...)
			}
		}
		head = be.AppendUint32(head, 0)
	}
	body := append([]byte("Exif\x00\x00"), append(head, data...)...)
	return append(be.AppendUint16([]byte{0xff, 0xe1}, uint16(len(body)+2)), body...)
}

func TestReadPhotograph(t *testing.T) {
	dir := t.TempDir()
	var plainJPEG, plainPNG bytes.Buffer
	picture := image.NewGray(image.Rect(0, 0, 600, 400))
	if err := jpeg.Encode(&plainJPEG, picture, nil); err != nil {
		t.Fatal(err)
	}
	if err := png.Encode(&plainPNG, picture); err != nil {
		t.Fatal(err)
	}
	withEXIF := func(main, exif, gps []exifEntry) []byte {
		b := plainJPEG.Bytes()
		return append(append(bytes.Clone(b[:2]), exifSegment(main, exif, gps)...), b[2:]...)
	}
	time := exifEntry{tag: 0x9003, kind: exifText, text: "2026:03:01 17:45:12"}
	size := func(w, h uint32) []exifEntry {
		return []exifEntry{{tag: 0xa002, kind: exifLong, values: []uint32{w}}, {tag: 0xa003, kind: exifLong, values: []uint32{h}}}
	}
	equivalent := exifEntry{tag: 0xa405, kind: exifShort, values: []uint32{600}}
	position := func(lat, lon uint32) []exifEntry {
		return []exifEntry{
			{tag: 1, kind: exifText, text: "S"}, {tag: 2, kind: exifRational, values: []uint32{lat, 1, 24, 1, 0, 1}},
			{tag: 3, kind: exifText, text: "W"}, {tag: 4, kind: exifRational, values: []uint32{lon, 1, 42, 1, 0, 1}}, {tag: 6, kind: exifRational, values: []uint32{642, 1}},
		}
	}
	// A 35 mm equivalent refers to the diagonal of 36 × 24 mm, 43.27 mm (CIPA DCG-001): 600 mm on 600 × 400 pixels are 10,000 px.
	const wantPx = 10_000
	for _, test := range []struct {
		name    string
		content []byte
		focalPx float64
		lat     float64
		notes   []string
	}{
		{"no EXIF", plainJPEG.Bytes(), 0, 0, []string{"no EXIF"}},
		{"PNG", plainPNG.Bytes(), 0, 0, []string{"no EXIF"}},
		{"35 mm equivalent, position", withEXIF(nil, append(size(600, 400), time, equivalent), position(32, 123)), wantPx, -32.4, []string{"EXIF states a position; how old", "an altitude of 642 m"}},
		{"resized to a half", withEXIF(nil, append(size(1200, 800), time, equivalent), nil), wantPx, 0, []string{"was resized", "no position"}},
		{"cropped", withEXIF(nil, append(size(1200, 400), time, equivalent), nil), 600 / math.Hypot(36, 24) * math.Hypot(1200, 400), 0, []string{"was cropped"}},
		{"spacing of pixels", withEXIF(nil, append(size(600, 400), time, exifEntry{tag: 0x920a, kind: exifRational, values: []uint32{400, 1}}, exifEntry{tag: 0xa20e, kind: exifRational, values: []uint32{254, 1}},
			exifEntry{tag: 0xa210, kind: exifShort, values: []uint32{2}}), nil), 4000, 0, nil}, // 254 pixels an inch are 10 a millimetre
		{"focal length alone", withEXIF(nil, []exifEntry{{tag: 0x920a, kind: exifRational, values: []uint32{400, 1}}}, nil), 0, 0, []string{"not how large a pixel is", "no time"}},
		{"turned", withEXIF([]exifEntry{{tag: 0x0112, kind: exifShort, values: []uint32{3}}}, []exifEntry{time}, nil), 0, 0, []string{"orientation 3", "no focal length"}},
		{"receiver without a fix", withEXIF(nil, []exifEntry{time}, []exifEntry{{tag: 1, kind: exifText, text: "N"}, {tag: 2, kind: exifRational, values: []uint32{0, 1, 0, 1, 0, 1}},
			{tag: 3, kind: exifText, text: "E"}, {tag: 4, kind: exifRational, values: []uint32{0, 1, 0, 1, 0, 1}}}), 0, 0, []string{"0, 0: a latitude or longitude of 0 is what a receiver without a fix writes"}},
		{"which hemisphere is not stated", withEXIF(nil, []exifEntry{time}, position(32, 123)[1:]), 0, 0, []string{"the position in EXIF cannot be read"}},
		{"a hemisphere that is a number", withEXIF(nil, []exifEntry{time}, append(position(32, 123)[1:], exifEntry{tag: 1, kind: exifLong, values: []uint32{83}})), 0, 0, []string{"the position in EXIF cannot be read"}},
		{"latitude 95", withEXIF(nil, []exifEntry{time}, position(95, 123)), 0, 0, []string{"the position in EXIF cannot be read"}},
		{"latitude of one number", withEXIF(nil, []exifEntry{time}, append([]exifEntry{{tag: 2, kind: exifRational, values: []uint32{32, 1}}}, append(position(32, 123)[:1], position(32, 123)[2:]...)...)), 0, 0, []string{"a latitude or longitude of 0"}},
		{"latitude over nothing", withEXIF(nil, []exifEntry{time}, append([]exifEntry{{tag: 2, kind: exifRational, values: []uint32{32, 0, 0, 0, 0, 0}}}, append(position(32, 123)[:1], position(32, 123)[2:]...)...)), 0, 0, []string{"a latitude or longitude of 0"}},
		{"longitude 190", withEXIF(nil, []exifEntry{time}, position(32, 190)), 0, 0, []string{"the position in EXIF cannot be read"}},
	} {
		path := filepath.Join(dir, "picture")
		if err := os.WriteFile(path, test.content, 0o644); err != nil {
			t.Fatal(err)
		}
		p, err := ReadPhotograph(path)
		if err != nil {
			t.Errorf("%s: %v", test.name, err)
			continue
		}
		if p.WidthPx != 600 || p.HeightPx != 400 || p.Bytes != int64(len(test.content)) || len(p.SHA256) != 64 {
			t.Errorf("%s: %+v, want 600 × 400 pixels and the file's size", test.name, p)
		}
		if math.Abs(p.FocalPx-test.focalPx) > 1e-6*test.focalPx+1e-9 {
			t.Errorf("%s: focal length %v px, want %v", test.name, p.FocalPx, test.focalPx)
		}
		if (p.Place != nil) != (test.lat != 0) || p.Place != nil && (math.Abs(p.Place.LatDeg-test.lat) > 1e-9 || math.Abs(p.Place.LonDeg+123.7) > 1e-9) {
			t.Errorf("%s: place %v, want latitude %v", test.name, p.Place, test.lat)
		}
		for _, note := range test.notes {
			if !strings.Contains(strings.Join(p.Notes, "\n"), note) {
				t.Errorf("%s: notes %q, want one with %q", test.name, p.Notes, note)
			}
		}
	}
	for name, content := range map[string][]byte{"empty": nil, "text": []byte("a text"), "cut off": plainJPEG.Bytes()[:10]} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, content, 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadPhotograph(path); err == nil || !strings.Contains(err.Error(), "want a JPEG or PNG file") {
			t.Errorf("%s: error %v, want one that asks for a JPEG or PNG file", name, err)
		}
	}
}
