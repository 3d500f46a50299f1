package gazetteer

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"os"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// pbfMessage writes fields of Protocol Buffers: a uint64 as a number, bytes as they are.
func pbfMessage(fields ...any) []byte {
	var out []byte
	for i := 0; i < len(fields); i += 2 {
		number := uint64(fields[i].(int))
		switch value := fields[i+1].(type) {
		case uint64:
			out = binary.AppendUvarint(binary.AppendUvarint(out, number<<3), value)
		case []byte:
			out = binary.AppendUvarint(binary.AppendUvarint(out, number<<3|2), uint64(len(value)))
			out = append(out, value...)
		}
	}
	return out
}

func pbfNumbers(values ...uint64) []byte {
	var out []byte
	for _, v := range values {
		out = binary.AppendUvarint(out, v)
	}
	return out
}

// pbfDeltas writes the differences of values in zigzag form.
func pbfDeltas(values ...int64) []byte {
	var out []byte
	last := int64(0)
	for _, v := range values {
		out = binary.AppendVarint(out, v-last)
		last = v
	}
	return out
}

// pbfBlob writes a blob as it stands in a file, packed or not.
func pbfBlob(kind string, data []byte, packed bool) []byte {
	blob := pbfMessage(1, data)
	if packed {
		var z bytes.Buffer
		w := zlib.NewWriter(&z)
		_, _ = w.Write(data) // into memory
		_ = w.Close()
		blob = pbfMessage(2, uint64(len(data)), 3, z.Bytes())
	}
	return pbfFramed(kind, uint64(len(blob)), blob)
}

func pbfFramed(kind string, claimed uint64, blob []byte) []byte {
	header := pbfMessage(1, []byte(kind), 3, claimed)
	return append(binary.BigEndian.AppendUint32(nil, uint32(len(header))), append(header, blob...)...)
}

func pbfHeader(required ...string) []byte {
	var fields []any
	for _, feature := range append([]string{"OsmSchema-V0.6", "DenseNodes"}, required...) {
		fields = append(fields, 4, []byte(feature))
	}
	return pbfBlob(osmHeaderBlob, pbfMessage(fields...), false)
}

// pbfTable writes the strings of a block; the first is empty by custom.
func pbfTable(texts ...string) []byte {
	fields := []any{1, []byte{}}
	for _, text := range texts {
		fields = append(fields, 1, []byte(text))
	}
	return pbfMessage(fields...)
}

// pbfSample is a block of two peaks as dense nodes and one as a node by itself, a tower as a way, and a boundary, with the granularity and
// offsets of the format's documentation (degrees = (offset + granularity · units) / 10⁹).
func pbfSample() []byte {
	table := pbfTable("natural", "peak", "name", "A", "B", "man_made", "tower", "C", "type", "boundary", "D", "ele", "712")
	dense := pbfMessage(1, pbfDeltas(5, 6, 9), 8, pbfDeltas(111_111, 222_222, -333_333), 9, pbfDeltas(1, -2, 3),
		10, pbfNumbers(1, 2, 3, 4, 0, 0, 1, 2, 3, 5, 12, 13, 0))
	node := pbfMessage(1, uint64(2*20), 2, pbfNumbers(1, 3), 3, pbfNumbers(2, 4), 8, uint64(2*444_444), 9, uint64(2*5-1)) // in zigzag form
	way := pbfMessage(1, uint64(7), 2, pbfNumbers(6, 3), 3, pbfNumbers(7, 8), 8, pbfDeltas(5, 9))
	relation := pbfMessage(1, uint64(8), 2, pbfNumbers(9, 1, 3), 3, pbfNumbers(10, 2, 11), 8, pbfNumbers(0, 0), 9, pbfDeltas(6, 7), 10, pbfNumbers(0, 1))
	return pbfMessage(1, table, 17, uint64(1000), 19, uint64(7_000), 20, uint64(9_000),
		2, pbfMessage(2, dense), 2, pbfMessage(1, node), 2, pbfMessage(3, way), 2, pbfMessage(4, relation))
}

