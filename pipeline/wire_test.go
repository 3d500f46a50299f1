package pipeline

import (
	"errors"
	"math"
	"reflect"
	"testing"

	"farstation/geodesy/terrain"
)

// fill sets every exported field of a struct, and all below it, to something that is not zero.
func fill(v reflect.Value, n *int) {
	*n++
	switch v.Kind() {
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Uint8:
		v.SetUint(uint64(*n%255 + 1))
	case reflect.Int, reflect.Int32, reflect.Int64:
		v.SetInt(int64(-*n))
	case reflect.Float64:
		v.SetFloat(float64(*n) / 7)
	case reflect.String:
		v.SetString(string(rune('a'+*n%20)) + "é")
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(v.Elem(), n)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		fallthrough
	case reflect.Array:
		for i := range v.Len() {
			fill(v.Index(i), n)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Field(i).CanSet() {
				fill(v.Field(i), n)
			}
		}
	}
}

// unexported counts the unexported fields of a struct and of those that it embeds.
func unexported(t reflect.Type) int {
	n := 0
	for field := range t.Fields() {
		switch {
		case !field.IsExported():
			n++
		case field.Type.Kind() == reflect.Struct:
			n += unexported(field.Type)
		}
	}
	return n
}

// A record comes back with all that was in it, whatever is added to a row: fields that are not exported are carried by fields of traceRecord,
// so there must be as many of these.
func TestRecordComesBackWhole(t *testing.T) {
	want := &observerRecord{}
	n := 0
	fill(reflect.ValueOf(want).Elem(), &n)
	for i := range want.Lines {
		want.Lines[i].restore()
		want.Missing[i].restore()
	}
	got, err := decodeObserver(want.encode())
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%v; got\n%+v, want\n%+v", err, got, want)
	}
	carried := []float64{want.Lines[0].AngleCurvedRad, want.Lines[0].AnglePlaneRad, want.Lines[0].BackdropM}
	if fields := unexported(reflect.TypeFor[traceRecord]()); fields != len(carried) {
		t.Errorf("a trace has %d fields that are not exported; traceRecord carries %d", fields, len(carried))
	}
	made := newTraceRecord(want.Lines[0].Trace, true)
	if got := []float64{made.AngleCurvedRad, made.AnglePlaneRad, made.BackdropM}; !reflect.DeepEqual(got, carried) {
		t.Errorf("newTraceRecord carries %v, want %v", got, carried)
	}
	for _, kind := range []reflect.Type{reflect.TypeFor[otherPair](), reflect.TypeFor[triedTop](), reflect.TypeFor[terrain.Met]()} {
		if fields := unexported(kind); fields > 0 {
			t.Errorf("%s has %d fields that are not exported, and would lose them", kind, fields)
		}
	}
}

// Zero is not null, and a number comes back to the bit.
func TestWireKeepsZerosAndBits(t *testing.T) {
	type values struct {
		None, Zero *float64
		Numbers    []float64
	}
	zero := math.Copysign(0, -1)
	want := values{Zero: &zero, Numbers: []float64{0, zero, math.Inf(1), math.NaN(), math.SmallestNonzeroFloat64}}
	var got values
	if err := readWire(appendWire(nil, reflect.ValueOf(want)), &got); err != nil {
		t.Fatal(err)
	}
	if got.None != nil || got.Zero == nil || !math.Signbit(*got.Zero) {
		t.Errorf("null and −0 came back as %v and %v", got.None, got.Zero)
	}
	for i, v := range want.Numbers {
		if math.Float64bits(got.Numbers[i]) != math.Float64bits(v) {
			t.Errorf("%v came back as %v", v, got.Numbers[i])
		}
	}
}

// A record that was cut, lengthened or whose bytes were changed is an error or another record, and never more than that.
func TestWireOfDamagedBytes(t *testing.T) {
	rec := &observerRecord{}
	n := 0
	fill(reflect.ValueOf(rec).Elem(), &n)
	whole := rec.encode()
	for i := range whole {
		if _, err := decodeObserver(whole[:i]); !errors.Is(err, errWire) {
			t.Fatalf("cut to %d of %d bytes: error %v", i, len(whole), err)
		}
		damaged := append([]byte{}, whole...)
		damaged[i] ^= 0xff
		if _, err := decodeObserver(damaged); err != nil && !errors.Is(err, errWire) {
			t.Fatalf("byte %d changed: error %v", i, err)
		}
	}
	if _, err := decodeObserver(append(whole, 0)); !errors.Is(err, errWire) {
		t.Errorf("a byte too many: error %v", err)
	}
}

func TestWireLayout(t *testing.T) {
	type values struct {
		A      *float64
		B      []struct{ C string }
		hidden int
	}
	if got, want := wireLayout(reflect.TypeOf(values{hidden: 1})), "{A ptr float64;B slice {C string;};}"; got != want {
		t.Errorf("the layout is %s, want %s", got, want)
	}
}
