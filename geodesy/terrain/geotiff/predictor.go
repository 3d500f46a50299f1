package geotiff

import (
	"encoding/binary"
	"math"
)

// predictors: TIFF 6.0, section 14; Adobe Photoshop TIFF Technical Note 3 (2005) for floats.
const (
	predictNone       = 1
	predictHorizontal = 2
	predictFloat      = 3
)

// unpack turns the bytes of one row of a block into the bit patterns of its first len(bits) samples.
func (f *File) unpack(row []byte, bits []uint64) {
	order, size := f.source.order, f.sampleBytes
	if f.predictor == predictFloat {
		unpredictFloat(row, size, bits)
		return
	}
	switch size {
	case 1:
		for i := range bits {
			bits[i] = uint64(row[i])
		}
	case 2:
		unpack16(row, order == binary.ByteOrder(binary.BigEndian), bits)
	case 4:
		for i := range bits {
			bits[i] = uint64(order.Uint32(row[4*i:]))
		}
	case 8:
		for i := range bits {
			bits[i] = order.Uint64(row[8*i:])
		}
	}
	if f.predictor == predictHorizontal {
		// Sums of more bits than a sample has: what is over is cut off when bits become numbers.
		var sum uint64
		for i, difference := range bits {
			sum += difference
			bits[i] = sum
		}
	}
}

// unpack16 spares the common size a call by interface for each sample.
func unpack16(row []byte, big bool, bits []uint64) {
	if big {
		for i := range bits {
			bits[i] = uint64(binary.BigEndian.Uint16(row[2*i:]))
		}
		return
	}
	for i := range bits {
		bits[i] = uint64(binary.LittleEndian.Uint16(row[2*i:]))
	}
}

// unpredictFloat undoes differences of bytes over the whole row, whose samples lie apart by bytes: all the highest first, in any byte order.
func unpredictFloat(row []byte, size int, bits []uint64) {
	for i := 1; i < len(row); i++ {
		row[i] += row[i-1]
	}
	n := len(row) / size
	clear(bits)
	for plane := range size {
		for i, b := range row[plane*n:][:len(bits)] {
			bits[i] = bits[i]<<8 | uint64(b)
		}
	}
}

// heights turns bit patterns into heights, NaN where there is no data.
func (f *File) heights(bits []uint64, into []float64) {
	switch f.info.Samples {
	case "int8":
		for i, b := range bits {
			into[i] = float64(int8(b))
		}
	case "uint8":
		for i, b := range bits {
			into[i] = float64(uint8(b))
		}
	case "int16":
		for i, b := range bits {
			into[i] = float64(int16(b))
		}
	case "uint16":
		for i, b := range bits {
			into[i] = float64(uint16(b))
		}
	case "int32":
		for i, b := range bits {
			into[i] = float64(int32(b))
		}
	case "uint32":
		for i, b := range bits {
			into[i] = float64(uint32(b))
		}
	case "float32":
		for i, b := range bits {
			into[i] = float64(math.Float32frombits(uint32(b)))
		}
	case "float64":
		for i, b := range bits {
			into[i] = math.Float64frombits(b)
		}
	}
	if f.hasNoData {
		for i, h := range into {
			if h == f.noData {
				into[i] = math.NaN()
			}
		}
	}
	if f.scale != 1 || f.offset != 0 {
		for i, h := range into {
			into[i] = h*f.scale + f.offset
		}
	}
}