// TestPBFByHand reads a file put together by the format's definition, which holds whatever writers in use leave out.
func TestPBFByHand(t *testing.T) {
	for _, packed := range []bool{false, true} {
		text := joined(pbfHeader(), pbfBlob("Future", []byte("x"), false), pbfBlob(osmDataBlob, pbfSample(), packed))
		features, report, err := readText(t, string(text), ReadOptions{})
		if err != nil || report.Rows != 5 || report.Used != 5 {
			t.Fatalf("%+v, %v", report, err)
		}
		type place struct {
			ID, Name string
			Lat, Lon float64
			Line     int
		}
		var got []place
		for _, f := range features {
			got = append(got, place{f.ID, f.Name, f.At.LatDeg, f.At.LonDeg, f.Line})
		}
		want := []place{
			{"osm:node/5", "A", 0.111118, 0.00001, 1}, {"osm:node/9", "B", -0.333326, 0.000012, 3}, {"osm:node/20", "A", 0.444451, 0.000004, 4},
			{"osm:way/7", "C", (0.111118 - 0.333326) / 2, 0.000011, 5}, {"osm:relation/8", "D", (0.111118 - 0.333326) / 2, 0.000011, 6},
		}
		if diff := cmp.Diff(want, got, cmpopts.EquateApprox(0, 1e-9)); diff != "" {
			t.Errorf("packed %v (-want +got):\n%s", packed, diff)
		}
		if features[1].ListedHeightM != 712 {
			t.Errorf("ele %v, want 712", features[1].ListedHeightM)
		}
	}
}

// TestPBFDamaged: what is wrong is an error that says so; nothing is allocated on a file's word beyond the limits of the format.
func TestPBFDamaged(t *testing.T) {
	header, sample := pbfHeader(), pbfBlob(osmDataBlob, pbfSample(), true)
	block := func(fields ...any) []byte {
		return joined(header, pbfBlob(osmDataBlob, pbfMessage(fields...), false))
	}
	table := pbfTable("natural", "peak")
	bomb := func(claimed uint64) []byte {
		var z bytes.Buffer
		w := zlib.NewWriter(&z)
		_, _ = w.Write(make([]byte, 40<<20)) // into memory
		_ = w.Close()
		blob := pbfMessage(2, claimed, 3, z.Bytes())
		return joined(header, pbfFramed(osmDataBlob, uint64(len(blob)), blob))
	}
	tests := []struct {
		name    string
		text    []byte
		refused string
	}{
		{"cut in the length", joined(header, sample)[:len(header)+2], "is cut short"},
		{"cut in a blob", joined(header, sample)[:len(header)+len(sample)-5], "is cut short"},
		{"blob of 1 GB", joined(header, pbfFramed(osmDataBlob, 1<<30, []byte("x"))), "claims 1073741824 bytes, where 0…33554432 are allowed"},
		{"blob of 2⁶³ bytes", joined(header, pbfFramed(osmDataBlob, 1<<63, []byte("x"))), "are allowed"},
		{"header of 1 GB", joined(header, []byte{0x40, 0, 0, 0}), "claims 1073741824 bytes, where less than 65536"},
		{"unpacks to more than it claims", bomb(100), "unpacks to more than the 100 bytes"},
		{"claims to unpack to 1 GB", bomb(1 << 30), "claims to unpack to 1073741824 bytes"},
		{"claims more than its zlib can hold", joined(header, pbfFramed(osmDataBlob, 9, pbfMessage(2, uint64(30<<20), 3, []byte("ab")))), "claims to unpack to 31457280 bytes"},
		{"not zlib", joined(header, pbfFramed(osmDataBlob, 7, pbfMessage(2, uint64(3), 3, []byte("abc")))), "is damaged"},
		{"another packing", joined(header, pbfFramed(osmDataBlob, 7, pbfMessage(2, uint64(3), 7, []byte("abc")))), "packed by other means than zlib"},
		{"key not in the table", block(1, table, 2, pbfMessage(2, pbfMessage(1, pbfDeltas(5), 8, pbfDeltas(1), 9, pbfDeltas(1), 10, pbfNumbers(1, 2, 99, 2, 0)))), "a tag of node 5 is not in its table"},
		{"value not in the table", block(1, table, 2, pbfMessage(3, pbfMessage(1, uint64(7), 2, pbfNumbers(1), 3, pbfNumbers(1<<40)))), "a tag of way 7 is not in its table"},
		{"fewer values than keys", block(1, table, 2, pbfMessage(3, pbfMessage(1, uint64(7), 2, pbfNumbers(1, 1), 3, pbfNumbers(1)))), "is damaged"},
		{"fewer places than nodes", block(1, table, 2, pbfMessage(2, pbfMessage(1, pbfDeltas(5, 6), 8, pbfDeltas(1), 9, pbfDeltas(1), 10, pbfNumbers(1, 2, 0, 0)))), "is damaged"},
		{"field longer than the block", block(1, table, 2, []byte{0x12, 0x7f}), "block 1 of data: is damaged"},
		{"history", joined(pbfHeader("HistoricalInformation"), sample), "holds the history of objects"},
		{"a feature of the future", joined(pbfHeader("Levitation"), sample), `needs "Levitation" of its reader`},
		{"more strings than any block has", block(1, bytes.Repeat([]byte{0x0a, 0}, maxBlockStrings+2)), "is damaged"},
		{"more tags than any block has", block(1, table, 2, pbfMessage(3, pbfMessage(1, uint64(7), 2, bytes.Repeat([]byte{1}, maxBlockStrings+1), 3, bytes.Repeat([]byte{2}, maxBlockStrings+1)))), "holds more than 1048576 tags"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, report, err := readText(t, string(tt.text), ReadOptions{})
			if err == nil || !strings.Contains(err.Error(), tt.refused) || report.Format != "osm.pbf" {
				t.Errorf("%+v, %v, want %q", report, err, tt.refused)
			}
		})
	}
}

