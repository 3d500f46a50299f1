package main

import (
	"strings"
	"testing"
)

// around is a land from the south pole up to latitude 60.5° S, its edge going once around.
var around = []point{{-180, -60.5}, {-90, -60.5}, {0, -60.5}, {90, -60.5}, {-180, -60.5}}

func (m *mask) has(latDeg, lonDeg int) bool {
	var probe mask
	probe.mark(latDeg, lonDeg)
	for i, b := range probe {
		if b != 0 {
			return m[i]&b != 0
		}
	}
	return false
}

func TestMask(t *testing.T) {
	tests := []struct {
		name string
		ring []point
		land [][2]int // latitude, longitude; no other cell north of 60° S
	}{
		{"islet inside a cell", []point{{10.2, 50.2}, {10.3, 50.2}, {10.2, 50.3}, {10.2, 50.2}}, [][2]int{{50, 10}}},
		{"sliver over an edge", []point{{10.5, 50.5}, {11.001, 50.5}, {10.5, 50.501}, {10.5, 50.5}}, [][2]int{{50, 10}, {50, 11}}},
		{"square with one inner cell", []point{{-0.5, -0.5}, {-0.5, 1.5}, {1.5, 1.5}, {1.5, -0.5}, {-0.5, -0.5}},
			[][2]int{{-1, -1}, {-1, 0}, {-1, 1}, {0, -1}, {0, 0}, {0, 1}, {1, -1}, {1, 0}, {1, 1}}},
		{"over the date line", []point{{178.9, 0.1}, {-179.1, 0.1}, {-179.1, 0.9}, {178.9, 0.9}, {178.9, 0.1}},
			[][2]int{{0, 178}, {0, 179}, {0, -180}}},
		{"a slant edge clips a corner", []point{{10.9, 50.5}, {11.5, 51.1}, {11.5, 50.5}, {10.9, 50.5}},
			[][2]int{{50, 10}, {50, 11}, {51, 11}}},
	}
	for _, test := range tests {
		var got, want mask
		rings := [][]point{around, test.ring}
		got.markEdges(rings)
		if err := got.markInsides(rings); err != nil {
			t.Fatalf("%s: %v", test.name, err)
		}
		for lon := -180; lon < 180; lon++ {
			for lat := -90; lat < -60; lat++ {
				want.mark(lat, lon)
			}
		}
		for _, cell := range test.land {
			want.mark(cell[0], cell[1])
		}
		if got != want {
			for lat := -90; lat < 90; lat++ {
				for lon := -180; lon < 180; lon++ {
					if got.has(lat, lon) != want.has(lat, lon) {
						t.Errorf("%s: cell %d, %d is %v, want %v", test.name, lat, lon, got.has(lat, lon), want.has(lat, lon))
					}
				}
			}
		}
	}
}

func TestMaskNeedsThePole(t *testing.T) {
	var m mask
	if err := m.markInsides([][]point{{{10.2, 50.2}, {10.8, 50.2}, {10.2, 50.3}, {10.2, 50.2}}}); err == nil {
		t.Error("markInsides of a map without Antarctica succeeds, want an error")
	}
}

func TestReadRings(t *testing.T) {
	// Two arcs make the outer ring, the second one backwards; the other polygon is the square around 0° N 0° E.
	const good = `{"type":"Topology","transform":{"scale":[0.5,0.25],"translate":[10,50]},
		"arcs":[[[0,0],[2,0],[0,4]],[[0,0],[0,4],[2,0]],[[-20,-200],[0,0],[0,0],[0,0],[0,0]]],
		"objects":{"land":{"type":"GeometryCollection","geometries":[{"type":"MultiPolygon","arcs":[[[0,-2]],[[2]]]}]}}}`
	rings, err := readRings([]byte(good))
	if err != nil {
		t.Fatal(err)
	}
	want := []point{{10, 50}, {11, 50}, {11, 51}, {10, 51}, {10, 50}}
	if len(rings) != 1 || len(rings[0]) != len(want) {
		t.Fatalf("rings %v, want one: %v", rings, want)
	}
	for i, p := range rings[0] {
		if p != want[i] {
			t.Errorf("point %d is %v, want %v", i, p, want[i])
		}
	}

	for name, bad := range map[string]string{
		"not JSON":         `{`,
		"no land":          `{"objects":{}}`,
		"other type":       strings.Replace(good, "MultiPolygon", "Point", 1),
		"missing arc":      strings.Replace(good, "[2]]]", "[7]]]", 1),
		"arcs do not meet": strings.Replace(good, "[0,-2]", "[0,1]", 1),
		"open ring":        strings.Replace(good, "[0,-2]", "[0]", 1),
	} {
		if _, err := readRings([]byte(bad)); err == nil {
			t.Errorf("%s: readRings succeeds, want an error", name)
		}
	}
}
