package main

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

// What the program may take to refuse a file. A survey of the small world takes some 60 MiB; the time is for a slow machine.
const (
	mostHostileKiB  = 400 << 10
	mostHostileTime = 60 * time.Second
)

// zipMade packs members of names and contents, in their order.
func zipMade(t *testing.T, members ...zipMember) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, m := range members {
		head := &zip.FileHeader{Name: m.name, Method: zip.Deflate}
		head.SetMode(m.mode | 0o644)
		f, err := w.CreateHeader(head)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Write(m.content); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

type zipMember struct {
	name    string
	content []byte
	mode    fs.FileMode
}

// nestedZips is a zip in a zip, and so on.
func nestedZips(t *testing.T, levels int, inner zipMember) []byte {
	t.Helper()
	for range levels {
		inner.content = zipMade(t, inner)
	}
	return inner.content
}

// manyMembers is an archive of so many members.
func manyMembers(t *testing.T, n int, name string) []byte {
	t.Helper()
	members := make([]zipMember, n)
	for i := range members {
		members[i].name = fmt.Sprintf("%06d/%s", i, name)
	}
	return zipMade(t, members...)
}

// tiffMade is a TIFF of one directory (TIFF 6.0, section 2) with the tags that a tile of 1° from 31° S, 120° W has (OGC GeoTIFF 1.1, annex), but
// for those that are changed. next is where it says that the next directory lies.
func tiffMade(changed map[uint16]uint32, next uint32) []byte {
	const posts, short, long, double = 61, 3, 4, 12
	type tag struct {
		number, kind uint16
		count, value uint32
	}
	tags := []tag{
		{254, long, 1, 0}, {256, long, 1, posts}, {257, long, 1, posts}, {258, short, 1, 16}, {259, short, 1, 1}, {273, long, 1, 512}, {277, short, 1, 1},
		{278, long, 1, posts}, {279, long, 1, 2 * posts * posts}, {339, short, 1, 2}, {33550, double, 3, 256}, {33922, double, 6, 288}, {34735, short, 12, 344},
	}
	file := make([]byte, 512, 512+2*posts*posts)
	little := binary.LittleEndian
	copy(file, "II*\x00\x08\x00\x00\x00")
	little.PutUint16(file[8:], uint16(len(tags)))
	for i, tag := range tags {
		if value, ok := changed[tag.number]; ok {
			tag.value = value
		}
		at := file[10+12*i:]
		little.PutUint16(at, tag.number)
		little.PutUint16(at[2:], tag.kind)
		little.PutUint32(at[4:], tag.count)
		little.PutUint32(at[8:], tag.value)
	}
	little.PutUint32(file[10+12*len(tags):], next)
	for i, v := range []float64{1. / 60, 1. / 60, 0, 0, 0, 0, -120, -30, 0} {
		little.PutUint64(file[256+8*i:], math.Float64bits(v))
	}
	for i, v := range []uint16{1, 1, 0, 2, 1024, 0, 1, 2, 2048, 0, 1, 4326} { // geographic, WGS84
		little.PutUint16(file[344+2*i:], v)
	}
	return append(file, make([]byte, 2*posts*posts)...)
}

// blobClaim is a PBF whose first blob claims so many bytes.
func blobClaim(claimed uint64) []byte {
	head := append([]byte("\x0a\x09OSMHeader"), 0x18)
	head = binary.AppendUvarint(head, claimed)
	return append(append(binary.BigEndian.AppendUint32(nil, uint32(len(head))), head...), "\x10\x00"...)
}

// hugePNG is the head of a picture of so many pixels a side (PNG specification, section 11.2.2).
func hugePNG(side uint32) []byte {
	chunk := []byte("IHDR")
	chunk = binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(chunk, side), side)
	chunk = append(chunk, 8, 2, 0, 0, 0)
	file := append([]byte("\x89PNG\r\n\x1a\n"), 0, 0, 0, 13)
	return binary.BigEndian.AppendUint32(append(file, chunk...), crc32.ChecksumIEEE(chunk))
}

const billionLaughs = `<?xml version="1.0"?>
<!DOCTYPE osm [<!ENTITY a "haha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]>
<osm version="0.6"><node id="1" lat="-30.4" lon="-120.3"><tag k="name" v="&c;"/><tag k="natural" v="peak"/></node></osm>
`

