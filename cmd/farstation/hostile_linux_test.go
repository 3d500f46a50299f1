package main

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// hostile is one file of a stranger, or a few, and what the program must make of them.
type hostile struct {
	name string
	// make writes files into the folder, which holds tops.csv and tiles of the small world.
	make func(t *testing.T, dir string)
	args string // of the command; run is where a survey goes
	// status it ends with; says is what stands in its one line where that is an error, or in what it prints.
	status int
	says   string
}

const hostileSurvey = "survey --quiet --min-distance-km 10 --out run "

func gzipped(t *testing.T, content []byte) []byte {
	t.Helper()
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	if _, err := w.Write(content); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return packed.Bytes()
}

// zipped holds members by name, the first n times.
func zipped(t *testing.T, n int, members map[string][]byte) []byte {
	t.Helper()
	var packed bytes.Buffer
	w := zip.NewWriter(&packed)
	for name, content := range members {
		for i := range n {
			if i > 0 {
				name = fmt.Sprintf("%d.csv", i)
			}
			member, err := w.Create(name)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := member.Write(content); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return packed.Bytes()
}

// tiff is a little-endian GeoTIFF of a degree of so many posts a side, whose heights lie at an offset; its one directory points to next: 0, or else it is one of a smaller picture.
func tiff(side, offset, next uint32) []byte {
	type tag struct {
		id, kind uint16
		values   any
	}
	step := 1 / (float64(side) - 1)
	tags := []tag{
		{254, 4, min(next, 1)}, {256, 4, side}, {257, 4, side}, {258, 4, uint32(16)}, {259, 4, uint32(1)}, {262, 4, uint32(1)}, {273, 4, offset}, {277, 4, uint32(1)},
		{278, 4, side}, {279, 4, 2 * side * side}, {339, 4, uint32(2)}, {33550, 12, []float64{step, step, 0}}, {33922, 12, []float64{0, 0, 0, -121, -30, 0}},
		{34735, 3, []uint16{1, 1, 0, 3, 1024, 0, 1, 2, 1025, 0, 1, 2, 2048, 0, 1, 4326}},
	}
	var file, arrays bytes.Buffer
	put := func(into *bytes.Buffer, value any) {
		if err := binary.Write(into, binary.LittleEndian, value); err != nil {
			panic(err)
		}
	}
	file.WriteString("II*\x00\x08\x00\x00\x00")
	put(&file, uint16(len(tags)))
	for _, t := range tags {
		count := uint32(1)
		switch v := t.values.(type) {
		case []float64:
			count = uint32(len(v))
		case []uint16:
			count = uint32(len(v))
		}
		put(&file, t.id)
		put(&file, t.kind)
		put(&file, count)
		if count == 1 {
			put(&file, t.values)
			continue
		}
		put(&file, uint32(8+2+12*len(tags)+4+arrays.Len()))
		put(&arrays, t.values)
	}
	put(&file, next)
	return append(file.Bytes(), arrays.Bytes()...)
}

var hostiles = []hostile{
	{"a gzip bomb", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x.csv.gz"), gzipped(t, append([]byte("name,lat,lon\nA,1.11111,2.22222\n"), bytes.Repeat([]byte{'x'}, 300<<20)...)))
	}, hostileSurvey + "--features x.csv.gz --terrain tiles", statusWrongInput, "x.csv.gz: .*unpacks to more than 200 times its size"},
	{"a zip that leads out of its folder", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x.zip"), zipped(t, 1, map[string][]byte{"../../evil.csv": []byte("name,lat,lon\nA,1.11111,2.22222\n")}))
	}, hostileSurvey + "--features x.zip --terrain tiles", statusWrongInput, `x.zip: .*\.\./\.\./evil.csv`},
	{"a thousand zips in each other", func(t *testing.T, dir string) {
		content := []byte("name,lat,lon\nA,1.11111,2.22222\n")
		for range 1000 {
			content = zipped(t, 1, map[string][]byte{"inner.zip": content})
		}
		mustWrite(t, filepath.Join(dir, "x.zip"), content)
	}, hostileSurvey + "--features x.zip --terrain tiles", statusWrongInput, "x.zip: "},
	{"a zip of 100,000 members", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x.zip"), zipped(t, 100_000, map[string][]byte{"a": nil}))
	}, hostileSurvey + "--features x.zip --terrain tiles", statusWrongInput, "x.zip: "},
	{"a billion laughs", func(t *testing.T, dir string) {
		text := `<?xml version="1.0"?><!DOCTYPE osm [<!ENTITY a0 "ha">`
		for i := range 30 {
			text += fmt.Sprintf(`<!ENTITY a%d "&a%d;&a%d;">`, i+1, i, i)
		}
		mustWrite(t, filepath.Join(dir, "x.osm"), []byte(text+`]><osm version="0.6"><node id="1" lat="1" lon="1"><tag k="name" v="&a30;"/></node></osm>`))
	}, hostileSurvey + "--features x.osm --terrain tiles", statusWrongInput, "x.osm: .*document type"},
	{"a PBF whose blob claims 1 GB", func(t *testing.T, dir string) {
		head := append([]byte{0x0a, 9}, "OSMHeader"...)
		head = append(head, 0x18, 0x80, 0x80, 0x80, 0x80, 0x04) // datasize 2³⁰
		mustWrite(t, filepath.Join(dir, "x.osm.pbf"), append([]byte{0, 0, 0, byte(len(head))}, head...))
	}, hostileSurvey + "--features x.osm.pbf --terrain tiles", statusWrongInput, "x.osm.pbf: .*1073741824"},
	{"a row of 200 MB", func(t *testing.T, dir string) {
		content := append([]byte("name,lat,lon\n\""), bytes.Repeat([]byte("far "), 50<<20)...)
		mustWrite(t, filepath.Join(dir, "x.csv"), content)
	}, hostileSurvey + "--features x.csv --terrain tiles", statusWrongInput, "x.csv"},
	{"GeoJSON of a million brackets", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x.geojson"), []byte(`{"type":"FeatureCollection","features":`+strings.Repeat("[", 1_000_000)))
	}, hostileSurvey + "--features x.geojson --terrain tiles", statusWrongInput, "x.geojson: .*nested more than 1000 deep"},
	{"a device that never ends", nil, hostileSurvey + "--features /dev/zero --terrain tiles", statusWrongInput, "/dev/zero: .*not a regular file"},
	{"a pipe that never begins", func(t *testing.T, dir string) {
		if err := syscall.Mkfifo(filepath.Join(dir, "x.csv"), 0o644); err != nil {
			t.Fatal(err)
		}
	}, hostileSurvey + "--features x.csv --terrain tiles", statusWrongInput, "x.csv: .*not a regular file"},
	{"names that speak to the terminal", func(t *testing.T, dir string) {
		rows := "id,name,kind,latitude_deg,longitude_deg,ground_height_m\n" +
			"../../1,\"\x1b[2J\x1b]0;owned\x07Ombrel\",peak,-30.4,-120.3,900\n2,\"Kessov\u202e\u0085\r\",peak,-30.6,-120.7,700\n3,=cmd(),peak,-30.25,-119.6,1200\n4,<script>alert(1)</script>,peak,-30.75,-119.4,650\n"
		mustWrite(t, filepath.Join(dir, "x.csv"), []byte(rows))
	}, hostileSurvey + "--features x.csv --terrain tiles", statusDone, "Kept: "},

	{"a tile of 1 GB in a zip of 1 MB", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x", "S31W121.zip"), zipped(t, 1, map[string][]byte{"S31W121.hgt": make([]byte, 1<<30)}))
	}, hostileSurvey + "--features tops.csv --terrain x", statusPartly, "S31W121.zip: S31W121.hgt holds more than the 25934402 bytes"},
	{"a tile that leads out of its zip", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x", "S31W121.zip"), zipped(t, 1, map[string][]byte{"../S31W121.hgt": make([]byte, 2*61*61)}))
	}, hostileSurvey + "--features tops.csv --terrain x", statusPartly, `S31W121.zip: member "../S31W121.hgt" leads out of the archive`},
	{"a TIFF whose directory follows itself", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x.tif"), tiff(100, 8, 8))
	}, hostileSurvey + "--features tops.csv --terrain x.tif", statusWrongInput, "x.tif: "},
	{"a TIFF of 2³¹ posts a side", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x.tif"), tiff(1<<31, 8, 0))
	}, hostileSurvey + "--features tops.csv --terrain x.tif", statusWrongInput, "x.tif: "},
	{"a TIFF whose heights lie past its end", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x.tif"), tiff(1201, 0xfffffff0, 0))
	}, hostileSurvey + "--features tops.csv --terrain x.tif", statusPartly, "x.tif: "},
	{"a DTED of 10⁴ lines in 10 kB", func(t *testing.T, dir string) {
		head := append([]byte("UHL11200000W0310000S00100010NA  U               99999999"), bytes.Repeat([]byte{'0'}, 10_000)...)
		mustWrite(t, filepath.Join(dir, "x.dt2"), head)
	}, hostileSurvey + "--features tops.csv --terrain x.dt2", statusWrongInput, "x.dt2: "},
	{"a geoid that claims 2²⁷ nodes", func(t *testing.T, dir string) {
		head := make([]byte, 40)
		for i, v := range []float64{-90, 0, 180. / (1 << 12), 360. / (1 << 15)} {
			binary.BigEndian.PutUint64(head[8*i:], math.Float64bits(v))
		}
		binary.BigEndian.PutUint32(head[32:], 1<<12+1)
		binary.BigEndian.PutUint32(head[36:], 1<<15)
		mustWrite(t, filepath.Join(dir, "x.gtx"), head)
	}, hostileSurvey + "--features tops.csv --terrain tiles,datum=egm2008,geoid=x.gtx", statusWrongInput, "x.gtx: "},

	{"a run.json of 1 GB", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x", "run.json"), nil)
		if err := os.Truncate(filepath.Join(dir, "x", "run.json"), 1<<30); err != nil {
			t.Fatal(err)
		}
	}, "verify x", statusWrongInput, "x.*run.json.*more than 268435456 bytes"},
	{"a run.json of a million brackets", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x", "run.json"), []byte(strings.Repeat("[", 1_000_000)))
	}, "verify x", statusWrongInput, "x: run.json: "},
	{"a run.json that is a pipe", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x", "a"), nil)
		if err := syscall.Mkfifo(filepath.Join(dir, "x", "run.json"), 0o644); err != nil {
			t.Fatal(err)
		}
	}, "changes x x", statusWrongInput, "run.json: is not a regular file"},
	{"a run whose files lie outside of it", func(t *testing.T, dir string) {
		mustEnd(t, dir, statusDone, strings.Fields(hostileSurvey+"--features tops.csv --terrain tiles")...)
		edit(t, filepath.Join(dir, "run", "run.json"), `"name": "ranked.kml"`, `"name": "../../../../../../etc/hostname"`)
	}, "verify run", statusDiffers, "hostname"},
	{"a run whose input is a device and whose table is a pipe", func(t *testing.T, dir string) {
		mustEnd(t, dir, statusDone, strings.Fields(hostileSurvey+"--features tops.csv --terrain tiles")...)
		edit(t, filepath.Join(dir, "run", "run.json"), `"path": "tops.csv"`, `"path": "/dev/zero"`)
		at := filepath.Join(dir, "run", "ranked.csv")
		if err := errors.Join(os.Remove(at), syscall.Mkfifo(at, 0o644)); err != nil {
			t.Fatal(err)
		}
	}, "verify run", statusDiffers, "is not a regular file"},
	{"a share that claims to be 1 of 10⁹", func(t *testing.T, dir string) {
		mustEnd(t, dir, statusDone, strings.Fields("survey --quiet --min-distance-km 10 --out x --features tops.csv --terrain tiles --share 1/2")...)
		edit(t, filepath.Join(dir, "x", "share.json"), `"of": 2`, `"of": 1000000000`)
	}, "gather x --out run", statusWrongInput, "share"},
	{"a table whose foot is to have 4 GiB", func(t *testing.T, dir string) {
		mustEnd(t, dir, statusDone, strings.Fields(hostileSurvey+"--features tops.csv --terrain tiles")...)
		at := filepath.Join(dir, "run", "sightlines.parquet")
		content, err := os.ReadFile(at)
		if err != nil {
			t.Fatal(err)
		}
		copy(content[len(content)-8:], "\xff\xff\xff\xff")
		mustWrite(t, at, content)
	}, "changes run run", statusWrongInput, "sightlines.parquet: .*foot is to have 4294967295 bytes"},
	{"a claim of a million brackets", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x.json"), []byte(strings.Repeat(`{"a":`, 1_000_000)))
	}, "claim --check x.json", statusWrongInput, "claim x.json: "},
	{"a photograph of 65,535 × 65,535 pixels that is cut off", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x.jpg"), []byte("\xff\xd8\xff\xe1\x00\x1aExif\x00\x00II*\x00\x08\x00\x00\x00\x01\x00\x69\x87\x04\x00\xff\xff\xff\xff"+
			"\xff\xc0\x00\x11\x08\xff\xff\xff\xff\x03\x01\x22\x00\x02\x11\x01\x03\x11\x01"))
		mustWrite(t, filepath.Join(dir, "points.csv"), []byte("name_or_id,part,x_px,y_px,sd_px\nOmbrel,top,100,100,1\n"))
	}, "weigh --photo x.jpg --points points.csv --features tops.csv --terrain tiles --out run", statusWrongInput, "x.jpg"},
	{"a sounding of 1 GB", func(t *testing.T, dir string) {
		mustWrite(t, filepath.Join(dir, "x.csv"), []byte("height_m,temperature_c\n"))
		if err := os.Truncate(filepath.Join(dir, "x.csv"), 1<<30); err != nil {
			t.Fatal(err)
		}
	}, hostileSurvey + "--features tops.csv --terrain tiles --air x.csv", statusWrongInput, "x.csv: .*more than"},
}

