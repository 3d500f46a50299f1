package gazetteer

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// osmFiles are the extracts in testdata.
func osmFiles() []string {
	return []string{"malta-latest.osm.pbf", "north-bayreuth.osm.gz", "hohe-warte.osm.gz", "beatty.osm.gz"}
}

func testdata(name string) string { return filepath.Join("..", "testdata", name) }

// osmium runs the program of that name, an independent reader of the same files, and returns its output.
func osmium(t testing.TB, arguments ...string) []byte {
	t.Helper()
	program, err := exec.LookPath("osmium")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("osmium is wanted under CI: %v", err)
		}
		t.Skip("the program osmium is not installed: files are not held against it")
	}
	command := exec.CommandContext(t.Context(), program, arguments...)
	var failed strings.Builder
	command.Stderr = &failed
	out, err := command.Output()
	if err != nil {
		t.Fatalf("osmium %v: %v: %s", arguments, err, failed.String())
	}
	return out
}

// osmiumFilters are the tags of each kind as osmium's filters.
func osmiumFilters() map[Kind][]string {
	return map[Kind][]string{
		Peak: {"nwr/natural=peak"}, Hill: {"nwr/natural=hill,ridge"}, Volcano: {"nwr/natural=volcano"},
		Tower: {"nwr/man_made=tower,communications_tower,water_tower"}, Mast: {"nwr/man_made=mast"}, Chimney: {"nwr/man_made=chimney"},
		Lighthouse: {"nwr/man_made=lighthouse"}, Turbine: {"nwr/generator:source=wind", "nwr/generator:method=wind_turbine"}, Viewpoint: {"nwr/tourism=viewpoint"},
	}
}

// TestOSMAgainstOsmium: the ids of every kind are those that osmium finds with a name.
func TestOSMAgainstOsmium(t *testing.T) {
	types := map[byte]osmType{'n': osmNode, 'w': osmWay, 'r': osmRelation}
	for _, name := range osmFiles() {
		t.Run(name, func(t *testing.T) {
			features, report, err := readPath(t, testdata(name), ReadOptions{})
			if err != nil {
				t.Fatal(err)
			}
			got := map[Kind][]string{}
			for _, f := range features {
				got[f.Kind] = append(got[f.Kind], f.ID)
			}
			want := map[Kind][]string{}
			found := map[string]bool{} // a tower may be a viewpoint too
			for kind, filters := range osmiumFilters() {
				arguments := append([]string{"tags-filter", "--omit-referenced", "-f", "opl", "-o", "-", testdata(name)}, filters...)
				for line := range strings.Lines(string(osmium(t, arguments...))) {
					tags := ""
					for field := range strings.FieldsSeq(line) {
						if field[0] == 'T' {
							tags = "," + field[1:]
						}
					}
					if kind == Hill && strings.Contains(tags, ",natural=ridge") && !strings.Contains(tags, ",ele=") ||
						kind == Turbine && !strings.Contains(tags, ",power=generator") {
						continue
					}
					id, _, _ := strings.Cut(line[1:], " ")
					id = "osm:" + string(types[line[0]]) + "/" + id
					found[id] = true
					if strings.Contains(tags, ",name=") || strings.Contains(tags, ",name:") || strings.Contains(tags, ",alt_name=") {
						want[kind] = append(want[kind], id)
					}
				}
			}
			for _, ids := range [](map[Kind][]string){got, want} {
				for kind := range ids {
					slices.Sort(ids[kind])
				}
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("ids by kind (-osmium +read):\n%s", diff)
			}
			counts := ""
			for _, kind := range slices.Sorted(maps.Keys(got)) {
				counts += fmt.Sprintf(" %s %d", kind, len(got[kind]))
			}
			if nameless := report.PassedOverKinds["no name"]; len(found) != report.Used+report.RejectedRows+nameless {
				t.Errorf("osmium finds %d objects of our kinds, read are %d used, %d rejected, %d without a name", len(found), report.Used, report.RejectedRows, nameless)
			}
			t.Logf("%s: %d rows, %d used (%s ), %d passed over (%d of our kinds without a name), %d rejected", name, report.Rows, report.Used, counts, report.PassedOver,
				report.PassedOverKinds["no name"], report.RejectedRows)
		})
	}
}