// TestHostileFiles gives files that are made to do harm. Each is refused with one line, in bounded memory and time, and nothing is written.
func TestHostileFiles(t *testing.T) {
	header := []byte("id,name,kind,latitude_deg,longitude_deg,ground_height_m\n")
	bomb := append(slices.Clone(header), make([]byte, 200<<20)...)
	row := append(slices.Clone(header), "1,Ombrel,peak,-30.4,-120.3,900\n"...)
	tile := make([]byte, 2*61*61)
	const once, directory = "features", "terrain"
	tests := []struct {
		name, flag, file string
		content          func() []byte
		want             string
	}{
		{"zip bomb", once, "a.zip", func() []byte { return zipMade(t, zipMember{name: "a.csv", content: bomb}) }, `a\.zip: member a\.csv: unpacks to more than 200 times its size: this is no gazetteer`},
		{"gzip bomb", once, "a.gz", func() []byte { return gzipped(t, bomb) }, `a\.gz: unpacks to more than 200 times its size: this is no gazetteer`},
		{"gzip bomb in a gzip", once, "a.gz", func() []byte { return gzipped(t, gzipped(t, bomb)) }, `a\.gz: unpacks to more than 200 times its size: this is no gazetteer`},
		{"1,000 nested zips", once, "a.zip", func() []byte { return nestedZips(t, 1000, zipMember{name: "a.csv", content: row}) }, `a\.zip: member a\.csv: holds a zip inside another archive: unpack the outer one first`},
		{"100,000 members", once, "a.zip", func() []byte { return manyMembers(t, 100_000, "a.csv") }, `a\.zip: holds more than 10000 members: unpack it and name the file that is wanted`},
		{"link in a zip", once, "a.zip", func() []byte {
			return zipMade(t, zipMember{"a.csv", []byte("/etc/passwd"), fs.ModeSymlink})
		}, `a\.zip: member a\.csv: not a format that farstation reads`},
		{"billion laughs", once, "a.osm", func() []byte { return []byte(billionLaughs) }, `a\.osm: line 2: <!…> declares a document type, which OpenStreetMap's XML has not: export the file again`},
		{"blob of 1 GB", once, "a.osm.pbf", func() []byte { return blobClaim(1 << 30) }, `a\.osm\.pbf: a blob claims 1073741824 bytes, where 0…33554432 are allowed: it is damaged: download the file again`},
		{"blob of 2⁶³ bytes", once, "a.osm.pbf", func() []byte { return blobClaim(1 << 63) }, `a\.osm\.pbf: a blob claims -9223372036854775808 bytes, where 0…33554432 are allowed`},
		{"field of 100 MB alone", once, "a.csv", func() []byte {
			return append(append(slices.Clone(header), '1', ',', '"'), bytes.Repeat([]byte("x"), 100<<20)...)
		}, `a\.csv: none of its 1 rows can be used; line 2: line is longer than 1048576 bytes`},
		{"zip slip", directory, "S31W120.zip", func() []byte {
			return zipMade(t, zipMember{name: "../../S31W120.hgt", content: tile})
		}, `S31W120\.zip: member "\.\./\.\./S31W120\.hgt" leads out of the archive: download the tile from its publisher`},
		{"link for a tile in a zip", directory, "S31W120.zip", func() []byte {
			return zipMade(t, zipMember{"S31W120.hgt", []byte("/dev/zero"), fs.ModeSymlink})
		}, `S31W120\.zip: S31W120\.hgt: 9 bytes, want`},
		{"bomb of a tile", directory, "S31W120.zip", func() []byte { return zipMade(t, zipMember{name: "S31W120.hgt", content: bomb}) }, `S31W120\.zip: S31W120\.hgt holds more than the 25934402 bytes of the largest tile \(1″\): it is no tile, leave it out`},
		{"gzip bomb of a tile", directory, "S31W120.hgt.gz", func() []byte { return gzipped(t, bomb) }, `S31W120\.hgt\.gz: holds more than the 25934402 bytes of the largest tile \(1″\): it is no tile, leave it out`},
		{"100,000 tiles in a zip", directory, "S31W120.zip", func() []byte { return manyMembers(t, 100_000, "S31W120.hgt") }, `S31W120\.zip: (cannot be expanded \()?holds more than 10000 members`},
		{"directory that follows itself", directory, "a.tif", func() []byte { return tiffMade(map[uint16]uint32{254: 1}, 8) }, `a\.tif: directory at byte 8 follows itself: download the tile again`},
		{"2³¹ posts", directory, "a.tif", func() []byte { return tiffMade(map[uint16]uint32{256: 1 << 31, 257: 1 << 31}, 0) }, `a\.tif: 2147483648 × 2147483648 posts, want 1 to 2147483647 each way: check the file`},
		{"2³¹ − 1 posts", directory, "a.tif", func() []byte { return tiffMade(map[uint16]uint32{256: 1<<31 - 1, 257: 1<<31 - 1}, 0) }, `a\.tif: strips of 2147483647 × 61 posts, want 1 to 33554432 bytes a row: check the file`},
		{"strip of 2³¹ rows", directory, "a.tif", func() []byte {
			return tiffMade(map[uint16]uint32{257: 1<<31 - 1, 259: 8, 278: 1<<31 - 1}, 0)
		}, `a\.tif: strips of 61 × 2147483647 posts unpack to more than 1024 MiB: rewrite with gdal_translate -co TILED=YES`},
		{"tag past the end", directory, "a.tif", func() []byte { return tiffMade(map[uint16]uint32{33550: 1<<32 - 1}, 0) }, `a\.tif: tag 33550: 24 bytes at byte 4294967295 reach past the end of the file at byte 7954: download the tile again`},
		{"strip past the end", directory, "a.tif", func() []byte { return tiffMade(map[uint16]uint32{273: 1<<32 - 1}, 0) }, `a\.tif: strip 0: lies at byte 4294967295, past the end of the file at byte 7954: download the tile again`},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			work := t.TempDir()
			writeSmallWorld(t, work)
			mustWrite(t, filepath.Join(work, test.file), test.content())
			args := map[string][]string{
				once: {"--features", test.file, "--terrain", "tiles"}, directory: {"--features", "tops.csv", "--terrain", test.file},
			}[test.flag]
			said := hostileEnd(t, work, statusWrongInput, append([]string{"survey", "--quiet", "--strict", "--out", "run"}, args...)...)
			wantOneLine(t, test.name, said, test.flag+" "+test.want)
			want := []string{test.file, "tiles", "tops.csv"}
			slices.Sort(want)
			wantNames(t, test.name, work, want...)
		})
	}
}

