package geotiff

import (
	"bytes"
	"encoding/binary"
	"math"

	"github.com/klauspost/compress/zlib"
	"github.com/klauspost/compress/zstd"
)

// tag is one entry that a test writes: values of a type.
type tag struct {
	number, kind uint16
	values       any // fixed-size values, or text
}

// write lays out a TIFF file: header, blocks, directory, values.
func write(order byteOrder, big bool, tags []tag, offsetsTag, countsTag uint16, blocks [][]byte) []byte {
	var file bytes.Buffer
	put := func(v any) { _ = binary.Write(&file, order, v) }
	if order == binary.BigEndian {
		file.WriteString("MM")
	} else {
		file.WriteString("II")
	}
	headerBytes := 8
	if big {
		headerBytes = 16
	}
	at := uint32(headerBytes)
	offsets, counts := []uint32{}, []uint32{}
	for _, b := range blocks {
		if b == nil {
			offsets, counts = append(offsets, 0), append(counts, 0)
			continue
		}
		offsets, counts = append(offsets, at), append(counts, uint32(len(b)))
		at += uint32(len(b))
	}
	tags = append(tags[:len(tags):len(tags)], tag{offsetsTag, 4, offsets}, tag{countsTag, 4, counts})
	if big {
		put([]uint16{43, 8, 0})
		put(uint64(at))
	} else {
		put(uint16(42))
		put(at)
	}
	for _, b := range blocks {
		file.Write(b)
	}
	entryBytes, valueBytes := 12, 4
	if big {
		entryBytes, valueBytes = 20, 8
		put(uint64(len(tags)))
	} else {
		put(uint16(len(tags)))
	}
	behind := file.Len() + len(tags)*entryBytes + valueBytes
	var values bytes.Buffer
	word := func(n int) {
		if big {
			put(uint64(n))
		} else {
			put(uint32(n))
		}
	}
	for _, t := range tags {
		var content bytes.Buffer
		if text, ok := t.values.(string); ok {
			content.WriteString(text + "\x00")
		} else {
			_ = binary.Write(&content, order, t.values)
		}
		put(t.number)
		put(t.kind)
		word(content.Len() / int(typeBytes[t.kind]))
		if content.Len() <= valueBytes {
			file.Write(append(content.Bytes(), make([]byte, valueBytes-content.Len())...))
		} else {
			word(behind + values.Len())
			values.Write(content.Bytes())
		}
	}
	word(0)
	file.Write(values.Bytes())
	return file.Bytes()
}

// pack compresses a block. The LZW is of codes of 9 bits alone, each a byte: it clears the table before it grows.
func pack(compression int, data []byte) []byte {
	var packed bytes.Buffer
	switch compression {
	case packDeflate, packOldDeflate:
		w := zlib.NewWriter(&packed)
		_, _ = w.Write(data)
		_ = w.Close()
	case packZSTD:
		w, _ := zstd.NewWriter(&packed)
		_, _ = w.Write(data)
		_ = w.Close()
	case packPackBits:
		for len(data) > 0 {
			run := 1
			for run < min(len(data), 128) && data[run] == data[0] {
				run++
			}
			packed.Write([]byte{byte(1 - run), data[0]})
			data = data[run:]
		}
	case packLZW:
		const clearCode, endCode = 256, 257
		bits, n := uint32(0), 0
		code := func(c uint32) {
			bits, n = bits<<9|c, n+9
			for ; n >= 8; n -= 8 {
				packed.WriteByte(byte(bits >> (n - 8)))
			}
		}
		for i, b := range data {
			if i%200 == 0 {
				code(clearCode)
			}
			code(uint32(b))
		}
		code(endCode)
		packed.WriteByte(byte(bits << (8 - n)))
	default:
		return data
	}
	return packed.Bytes()
}

// encode stores one row of samples by a predictor.
func encode(order byteOrder, samples string, predictor int, row []float64) []byte {
	var size int
	bits := make([]uint64, len(row))
	for i, h := range row {
		switch samples {
		case "int8", "uint8":
			size, bits[i] = 1, uint64(int64(h))
		case "int16", "uint16":
			size, bits[i] = 2, uint64(int64(h))
		case "int32", "uint32":
			size, bits[i] = 4, uint64(int64(h))
		case "float32":
			size, bits[i] = 4, uint64(math.Float32bits(float32(h)))
		case "float64":
			size, bits[i] = 8, math.Float64bits(h)
		}
	}
	out := make([]byte, 0, size*len(row))
	if predictor == predictFloat {
		for plane := size - 1; plane >= 0; plane-- {
			for _, b := range bits {
				out = append(out, byte(b>>(8*plane)))
			}
		}
		for i := len(out) - 1; i > 0; i-- {
			out[i] -= out[i-1]
		}
		return out
	}
	var before uint64
	for _, b := range bits {
		v := b
		if predictor == predictHorizontal {
			v, before = b-before, b
		}
		word := order.AppendUint64(nil, v)
		if order == binary.BigEndian {
			out = append(out, word[8-size:]...)
		} else {
			out = append(out, word[:size]...)
		}
	}
	return out
}

type byteOrder interface {
	binary.ByteOrder
	binary.AppendByteOrder
}
