// Command compact rewrites the EGM96 15′ grid, as PROJ's gtx file holds it, as the small file that package geoid embeds.
//
//	go run ./geodesy/geoid/internal/compact --grid egm96_15.gtx --out geodesy/geoid/egm96.bin
//
// It prints the SHA-256 of the grid it read and the largest rounding error, which the comment of package geoid records.
package main

import (
	"bytes"
	"compress/flate"
	"crypto/sha256"
	"encoding/binary"
	"flag"
	"fmt"
	"log"
	"math"
	"os"
)

// gtxHeader opens a gtx file: the south-west node, the spacing in degrees, and the size; the heights follow row by row from
// the south-west, as big-endian float32 in metres.
type gtxHeader struct {
	SouthDeg, WestDeg, RowStepDeg, ColumnStepDeg float64
	Rows, Columns                                int32
}

var egm96Header = gtxHeader{SouthDeg: -90, WestDeg: -180, RowStepDeg: 0.25, ColumnStepDeg: 0.25, Rows: 721, Columns: 1440}

func main() {
	log.SetFlags(0)
	grid := flag.String("grid", "egm96_15.gtx", "EGM96 15′ grid to read")
	out := flag.String("out", "egm96.bin", "file to write")
	flag.Parse()
	if err := run(*grid, *out); err != nil {
		log.Fatalf("compact %s: %v", *grid, err)
	}
}

func run(gridPath, outPath string) error {
	raw, err := os.ReadFile(gridPath)
	if err != nil {
		return err
	}
	heightsMM, worstM, err := readGTX(raw)
	if err != nil {
		return err
	}
	packed, err := pack(heightsMM, int(egm96Header.Columns))
	if err != nil {
		return err
	}
	fmt.Printf("read %d bytes, SHA-256 %x\nlargest rounding error %.6f m\nwrote %d bytes\n", len(raw), sha256.Sum256(raw), worstM, len(packed))
	return os.WriteFile(outPath, packed, 0o644)
}

// readGTX returns the heights rounded to whole millimetres, and the largest error of that in metres.
func readGTX(raw []byte) (heightsMM []int32, worstM float64, err error) {
	r := bytes.NewReader(raw)
	var header gtxHeader
	if err := binary.Read(r, binary.BigEndian, &header); err != nil {
		return nil, 0, fmt.Errorf("header: %w", err)
	}
	if header != egm96Header {
		return nil, 0, fmt.Errorf("header is %+v, want %+v: give PROJ's egm96_15.gtx", header, egm96Header)
	}
	heights := make([]float32, header.Rows*header.Columns)
	if err := binary.Read(r, binary.BigEndian, heights); err != nil {
		return nil, 0, fmt.Errorf("heights: %w", err)
	}
	heightsMM = make([]int32, len(heights))
	for i, h := range heights {
		mm := math.Round(float64(h) * 1000)
		heightsMM[i] = int32(mm)
		worstM = max(worstM, math.Abs(float64(h)-mm/1000))
	}
	return heightsMM, worstM, nil
}

// pack replaces each height by its second difference along the columns of its second differences along the rows (nodes
// outside the grid count as 0), which leaves small numbers where the geoid is smooth, and writes these as zigzag varints
// under DEFLATE.
func pack(heightsMM []int32, columns int) ([]byte, error) {
	for range 2 {
		difference(heightsMM, columns)
	}
	var varints []byte
	for _, d := range heightsMM {
		varints = binary.AppendVarint(varints, int64(d))
	}
	var packed bytes.Buffer
	w, err := flate.NewWriter(&packed, flate.BestCompression)
	if err != nil {
		return nil, err
	}
	if _, err := w.Write(varints); err != nil {
		return nil, err
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return packed.Bytes(), nil
}

// difference subtracts from every value its western, then from every result its southern neighbour, in place and therefore
// from the end.
func difference(values []int32, columns int) {
	for i := len(values) - 1; i > 0; i-- {
		if i%columns != 0 {
			values[i] -= values[i-1]
		}
	}
	for i := len(values) - 1; i >= columns; i-- {
		values[i] -= values[i-columns]
	}
}