// hostileEnd is mustEnd within bounds of memory and time.
func hostileEnd(t *testing.T, dir string, status int, args ...string) string {
	t.Helper()
	command := exec.Command("farstation", args...)
	started := time.Now()
	said := mustEndAs(t, dir, status, command)
	spent, kib := time.Since(started), command.ProcessState.SysUsage().(*syscall.Rusage).Maxrss
	t.Logf("%d MiB, %v: %s", kib>>10, spent.Round(10*time.Millisecond), strings.TrimSpace(said))
	if kib > mostHostileKiB || spent > mostHostileTime {
		t.Errorf("farstation %q took %d KiB and %v, want at most %d KiB and %v", args, kib, spent, mostHostileKiB, mostHostileTime)
	}
	return said
}

// TestHostilePictures weighs pictures that are made to do harm.
func TestHostilePictures(t *testing.T) {
	work := t.TempDir()
	writeSmallWorld(t, work)
	mustWrite(t, filepath.Join(work, "points.csv"), []byte("name_or_id,part,x_px,y_px,sd_px\nOmbrel,top,10,10,1\n"))
	for name, test := range map[string]struct {
		content []byte
		want    string
	}{
		"2³¹ − 1 pixels a side": {hugePNG(1<<31 - 1), `a\.png: `},
		"100,000 pixels a side": {hugePNG(100_000), `a\.png: 100000 × 100000 pixels: want 1…`},
		"no picture":            {[]byte("\x89PNG\r\n\x1a\n"), `a\.png: `},
	} {
		mustWrite(t, filepath.Join(work, "a.png"), test.content)
		said := hostileEnd(t, work, statusWrongInput, "weigh", "--photo", "a.png", "--points", "points.csv", "--camera=-30.3,-120.1", "--features", "tops.csv", "--terrain", "tiles")
		wantOneLine(t, name, said, "photograph "+test.want)
	}
}

