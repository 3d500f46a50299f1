package scenery

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/jpeg"
	"math"
)

// Facts are what a camera writes into its files.
type Facts struct {
	Make string
	// Taken is the time of the camera's clock, YYYY:MM:DD hh:mm:ss.
	Taken string
	// FocalMM is the focal length in whole millimetres, EquivalentMM that of a picture of 36 × 24 mm with the same diagonal field.
	FocalMM, EquivalentMM uint16
	LatDeg, LonDeg        float64
}

// JPEG is a picture with its facts in an Exif segment; quality is 1…100.
func JPEG(picture image.Image, quality int, facts Facts) ([]byte, error) {
	var plain bytes.Buffer
	if err := jpeg.Encode(&plain, picture, &jpeg.Options{Quality: quality}); err != nil {
		return nil, fmt.Errorf("scenery: picture as JPEG: %w", err)
	}
	// The segment stands behind the two bytes that begin the file.
	file := append([]byte{}, plain.Bytes()[:2]...)
	size := picture.Bounds().Size()
	file = append(file, facts.segment(uint32(size.X), uint32(size.Y))...)
	return append(file, plain.Bytes()[2:]...), nil
}

// entry is one entry of a directory.
type entry struct {
	tag, kind uint16
	count     uint32
	value     []byte
}

// The kinds of values.
const (
	kindText     = 2
	kindShort    = 3
	kindLong     = 4
	kindRational = 5
)

func text(tag uint16, s string) entry {
	return entry{tag, kindText, uint32(len(s) + 1), append([]byte(s), 0)}
}

func short(tag, v uint16) entry {
	return entry{tag, kindShort, 1, binary.BigEndian.AppendUint16(nil, v)}
}

func long(tag uint16, v uint32) entry {
	return entry{tag, kindLong, 1, binary.BigEndian.AppendUint32(nil, v)}
}

// rationals takes numerators and denominators in turn.
func rationals(tag uint16, v ...uint32) entry {
	e := entry{tag: tag, kind: kindRational, count: uint32(len(v) / 2)}
	for _, n := range v {
		e.value = binary.BigEndian.AppendUint32(e.value, n)
	}
	return e
}

// angle is degrees, minutes and hundredths of a second.
func angle(tag uint16, deg float64) entry {
	hundredths := uint32(math.Round(math.Abs(deg) * 360000))
	return rationals(tag, hundredths/360000, 1, hundredths/6000%60, 1, hundredths%6000, 100)
}

func hemisphere(deg float64, positive, negative string) string {
	if deg < 0 {
		return negative
	}
	return positive
}

// segment is the APP1 segment of Exif (CIPA DC-008 / JEITA CP-3451, section 4.5.4): three directories in the manner of TIFF, then what does not fit
// into their entries.
func (f *Facts) segment(widthPx, heightPx uint32) []byte {
	exif := []entry{
		text(0x9003, f.Taken), rationals(0x920a, uint32(f.FocalMM), 1),
		long(0xa002, widthPx), long(0xa003, heightPx), short(0xa405, f.EquivalentMM),
	}
	gps := []entry{
		text(1, hemisphere(f.LatDeg, "N", "S")), angle(2, f.LatDeg),
		text(3, hemisphere(f.LonDeg, "E", "W")), angle(4, f.LonDeg),
	}
	size := func(entries int) uint32 { return uint32(2 + 12*entries + 4) }
	const mainAt, mainEntries = 8, 3
	exifAt := mainAt + size(mainEntries)
	gpsAt := exifAt + size(len(exif))
	dataAt := gpsAt + size(len(gps))
	main := []entry{text(0x010f, f.Make), long(0x8769, exifAt), long(0x8825, gpsAt)}

	be := binary.BigEndian
	head, data := []byte("MM\x00*\x00\x00\x00\x08"), []byte{}
	for _, entries := range [][]entry{main, exif, gps} {
		head = be.AppendUint16(head, uint16(len(entries)))
		for _, e := range entries {
			head = be.AppendUint32(be.AppendUint16(be.AppendUint16(head, e.tag), e.kind), e.count)
			if len(e.value) > 4 {
				head = be.AppendUint32(head, dataAt+uint32(len(data)))
				data = append(data, e.value...)
				if len(data)%2 == 1 { // values begin at even places
					data = append(data, 0)
				}
				continue
			}
			head = append(head, append(e.value, 0, 0, 0)[:4]...)
		}
		head = be.AppendUint32(head, 0) // no further directory
	}
	body := append([]byte("Exif\x00\x00"), append(head, data...)...)
	return append(be.AppendUint16([]byte{0xff, 0xe1}, uint16(len(body)+2)), body...)
}
