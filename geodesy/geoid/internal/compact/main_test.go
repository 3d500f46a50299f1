package main

import (
	"bytes"
	"encoding/binary"
	"slices"
	"testing"
)

func TestReadGTX(t *testing.T) {
	gtx := func(header gtxHeader, heights []float32) []byte {
		var b bytes.Buffer
		binary.Write(&b, binary.BigEndian, header)
		binary.Write(&b, binary.BigEndian, heights)
		return b.Bytes()
	}
	heights := make([]float32, 721*1440)
	heights[0], heights[1] = 1.0004, -2.0006
	heightsMM, worstM, err := readGTX(gtx(egm96Header, heights))
	if err != nil {
		t.Fatal(err)
	}
	if heightsMM[0] != 1000 || heightsMM[1] != -2001 || heightsMM[2] != 0 {
		t.Errorf("heights %v mm, want 1000, -2001, 0", heightsMM[:3])
	}
	if worstM < 0.000399 || worstM > 0.000401 {
		t.Errorf("largest rounding error %v m, want 0.0004", worstM)
	}

	other := egm96Header
	other.Columns = 1441
	for name, bad := range map[string][]byte{
		"empty":        nil,
		"another grid": gtx(other, heights),
		"cut off":      gtx(egm96Header, heights[:1000]),
		"shifted":      append([]byte{0}, gtx(egm96Header, heights)...),
	} {
		if _, _, err := readGTX(bad); err == nil {
			t.Errorf("%s: readGTX succeeds, want an error", name)
		}
	}
}

func TestDifference(t *testing.T) {
	values := []int32{
		1, 3, 6,
		2, 5, 9,
	}
	difference(values, 3)
	// Along the rows 1 2 3 and 2 3 4, then the second row less the first.
	if want := []int32{1, 2, 3, 1, 1, 1}; !slices.Equal(values, want) {
		t.Errorf("difference = %v, want %v", values, want)
	}
}