// TestHostileNames surveys things whose names and ids are made to drive a terminal, a browser, a spreadsheet or a file system.
func TestHostileNames(t *testing.T) {
	work := t.TempDir()
	writeSmallWorld(t, work)
	mustWrite(t, filepath.Join(work, "tops.csv"), []byte("id,name,kind,latitude_deg,longitude_deg,ground_height_m\n"+
		"../../../evil,\"\x1b]0;owned\aOmbrel\x1b[31m\",peak,-30.4,-120.3,900\n"+
		"a/b/../c,</script><script>alert(1)</script><b>&amp;]]>,peak,-30.6,-120.7,700\n"+
		"=1+2,\"=HYPERLINK(\"\"http://x\"\"),\"\"\n+9\",peak,-30.25,-119.6,1200\n"+
		"C:\\evil,Hol\x00mec \xff\xfe,peak,-30.75,-119.4,650\n"+
		"nul\x00id,Nul,peak,-30.7,-119.5,600\n"+
		"rtl,\u202eevil\u2028\u0085Ulvare,peak,-30.5,-119.85,400\n"))
	command := exec.Command("farstation", "survey", "--min-distance-km", "10", "--features", "tops.csv", "--terrain", "tiles", "--out", "run")
	var printed bytes.Buffer
	command.Stdout = &printed
	said := mustEndAs(t, work, statusDone, command)
	for where, text := range map[string]string{"standard output": printed.String(), "standard error": said} {
		if at := strings.IndexFunc(text, func(r rune) bool {
			return r < ' ' && r != '\n' || r >= 0x7f && r < 0xa0 || r == '\u202e' || r == '\u2028' || r == '\ufffd'
		}); at >= 0 {
			t.Errorf("%s holds %q", where, text[max(0, at-30):min(len(text), at+10)])
		}
	}
	if !strings.Contains(printed.String(), "Ombrel") {
		t.Errorf("nothing is said of Ombrel:\n%s", printed.String())
	}
	wantNames(t, "hostile names", work, "run", "tiles", "tops.csv")
	if err := wholeRun(filepath.Join(work, "run")); err != nil {
		t.Error(err)
	}
	read := func(name string) []byte {
		content, err := os.ReadFile(filepath.Join(work, "run", name))
		if err != nil {
			t.Fatal(err)
		}
		if at := bytes.IndexFunc(content, func(r rune) bool { return r < ' ' && r != '\n' && r != '\t' && r != '\r' || r == '\u007f' }); at >= 0 {
			t.Errorf("%s holds %q", name, content[max(0, at-30):min(len(content), at+10)])
		}
		return content
	}
	if page := read("report.html"); bytes.Contains(page, []byte("<script>alert")) || bytes.Contains(page, []byte("<b>&")) {
		t.Error("report.html holds a name as markup")
	}
	for decoder := xml.NewDecoder(bytes.NewReader(read("ranked.kml"))); ; {
		if _, err := decoder.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("ranked.kml: %v", err)
		}
	}
	for _, name := range []string{"ranked.geojson", "run.json", "datapackage.json"} {
		if !json.Valid(read(name)) {
			t.Errorf("%s is no JSON", name)
		}
	}
	rows, err := csv.NewReader(bytes.NewReader(read("ranked.csv"))).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Errorf("ranked.csv: %d rows, %v", len(rows), err)
	}
	for _, row := range rows {
		for _, field := range row {
			if strings.HasPrefix(field, "=") || strings.HasPrefix(field, "@") {
				t.Errorf("ranked.csv holds the formula %q", field)
			}
		}
	}
}

// TestGoodAmongBad reads what is good of a file with a field that is too long, and of an archive whose member is named as if it lay elsewhere;
// the name leads nowhere. A run may lie in the folder of its tiles.
func TestGoodAmongBad(t *testing.T) {
	work := t.TempDir()
	writeSmallWorld(t, work)
	tops, err := os.ReadFile(filepath.Join(work, "tops.csv"))
	if err != nil {
		t.Fatal(err)
	}
	long := slices.Concat(tops, []byte("9,\""), bytes.Repeat([]byte("x"), 100<<20), []byte("\",peak,-30.4,-120.3,900\n"))
	mustWrite(t, filepath.Join(work, "long.csv"), long)
	mustWrite(t, filepath.Join(work, "a.zip"), zipMade(t, zipMember{name: "../../escaped.csv", content: tops}, zipMember{name: "/etc/escaped.csv", content: []byte("no gazetteer")}))
	survey := []string{"survey", "--quiet", "--min-distance-km", "10", "--terrain", "tiles", "--features"}
	for _, of := range [][2]string{{"long.csv", "one"}, {"a.zip", "two"}, {"tops.csv", "tiles/run"}, {"tops.csv", "three"}} {
		if said := hostileEnd(t, work, statusDone, append(slices.Clone(survey), of[0], "--out", of[1])...); said != "" {
			t.Errorf("%s: it says %s", of[0], said)
		}
		if err := wholeRun(filepath.Join(work, of[1])); err != nil {
			t.Error(err)
		}
	}
	wantSameRuns(t, filepath.Join(work, "tiles/run"), filepath.Join(work, "three"))
	wantNames(t, "good among bad", work, "a.zip", "long.csv", "one", "three", "tiles", "tops.csv", "two")
	wantNames(t, "above", filepath.Dir(work), filepath.Base(work))
}
