package gazetteer

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// dof is the FAA's Digital Obstacle File in its fixed-width form (.dat): a header of four lines, then one obstacle a line. Heights
// are in feet, over the ground and over the sea; the ground's height is their difference. Obstacles have no names: one is
// made of type, number and town. Dismantled ones are passed over.
func dof() format {
	return format{
		name:        "dof",
		licence:     "public domain (US government work)",
		attribution: "Federal Aviation Administration, Digital Obstacle File",
		fits:        fitsDOF,
		read:        readDOF,
	}
}

// Columns of a record, counted from 0, end excluded. The field of the type was six columns narrower in files of 2012; what stands
// behind it is then found six columns to the left.
const (
	dofNumberEnd    = 9
	dofVerification = 10
	dofState        = 15
	dofCity         = 18
	dofLatitude     = 35
	dofLongitude    = 48
	dofType         = 62
	dofQuantity     = 81
	dofOverGround   = 83
	dofOverSea      = 89
	dofHorizontal   = 97
	dofVertical     = 99
	dofAction       = 118
	dofDate         = 120
	dofNarrower     = 6
)

// dofLayout tells whether a line is a record, and how many columns its later fields stand further left.
func dofLayout(line []byte) (left int, ok bool) {
	isField := func(start, end int) bool {
		field := bytes.TrimSpace(line[start:end])
		return len(field) > 0 && len(bytes.TrimLeft(field, "-0123456789")) == 0
	}
	if len(line) <= dofVertical-dofNarrower || line[2] != '-' || !isField(dofLatitude, dofLatitude+2) || !isField(dofLongitude, dofLongitude+3) {
		return 0, false
	}
	for _, left := range []int{0, dofNarrower} {
		if len(line) > dofVertical-left && isField(dofOverGround-left, dofOverGround-left+5) && isField(dofOverSea-left, dofOverSea-left+5) &&
			line[dofOverSea-left-1] == ' ' {
			return left, true
		}
	}
	return 0, false
}

func fitsDOF(head []byte, cut bool) (bool, string) {
	why := ""
	for line := range headLines(head, cut) {
		if _, ok := dofLayout(line); ok {
			return true, ""
		}
		if bytes.Contains(line, []byte("CURRENCY DATE")) {
			why = "an FAA obstacle file without a record in the columns of the .dat form"
		}
	}
	return false, why
}

// dofKind gives the kind of an obstacle type (types of the FAA's list). TOWER is taken by its word, though many are guyed masts.
// Tanks, poles, power lines, cranes, bridges and what has no one top are passed over.
func dofKind(obstacle string) (Kind, bool) {
	switch obstacle {
	case "TOWER", "BLDG-TWR", "CTRL TWR", "COOL TWR", "MONUMENT", "SPIRE":
		return Tower, true
	case "ANTENNA", "MET":
		return Mast, true
	case "STACK":
		return Chimney, true
	case "WINDMILL":
		return Turbine, true
	case "LIGHTHOUSE", "LGTHOUSE":
		return Lighthouse, true
	case "BLDG":
		return Building, true
	}
	return "", false
}

// Spreads of unlike vertical datums against the geoid, in metres, for records since and before the 71st day of 2001, when the FAA
// went from NGVD 29 to NAVD 88 (notice in the file's readme). Our judgement, no source.
const (
	dofNAVD88SDM  = 0.5
	dofNGVD29SDM  = 1.0
	dofNAVD88From = "2001071"
)

// dofTolerances90 is how many standard deviations a tolerance is taken for: that it holds nine times in ten is our reading, the
// FAA says only "±".
const dofTolerances90 = 1.645

// dofHorizontalFt and dofVerticalFt are the tolerances of the FAA's accuracy codes 1–8 and A–H, in feet. Unknown (9, I) counts as
// the widest.
func dofHorizontalFt() []float64 {
	const nauticalMileFt = 1852 / metresPerFoot
	return []float64{20, 50, 100, 250, 500, 1000, nauticalMileFt / 2, nauticalMileFt}
}

func dofVerticalFt() []float64 { return []float64{3, 10, 20, 50, 125, 250, 500, 1000} }

// dofSpreadM is the spread of an accuracy code that counts from first.
func dofSpreadM(code string, first byte, tolerancesFt []float64) float64 {
	at := len(tolerancesFt) - 1
	if len(code) == 1 && code[0] >= first {
		at = min(at, int(code[0]-first))
	}
	return tolerancesFt[at] * metresPerFoot / dofTolerances90
}