// edit replaces a text in a file, which must hold it.
func edit(t *testing.T, path, old, with string) {
	t.Helper()
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(content, []byte(old)) {
		t.Fatalf("%s holds no %s", path, old)
	}
	mustWrite(t, path, bytes.Replace(content, []byte(old), []byte(with), 1))
}

// Files that were made to harm: each ends with one line that names the file, in little time and memory, and leaves nothing.
func TestHostileSet(t *testing.T) {
	for _, h := range hostiles {
		t.Run(h.name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "a", "work")
			writeSmallWorld(t, dir)
			if h.make != nil {
				h.make(t, dir)
			}
			var out, said bytes.Buffer
			command := exec.Command("farstation", strings.Fields(h.args)...)
			command.Dir, command.Stdout, command.Stderr = dir, &out, &said
			began := time.Now()
			if err := command.Start(); err != nil {
				t.Fatal(err)
			}
			timer := time.AfterFunc(time.Minute, func() { command.Process.Kill() })
			most := watchMemory(command.Process.Pid)
			err := command.Wait()
			timer.Stop()
			kib := <-most
			var exit *exec.ExitError
			if err != nil && !errors.As(err, &exit) {
				t.Fatal(err)
			}
			t.Logf("ends with %d after %.1f s and %d MiB: %s", command.ProcessState.ExitCode(), time.Since(began).Seconds(), kib>>10, strings.TrimSpace(said.String()))
			if got := command.ProcessState.ExitCode(); got != h.status {
				t.Errorf("ended with %d, want %d", got, h.status)
			}
			const mostKiB = 500 << 10
			if kib > mostKiB {
				t.Errorf("took %d KiB", kib)
			}
			text := said.String()
			if h.status == statusDone || h.status == statusDiffers {
				text = out.String()
			}
			if !regexp.MustCompile(h.says).MatchString(text) {
				t.Errorf("says %q, want %s", text, h.says)
			}
			for line := range strings.Lines(said.String()) {
				if !strings.HasPrefix(line, "farstation: ") || len(line) > 1000 {
					t.Errorf("no clear line: %q", line)
				}
			}
			if lines := strings.Count(said.String(), "\n"); lines > 2 {
				t.Errorf("%d lines", lines)
			}
			for _, shown := range []string{out.String(), said.String()} {
				if strings.ContainsAny(shown, "\x1b\x07\r\u0085\u202e") {
					t.Errorf("speaks to the terminal: %q", shown)
				}
			}
			wantNothingOutside(t, dir)
			if h.status == statusWrongInput && strings.Contains(h.args, "--out run") {
				if _, err := os.Lstat(filepath.Join(dir, "run")); !errors.Is(err, fs.ErrNotExist) {
					t.Errorf("a folder is left: %v", err)
				}
			}
		})
	}
}

// watchMemory gives the most memory in KiB that a process was seen to have, once it has ended. The most that the system tells of it is no less
// than that of the process that started it.
func watchMemory(pid int) <-chan int64 {
	most := make(chan int64, 1)
	go func() {
		kib := int64(0)
		for {
			status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
			_, text, found := strings.Cut(string(status), "\nVmHWM:")
			if err != nil || !found {
				break
			}
			number, _, _ := strings.Cut(strings.TrimSpace(text), " ")
			if n, err := strconv.ParseInt(number, 10, 64); err == nil {
				kib = max(kib, n)
			}
			time.Sleep(5 * time.Millisecond)
		}
		most <- kib
	}()
	return most
}

// wantNothingOutside looks at the two folders over the one that was worked in.
func wantNothingOutside(t *testing.T, dir string) {
	t.Helper()
	for _, folder := range []string{filepath.Dir(dir), filepath.Dir(filepath.Dir(dir))} {
		if names := namesOf(t, folder); len(names) != 1 {
			t.Errorf("%s holds %q", folder, names)
		}
	}
}