// TestPBFCutAnywhere: of every beginning of a real file none gives a feature that the whole file does not give, and those that end inside a
// blob are refused.
func TestPBFCutAnywhere(t *testing.T) {
	whole, err := os.ReadFile(testdata("malta-latest.osm.pbf"))
	if err != nil {
		t.Fatal(err)
	}
	ends := map[int]bool{}
	for at := 0; at < len(whole); {
		rest := bytes.NewReader(whole[at:])
		if _, _, err := readBlob(rest); err != nil {
			t.Fatal(err)
		}
		at = len(whole) - rest.Len()
		ends[at] = true
	}
	for n := 1; n < len(whole); n += len(whole)/40 + 1 {
		if _, _, err := readText(t, string(whole[:n]), ReadOptions{}); !ends[n] && (err == nil || n > 100 && !strings.Contains(err.Error(), "is cut short")) {
			t.Errorf("%d of %d bytes: %v, want an error that it is cut short", n, len(whole), err)
		}
	}
}

// spoiltReader panics as it is read.
type spoiltReader struct{}

func (spoiltReader) Read([]byte) (int, error) { panic("spoilt") }

// TestPBFPanic: a panic of a goroutine that reads or decodes reaches the caller with its stack; left where it is, it would end the program.
func TestPBFPanic(t *testing.T) {
	told := func(scan func() error) (text string) {
		defer func() { text, _ = recover().(string) }()
		t.Errorf("ended with %v, want a panic", scan())
		return ""
	}
	check := func(what, text, where string) {
		if first, stack, _ := strings.Cut(text, "\n"); first != "spoilt" || !strings.Contains(stack, where) {
			t.Errorf("%s: panics with %q, want spoilt and a stack with %s", what, text, where)
		}
	}
	check("reading", told(func() error {
		return scanOSMPBF(spoiltReader{}, osmWanted{}, func(*osmObject) error { return nil })
	}), "gazetteer.readBlob")

	whole, err := os.Open(testdata("malta-latest.osm.pbf"))
	if err != nil {
		t.Fatal(err)
	}
	defer whole.Close()
	var decoded atomic.Int64
	objects := 0
	check("decoding", told(func() error {
		return scanBlobs(whole, func() blobDecoder {
			decoder := osmDecoder{want: osmWanted{tagged: true}}
			return func(blob []byte) ([]osmObject, int, error) {
				if decoded.Add(1) > 1 {
					panic("spoilt")
				}
				return decoder.decode(blob)
			}
		}, func(*osmObject) error { objects++; return nil })
	}), "gazetteer.carried")
	t.Logf("%d objects came before the panic", objects)
}

// TestPBFEmitEnds: an error of emit ends the reading, with decoders still at work.
func TestPBFEmitEnds(t *testing.T) {
	full := errors.New("enough of it")
	_, err := ReadFile(t.Context(), testdata("malta-latest.osm.pbf"), ReadOptions{}, func(Feature) error { return full })
	if !errors.Is(err, full) {
		t.Errorf("%v, want emit's error", err)
	}
}

// TestPBFDegrees: places are written out in full, with the sign and without the rounding of floats.
func TestPBFDegrees(t *testing.T) {
	for units, want := range map[int64]string{0: "0.000000000", 1: "0.000000100", -1: "-0.000000100", 500194508: "50.019450800", -1797654321: "-179.765432100"} {
		d := osmDecoder{granularity: 100}
		if got := d.degrees(0, units); got != want {
			t.Errorf("degrees(%d) = %s, want %s", units, got, want)
		}
		if back, err := strconv.ParseFloat(want, 64); err != nil || back != float64(units)/1e7 {
			t.Errorf("%s is %v, want %v", want, back, float64(units)/1e7)
		}
	}
}