// TestOSMPlacesAgainstOsmium: the middle of every way and relation is that of the box around the shape that osmium exports.
func TestOSMPlacesAgainstOsmium(t *testing.T) {
	for _, name := range osmFiles() {
		t.Run(name, func(t *testing.T) {
			features, _, err := readPath(t, testdata(name), ReadOptions{})
			if err != nil {
				t.Fatal(err)
			}
			exported := map[string]json.RawMessage{}
			for line := range strings.Lines(string(osmium(t, "export", "-f", "geojsonseq", "-x", "print_record_separator=false", "-u", "type_id", testdata(name)))) {
				var shape struct {
					ID       string          `json:"id"`
					Geometry json.RawMessage `json:"geometry"`
				}
				if err := json.Unmarshal([]byte(line), &shape); err != nil {
					t.Fatal(err)
				}
				number, err := strconv.ParseInt(shape.ID[1:], 10, 64)
				if err != nil {
					t.Fatal(err)
				}
				id := fmt.Sprintf("osm:node/%d", number)
				switch {
				case shape.ID[0] == 'w':
					id = fmt.Sprintf("osm:way/%d", number)
				case shape.ID[0] == 'a' && number%2 == 0: // areas of ways have their id twofold, of relations twofold and one
					id = fmt.Sprintf("osm:way/%d", number/2)
				case shape.ID[0] == 'a':
					id = fmt.Sprintf("osm:relation/%d", number/2)
				}
				exported[id] = shape.Geometry
			}
			areas := 0
			for _, f := range features {
				shape, ok := exported[f.ID]
				if !ok {
					t.Errorf("osmium exports no shape of %s", f.ID)
					continue
				}
				latText, lonText, halfM, err := geometryMiddle(shape)
				if err != nil {
					t.Fatal(err)
				}
				lat, _ := strconv.ParseFloat(latText, 64)
				lon, _ := strconv.ParseFloat(lonText, 64)
				if math.Abs(f.At.LatDeg-lat) > 1.1e-7 || math.Abs(f.At.LonDeg-lon) > 1.1e-7 {
					t.Errorf("%s %s stands at %v, osmium has the middle at %v, %v", f.ID, f.Name, f.At, lat, lon)
				}
				if halfM > 0 {
					areas++
					if want := boxSpreadM(halfM); math.Abs(f.PositionSDM-want) > 0.05 {
						t.Errorf("%s has a spread of %v m, want %v", f.ID, f.PositionSDM, want)
					}
				}
			}
			t.Logf("%s: %d features at osmium's places, %d of them ways or relations", name, len(features), areas)
		})
	}
}

// TestOSMBothForms: a file turned by osmium from XML to PBF, or from PBF to XML, gives the same features, whatever the writer's options.
func TestOSMBothForms(t *testing.T) {
	for _, name := range osmFiles() {
		want, report, err := readPath(t, testdata(name), ReadOptions{})
		if err != nil {
			t.Fatal(err)
		}
		forms := []string{"a.osm", "b.osm.pbf", "c.osm.pbf,pbf_dense_nodes=false,pbf_compression=none,add_metadata=false", "d.osm.pbf,locations_on_ways=true"}
		for _, form := range forms {
			file, options, _ := strings.Cut(form, ",")
			path := filepath.Join(t.TempDir(), file)
			arguments := []string{"cat", testdata(name), "-o", path}
			if strings.HasPrefix(options, "locations_on_ways") {
				arguments = []string{"add-locations-to-ways", "--keep-untagged-nodes", testdata(name), "-o", path}
			} else if options != "" {
				arguments = append(arguments, "-f", "pbf,"+options)
			}
			osmium(t, arguments...)
			got, other, err := readPath(t, path, ReadOptions{})
			if err != nil {
				t.Fatalf("%s as %s: %v", name, form, err)
			}
			if diff := cmp.Diff(want, got, cmpopts.EquateNaNs(), cmpopts.IgnoreFields(Feature{}, "Line")); diff != "" {
				t.Errorf("%s as %s (-as it is +turned):\n%s", name, form, diff)
			}
			if other.Rows != report.Rows || other.RejectedRows != report.RejectedRows || !maps.Equal(other.PassedOverKinds, report.PassedOverKinds) {
				t.Errorf("%s as %s: %+v, want the counts of %+v", name, form, other, report)
			}
		}
	}
}
