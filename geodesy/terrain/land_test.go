package terrain

import (
	"math"
	"testing"
)

// Common geography (from memory).
func TestLandCell(t *testing.T) {
	tests := []struct {
		name           string
		latDeg, lonDeg int
		want           bool
	}{
		{"Scottish Borders", 55, -3, true},
		{"Bernese Alps", 46, 8, true},
		{"Antigua", 17, -62, true},
		{"Saint Peter and Saint Paul Archipelago, 0.92 N 29.35 W", 0, -30, true},
		{"Tristan da Cunha, 37.1 S 12.3 W", -38, -13, true},
		{"Lake Superior: no sea", 47, -88, true},
		{"Dead Sea", 31, 35, true},
		{"south pole", -90, 0, true},
		{"Antarctica, 88.5 S", -89, 0, true},
		{"north of Greenland's coast at 83.6 N", 84, -33, false},
		{"Atlantic on the equator", 0, -25, false},
		{"Gulf of Guinea, 0 N 0 E", 0, 0, false},
		{"Gulf of Guinea, south-west of 0 N 0 E", -1, -1, false},
		{"Southern Ocean", -60, 0, false},
		{"north pole", 89, 0, false},
		{"Black Sea", 43, 34, false},
		{"Caspian Sea", 42, 50, false},
		{"Ross Ice Shelf", -81, -175, false},
		{"Wrangel Island west of 180", 71, 179, true},
		{"Wrangel Island east of 180", 71, -180, true},
		{"Chukotka west of 180", 67, 179, true},
		{"Chukotka east of 180", 67, -180, true},
		{"Fiji, Taveuni and Vanua Levu west of 180", -17, 179, true},
		{"Fiji, Taveuni and Rabi east of 180", -17, -180, true},
		{"Pacific west of 180", 30, 179, false},
		{"Pacific east of 180", 30, -180, false},
		{"past the north pole", 90, 0, false},
		{"past the south pole", -91, 0, false},
	}
	for _, test := range tests {
		for _, turn := range []int{-720, -360, 0, 360, 720} {
			if got := LandCell(test.latDeg, test.lonDeg+turn); got != test.want {
				t.Errorf("LandCell(%d, %d) = %v, want %v (%s)", test.latDeg, test.lonDeg+turn, got, test.want, test.name)
			}
		}
	}
}

// Land covers 29.2 % of the Earth (common practice, no source); cells on coasts add to it, ice shelves are missing. The
// count is that of the embedded mask, to notice a mask made from another map.
func TestLandCellTotals(t *testing.T) {
	count, share := 0, 0.0
	for lat := -90; lat < 90; lat++ {
		for lon := -180; lon < 180; lon++ {
			if LandCell(lat, lon) {
				count++
				share += (math.Sin(float64(lat+1)*math.Pi/180) - math.Sin(float64(lat)*math.Pi/180)) / 720
			}
		}
	}
	if share < 0.292 || share > 0.38 {
		t.Errorf("land cells cover %.4f of the Earth, want 0.292 to 0.38", share)
	}
	if count != 25417 {
		t.Errorf("%d land cells, want 25417", count)
	}
}

func BenchmarkLandCell(b *testing.B) {
	n := 0
	for b.Loop() {
		if LandCell(55, -3) {
			n++
		}
	}
}
