package pipeline

import (
	"math"
	"testing"

	"farstation/geodesy"
	"farstation/geodesy/terrain"
)

// ln tan(45° + φ/2): ln(1 + √2) at 45° and ln(2 + √3) at 60° exactly; the others from memory, to five decimals.
func TestNorthing(t *testing.T) {
	for _, c := range []struct{ latDeg, yRad float64 }{{0, 0}, {10, 0.17543}, {45, 0.88137}, {60, 1.31696}, {-80, -2.43625}} {
		if got := NorthingDeg(c.latDeg) * math.Pi / 180; math.Abs(got-c.yRad) > 6e-6 {
			t.Errorf("NorthingDeg(%v) = %.6f rad, want %.5f", c.latDeg, got, c.yRad)
		}
		if back := LatitudeOfNorthingDeg(NorthingDeg(c.latDeg)); math.Abs(back-c.latDeg) > 1e-9 {
			t.Errorf("there and back %v° becomes %v°", c.latDeg, back)
		}
	}
}

func TestBoxAround(t *testing.T) {
	for _, c := range []struct {
		name         string
		places       []geodesy.LatLon
		widestDeg    float64
		crossesDates bool
	}{
		{"one place", []geodesy.LatLon{{LatDeg: 50, LonDeg: 7}}, 1, false},
		{"plain", []geodesy.LatLon{{LatDeg: 50, LonDeg: 7}, {LatDeg: 51, LonDeg: 9}, {LatDeg: 50.5, LonDeg: 8}}, 5, false},
		{"over the date line", []geodesy.LatLon{{LatDeg: -20, LonDeg: 179}, {LatDeg: -21, LonDeg: -179}}, 5, true},
		{"on the date line", []geodesy.LatLon{{LatDeg: -20, LonDeg: 180}, {LatDeg: -20, LonDeg: -180}}, 1, true},
		{"80° north", []geodesy.LatLon{{LatDeg: 80, LonDeg: 15}, {LatDeg: 80.5, LonDeg: 20}}, 20, false},
		{"at the pole", []geodesy.LatLon{{LatDeg: 89, LonDeg: 15}, {LatDeg: 83, LonDeg: 15}}, 40, false},
	} {
		box, ok := BoxAround(c.places)
		if !ok || box.WestDeg < -180 || box.WestDeg >= 180 || box.EastDeg <= box.WestDeg || box.SouthDeg >= box.NorthDeg {
			t.Errorf("%s: %+v, %v is no box", c.name, box, ok)
			continue
		}
		if width := box.EastDeg - box.WestDeg; width > c.widestDeg || (box.EastDeg > 180) != c.crossesDates {
			t.Errorf("%s: %+v, want no more than %v° wide, over the date line %v", c.name, box, c.widestDeg, c.crossesDates)
		}
		for _, p := range c.places {
			lonDeg := p.LonDeg
			for lonDeg < box.WestDeg {
				lonDeg += 360
			}
			if lonDeg > box.EastDeg || p.LatDeg < box.SouthDeg || math.Min(p.LatDeg, mapEdgeDeg) > box.NorthDeg {
				t.Errorf("%s: %+v does not hold %+v", c.name, box, p)
			}
		}
	}
	if box, ok := BoxAround(nil); ok {
		t.Errorf("the box around nothing is %+v", box)
	}
}

// The two tiles of the Borders: Broad Law, 840 m, stands at 55.498° N 3.354° W (Ordnance Survey, from memory); north-east of 55.9° N 2.1° W is sea.
func TestRelief(t *testing.T) {
	world := loadBorders(t)
	box := MapBox{WestDeg: -4, SouthDeg: 55, EastDeg: -2, NorthDeg: 56}
	g, err := relief(t.Context(), world.Store, box)
	if err != nil || g == nil {
		t.Fatalf("no relief: %v", err)
	}
	if g.Columns != reliefCells || math.Abs(float64(g.Rows)/float64(g.Columns)-(NorthingDeg(56)-NorthingDeg(55))/2) > 1e-3 {
		t.Errorf("%d columns and %d rows are not square cells of a box 2° wide", g.Columns, g.Rows)
	}
	at := func(latDeg, lonDeg float64) float64 {
		column := int((lonDeg - box.WestDeg) / (box.EastDeg - box.WestDeg) * float64(g.Columns))
		row := int((NorthingDeg(box.NorthDeg) - NorthingDeg(latDeg)) / (NorthingDeg(box.NorthDeg) - NorthingDeg(box.SouthDeg)) * float64(g.Rows))
		return float64(g.HeightM[row*g.Columns+column])
	}
	if h := at(55.498, -3.354); h < 780 || h > 845 {
		t.Errorf("the cell of Broad Law is %.0f m high, want 780…845", h)
	}
	if h := at(55.97, -2.02); h != NoGround {
		t.Errorf("the sea off Berwick is %.0f m high", h)
	}
	if sea, err := relief(t.Context(), terrain.NewStore(world.Index, terrain.StoreOptions{}), MapBox{WestDeg: -30, SouthDeg: 40, EastDeg: -28, NorthDeg: 41}); sea != nil || err != nil {
		t.Errorf("relief of the open Atlantic: %v, %v, want none", sea, err)
	}
}