func readDOF(text io.Reader, out *sink) error {
	lines := newLineReader(text, out.options.MaxLineBytes)
	header := false
	return out.eachLine(lines, func(line []byte) error {
		left, ok := dofLayout(line)
		if !ok && (header || bytes.Contains(line, []byte("CURRENCY DATE"))) {
			header = len(bytes.Trim(line, "-")) > 0 // a line of dashes ends it
			return nil
		}
		header = false
		out.row()
		if !ok {
			out.reject(lines.line, "no obstacle in the columns of the .dat form: %q", shorten(string(line)))
			return nil
		}
		field := func(start, end int) string {
			if start >= dofQuantity {
				start, end = start-left, end-left
			}
			return strings.TrimSpace(string(line[min(start, len(line)):min(end, len(line))]))
		}
		obstacle := strings.TrimSpace(string(line[dofType : dofQuantity-left]))
		kind, ok := dofKind(obstacle)
		switch {
		case field(dofAction, dofAction+1) == "D":
			out.passOver("dismantled")
			return nil
		case !ok:
			out.passOver(obstacle)
			return nil
		}
		r, err := dofRecord(lines.line, kind, obstacle, field)
		if err != nil {
			out.reject(lines.line, "%v", err)
			return nil
		}
		return out.add(r)
	})
}

func dofRecord(line int, kind Kind, obstacle string, field func(start, end int) string) (record, error) {
	number := field(0, dofNumberEnd)
	id, err := featureID("dof:", number, record{})
	if err != nil {
		return record{}, err
	}
	r := newRecord(line, id, kind)
	if quantity := field(dofQuantity, dofQuantity+1); quantity != "1" && quantity != "" {
		obstacle += " ×" + quantity
	}
	r.name = fmt.Sprintf("%s %s (%s, %s)", obstacle, number, field(dofCity, dofCity+16), field(dofState, dofState+2))
	if r.lat, err = dofDegrees(field(dofLatitude, dofLatitude+12), "N", "S"); err != nil {
		return r, fmt.Errorf("latitude %w", err)
	}
	if r.lon, err = dofDegrees(field(dofLongitude, dofLongitude+13), "E", "W"); err != nil {
		return r, fmt.Errorf("longitude %w", err)
	}
	overGroundFt, errGround := strconv.Atoi(field(dofOverGround, dofOverGround+5))
	overSeaFt, errSea := strconv.Atoi(field(dofOverSea, dofOverSea+5))
	if errGround != nil || errSea != nil {
		return r, fmt.Errorf("heights %q and %q are not whole feet", field(dofOverGround, dofOverGround+5), field(dofOverSea, dofOverSea+5))
	}
	if overGroundFt != 0 { // 0 stands for unknown
		r.structureM = float64(overGroundFt) * metresPerFoot
		if overSeaFt != 0 {
			r.groundM = float64(overSeaFt-overGroundFt) * metresPerFoot
		}
	}
	datumSDM := dofNGVD29SDM
	if date := field(dofDate, dofDate+7); len(date) == len(dofNAVD88From) && date >= dofNAVD88From {
		datumSDM = dofNAVD88SDM
	}
	r.groundSDM = math.Hypot(dofSpreadM(field(dofVertical, dofVertical+1), 'A', dofVerticalFt()), datumSDM)
	// Older records are rounded to the second of arc.
	r.placeSDM = math.Hypot(dofSpreadM(field(dofHorizontal, dofHorizontal+1), '1', dofHorizontalFt()), metresPerDegree/3600.0/math.Sqrt(12))
	if field(dofVerification, dofVerification+1) != "O" {
		r.doubts = append(r.doubts, DoubtUnverified)
	}
	return r, nil
}

// dofDegrees turns degrees, minutes and seconds with a hemisphere, "30 15 01.00N", into decimal degrees.
func dofDegrees(text, plus, minus string) (string, error) {
	negative := strings.HasSuffix(text, minus)
	parts := strings.Fields(strings.TrimSuffix(strings.TrimSuffix(text, minus), plus))
	ok := len(parts) == 3 && (negative || strings.HasSuffix(text, plus))
	deg := 0.0
	for i := 0; ok && i < len(parts); i++ {
		value, err := strconv.ParseFloat(parts[i], 64)
		ok = err == nil && (i == 0 || value < 60) && strings.Trim(parts[i], ".0123456789") == ""
		deg += value / math.Pow(60, float64(i))
	}
	if !ok {
		return "", fmt.Errorf("%q is not degrees, minutes, seconds and %s or %s", text, plus, minus)
	}
	if negative {
		deg = -deg
	}
	return strconv.FormatFloat(deg, 'f', 7, 64), nil
}
