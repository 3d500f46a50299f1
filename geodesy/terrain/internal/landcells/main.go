// Command landcells makes the mask of 1° × 1° cells that hold land, which package terrain embeds.
//
//	npm pack world-atlas@2.0.2 && tar xzf world-atlas-2.0.2.tgz
//	go run ./geodesy/terrain/internal/landcells --land package/land-10m.json --out geodesy/terrain/land_cells.bin
//
// It prints the SHA-256 of the map it read and the number of cells, which package terrain records.
package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"flag"
	"fmt"
	"log"
	"math"
	"os"
)

func main() {
	log.SetFlags(0)
	land := flag.String("land", "land-10m.json", "TopoJSON of land, the object \"land\", to read")
	out := flag.String("out", "land_cells.bin", "file to write")
	flag.Parse()
	if err := run(*land, *out); err != nil {
		log.Fatalf("landcells %s: %v", *land, err)
	}
}

func run(landPath, outPath string) error {
	raw, err := os.ReadFile(landPath)
	if err != nil {
		return err
	}
	rings, err := readRings(raw)
	if err != nil {
		return err
	}
	var cells mask
	cells.markEdges(rings)
	coasts := cells.count()
	if err := cells.markInsides(rings); err != nil {
		return err
	}
	fmt.Printf("read %d bytes, SHA-256 %x, %d rings\n%d cells hold land, %d of them touched by a coast\n",
		len(raw), sha256.Sum256(raw), len(rings), cells.count(), coasts)
	return os.WriteFile(outPath, cells[:], 0o644)
}

// point is longitude and latitude in degrees.
type point struct{ lon, lat float64 }

// topology is the part of a TopoJSON file (specification 1.0) that multi-polygons of land need.
type topology struct {
	Transform struct {
		Scale, Translate [2]float64
	}
	Arcs    [][][2]int
	Objects struct {
		Land struct {
			Geometries []struct {
				Type string
				Arcs json.RawMessage
			}
		}
	}
}

// readRings returns the rings of all polygons, outer and inner alike, each closed.
func readRings(raw []byte) ([][]point, error) {
	var topo topology
	if err := json.NewDecoder(bytes.NewReader(raw)).Decode(&topo); err != nil {
		return nil, fmt.Errorf("TopoJSON: %w", err)
	}
	arcs := make([][]point, len(topo.Arcs))
	for i, steps := range topo.Arcs {
		x, y := 0, 0
		for _, step := range steps {
			x, y = x+step[0], y+step[1]
			arcs[i] = append(arcs[i], point{
				lon: float64(x)*topo.Transform.Scale[0] + topo.Transform.Translate[0],
				lat: float64(y)*topo.Transform.Scale[1] + topo.Transform.Translate[1],
			})
		}
	}
	var rings [][]point
	for i, geometry := range topo.Objects.Land.Geometries {
		if geometry.Type != "MultiPolygon" {
			return nil, fmt.Errorf("land geometry %d is a %s, want a MultiPolygon", i, geometry.Type)
		}
		var polygons [][][]int
		if err := json.Unmarshal(geometry.Arcs, &polygons); err != nil {
			return nil, fmt.Errorf("land geometry %d: %w", i, err)
		}
		for _, polygon := range polygons {
			for _, indices := range polygon {
				ring, err := joinArcs(arcs, indices)
				if err != nil {
					return nil, fmt.Errorf("land geometry %d: %w", i, err)
				}
				if !isNullIsland(ring) {
					rings = append(rings, ring)
				}
			}
		}
	}
	if len(rings) == 0 {
		return nil, fmt.Errorf("no polygon in the object \"land\": give world-atlas' land-10m.json")
	}
	return rings, nil
}

// isNullIsland tells the square that Natural Earth draws around 0° N 0° E, where there is only a buoy.
func isNullIsland(ring []point) bool {
	for _, p := range ring {
		if math.Abs(p.lon) > 0.01 || math.Abs(p.lat) > 0.01 {
			return false
		}
	}
	return true
}

// joinArcs strings arcs together; the index ^i means arc i backwards, and each arc starts where the one before it ended.
func joinArcs(arcs [][]point, indices []int) ([]point, error) {
	var ring []point
	for _, index := range indices {
		backwards := index < 0
		if backwards {
			index = ^index
		}
		if index >= len(arcs) {
			return nil, fmt.Errorf("arc %d of %d", index, len(arcs))
		}
		arc := arcs[index]
		for i := range arc {
			p := arc[i]
			if backwards {
				p = arc[len(arc)-1-i]
			}
			if i == 0 && len(ring) > 0 {
				if p != ring[len(ring)-1] {
					return nil, fmt.Errorf("arc %d starts at %v, the arc before it ends at %v", index, p, ring[len(ring)-1])
				}
				continue
			}
			ring = append(ring, p)
		}
	}
	// The map's rounding has left islets of two points; they hold no area but still tell of land.
	if len(ring) < 2 || ring[0] != ring[len(ring)-1] {
		return nil, fmt.Errorf("a ring of %d points is not closed", len(ring))
	}
	return ring, nil
}
