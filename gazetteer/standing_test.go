package gazetteer

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"farstation/geodesy"
)

// What stands again has the heights of the record that has it standing.
func TestRebuiltMast(t *testing.T) {
	at := geodesy.LatLon{LatDeg: 54.9, LonDeg: -3.1}
	mast := func(id string, h float64, doubts []string, end string) Feature {
		return Feature{ID: id, Name: "Caldbeck mast", Kind: Mast, At: at, Listed: at, GroundHeightM: math.NaN(), ListedHeightM: math.NaN(), StructureHeightM: h,
			StructureHeightSDM: 2, PositionSDM: 30, GroundHeightSDM: 10, Doubts: doubts, EndDate: end, Sources: []string{id}}
	}
	for _, ids := range [][2]string{{"osm:node/1", "osm:node/2"}, {"osm:node/2", "osm:node/1"}} {
		got, _ := Merge([]Feature{mast(ids[0], 300, []string{DoubtNotStanding}, "2009"), mast(ids[1], 50, nil, "")})
		if len(got) != 1 || !got[0].Stands() {
			t.Fatal(got)
		}
		if f := got[0]; f.StructureHeightM != 50 || f.ID != ids[1] || f.EndDate != "" || len(f.Sources) != 2 {
			t.Errorf("the mast that stands has %v m, id %s, until %q, sources %v", f.StructureHeightM, f.ID, f.EndDate, f.Sources)
		}
	}
}

// Tags of OpenStreetMap mean the same in GeoJSON.
func TestGeoJSONEndDate(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.geojson")
	os.WriteFile(path, []byte(`{"type":"FeatureCollection","features":[{"type":"Feature","id":"node/7","geometry":{"type":"Point","coordinates":[-3.1,54.9]},"properties":{"man_made":"mast","name":"Gone mast","tower:height":"310","end_date":"2009"}}]}`), 0o600)
	_, err := ReadFile(context.Background(), path, ReadOptions{}, func(f Feature) error {
		if f.Stands() || f.EndDate != "2009" || f.StructureHeightM != 310 {
			t.Errorf("stands %v, end %q, height %v %v", f.Stands(), f.EndDate, f.StructureHeightM, f.Doubts)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
