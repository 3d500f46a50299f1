package pipeline

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"reflect"
)

// errWire marks bytes that are not the binary form of the value asked for.
var errWire = errors.New("damaged record")

// appendWire appends the binary form of a value: numbers to the bit, texts and lists after their length, a pointer after a byte that tells
// whether there is one, a struct's exported fields in their order. The same value always gives the same bytes. Unexported fields are passed
// over; a kind that it does not know is a mistake of the program.
func appendWire(b []byte, v reflect.Value) []byte {
	switch v.Kind() {
	case reflect.Bool:
		if v.Bool() {
			return append(b, 1)
		}
		return append(b, 0)
	case reflect.Uint8:
		return append(b, byte(v.Uint()))
	case reflect.Int, reflect.Int32, reflect.Int64:
		return binary.AppendVarint(b, v.Int())
	case reflect.Float64:
		return binary.LittleEndian.AppendUint64(b, math.Float64bits(v.Float()))
	case reflect.String:
		b = binary.AppendUvarint(b, uint64(v.Len()))
		return append(b, v.String()...)
	case reflect.Pointer:
		if v.IsNil() {
			return append(b, 0)
		}
		return appendWire(append(b, 1), v.Elem())
	case reflect.Slice:
		b = binary.AppendUvarint(b, uint64(v.Len()))
		fallthrough
	case reflect.Array:
		for i := range v.Len() {
			b = appendWire(b, v.Index(i))
		}
		return b
	case reflect.Struct:
		for i := range v.NumField() {
			if field := v.Field(i); field.CanInterface() {
				b = appendWire(b, field)
			}
		}
		return b
	}
	panic(fmt.Sprintf("no binary form for %s", v.Type()))
}

// wireLayout spells out the fields that appendWire writes of a type: values of another layout cannot be read.
func wireLayout(t reflect.Type) string {
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice, reflect.Array:
		return t.Kind().String() + " " + wireLayout(t.Elem())
	case reflect.Struct:
		text := "{"
		for field := range t.Fields() {
			if field.IsExported() {
				text += field.Name + " " + wireLayout(field.Type) + ";"
			}
		}
		return text + "}"
	}
	return t.Kind().String()
}

// readWire fills the value that into points to with what appendWire made of it, and wants nothing left over. It returns errWire for anything
// else, however damaged.
func readWire(b []byte, into any) error {
	r := wireReader{b: b}
	r.value(reflect.ValueOf(into).Elem())
	if r.bad || len(r.b) > 0 {
		return errWire
	}
	return nil
}

// wireReader takes values from the front of b; bad is set where b does not hold them.
type wireReader struct {
	b   []byte
	bad bool
}

func (r *wireReader) take(n uint64) []byte {
	if n > uint64(len(r.b)) {
		r.bad = true
		return nil
	}
	taken := r.b[:n]
	r.b = r.b[n:]
	return taken
}

func (r *wireReader) byte() byte {
	if one := r.take(1); len(one) == 1 {
		return one[0]
	}
	return 0
}

func (r *wireReader) number(n int) {
	r.bad = r.bad || n <= 0
	r.take(uint64(max(n, 0)))
}

func (r *wireReader) length() uint64 {
	v, n := binary.Uvarint(r.b)
	r.number(n)
	if v > uint64(len(r.b)) { // every item takes a byte or more
		r.bad = true
		return 0
	}
	return v
}

func (r *wireReader) value(v reflect.Value) {
	if r.bad {
		return
	}
	switch v.Kind() {
	case reflect.Bool:
		v.SetBool(r.byte() != 0)
	case reflect.Uint8:
		v.SetUint(uint64(r.byte()))
	case reflect.Int, reflect.Int32, reflect.Int64:
		i, n := binary.Varint(r.b)
		r.number(n)
		v.SetInt(i)
	case reflect.Float64:
		if b := r.take(8); b != nil {
			v.SetFloat(math.Float64frombits(binary.LittleEndian.Uint64(b)))
		}
	case reflect.String:
		v.SetString(string(r.take(r.length())))
	case reflect.Pointer:
		if r.byte() != 0 {
			v.Set(reflect.New(v.Type().Elem()))
			r.value(v.Elem())
		}
	case reflect.Slice:
		// Grown as it is filled: a wrong length must not ask for much more memory than there are bytes.
		n := r.length()
		v.Grow(int(min(n, blockRows)))
		for range n {
			if r.bad {
				return
			}
			v.Grow(1)
			v.SetLen(v.Len() + 1)
			r.value(v.Index(v.Len() - 1))
		}
	case reflect.Array:
		for i := range v.Len() {
			r.value(v.Index(i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if field := v.Field(i); field.CanSet() {
				r.value(field)
			}
		}
	default:
		panic(fmt.Sprintf("no binary form for %s", v.Type()))
	}
}
