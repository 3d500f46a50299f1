package pipeline

import (
	"bytes"
	"errors"
	"maps"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"farstation/gazetteer"
)

func FuzzParseClaim(f *testing.F) {
	claim := &Claim{Form: ClaimForm}
	text, err := claim.Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte(`{"form":"` + ClaimForm + `","a":{"b":[1.5e300,-0,"\u0000\ud83d\ude00"]},"a":1}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		if members, err := parseObject(text); err == nil {
			once, err := hashWithout(members, "sha256")
			again, errAgain := hashWithout(maps.Clone(members), "sha256")
			if once != again || (err == nil) != (errAgain == nil) {
				t.Errorf("hash %s, then %s; %v, %v", once, again, err, errAgain)
			}
		}
		claim, err := ParseClaim(text)
		if err == nil && (claim.Model(ModelCurved) == nil || claim.Model(ModelPlane) == nil) {
			t.Error("a claim without its models")
		}
	})
}

func FuzzReadPoints(f *testing.F) {
	points, err := os.ReadFile("../cmd/farstation/demo/photograph/points.csv")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(points)
	f.Add([]byte("name_or_id;part;x_px;y_px;sd_px;frame\nA;top;1,5;2,5;0,3;2\n\"B\n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		points, _, err := ReadPoints(bytes.NewReader(content), 0, 3)
		if err != nil {
			return
		}
		for _, p := range points {
			if math.IsNaN(p.XPx) || math.IsInf(p.YPx, 0) || p.Part != PartAbsent && !(p.SDPx >= leastPointSDPx) || p.Frame < 0 || p.Frame > 2 {
				t.Errorf("%+v", p)
			}
		}
	})
}

func FuzzReadOutcomes(f *testing.F) {
	f.Add([]byte("line_id,date,outcome,note\ncsv:1>csv:2,2031-05-20,seen,\ncsv:1>csv:2,2031-05-21,Not-seen,\"a\nb\"\n"))
	f.Add([]byte("\ufeffline_id;date;outcome\nx;22.5.;air not clear\n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		outcomes, rejected, err := ReadOutcomes(bytes.NewReader(content))
		if err != nil {
			return
		}
		chance := 0.5
		lines := map[string]*float64{}
		for _, o := range outcomes {
			lines[o.LineID] = &chance
		}
		if score := ScoreOutcomes(outcomes, rejected, lines); score == nil {
			t.Error("no score")
		}
	})
}

// A photograph's EXIF is a stranger's; whatever it holds, numbers that are taken from it are numbers.
func FuzzReadPhotograph(f *testing.F) {
	photograph, err := os.ReadFile("../cmd/farstation/demo/photograph/olmeque-head.jpg")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(photograph[:4096])
	f.Add(append(bytes.Clone(photograph[:200]), exifSegment(nil, nil, nil)...))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, content []byte) {
		path := filepath.Join(dir, "photograph")
		if err := os.WriteFile(path, content, 0o644); err != nil {
			t.Fatal(err)
		}
		p, err := ReadPhotograph(path)
		if err != nil {
			return
		}
		if p.WidthPx < 1 || p.HeightPx < 1 || p.WidthPx > mostPhotographPx || p.HeightPx > mostPhotographPx {
			t.Errorf("%d × %d pixels", p.WidthPx, p.HeightPx)
		}
	})
}

func FuzzParseWeights(f *testing.F) {
	f.Add("reach=1,loss=1.5")
	f.Add("reach=NaN, sky=1e999,=,loss")
	f.Fuzz(func(t *testing.T, list string) {
		weights, err := ParseWeights(list, TestWeights())
		if err != nil {
			return
		}
		for name, w := range weights {
			if !(w >= 0) || math.IsInf(w, 0) {
				t.Errorf("%s: %v", name, w)
			}
		}
	})
}

// A file of records that was spoilt, though its folder states its hash, gives an error.
func FuzzReadRecords(f *testing.F) {
	dir := f.TempDir()
	opts := hillOptions()
	opts.Features = []string{fewHills(f, 12)}
	r, err := Survey(f.Context(), opts, nil)
	if err != nil {
		f.Fatal(err)
	}
	defer r.Close()
	var whole bytes.Buffer
	if err := r.Records.Write(&whole); err != nil {
		f.Fatal(err)
	}
	f.Add(whole.Bytes())
	f.Fuzz(func(t *testing.T, content []byte) {
		path := filepath.Join(dir, "records")
		if err := os.WriteFile(path, content, 0o644); err != nil {
			t.Fatal(err)
		}
		records, err := OpenRecords(path)
		if err != nil {
			if !errors.Is(err, ErrNoRecords) {
				t.Errorf("%v", err)
			}
			return
		}
		defer records.Close()
		for i := range min(len(records.head.Observers), 100) {
			records.observer(i)
		}
	})
}

// What an observer's record holds is read back as it was, and anything else is an error.
func FuzzDecodeObserver(f *testing.F) {
	f.Add((&observerRecord{}).encode())
	f.Add((&observerRecord{Lines: []traceRecord{{}}, Others: []otherPair{{TargetID: "csv:1", Verdict: Direct}}, Blocked: 3}).encode())
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := decodeObserver(b)
		if err != nil {
			return
		}
		again := r.encode()
		if same, err := decodeObserver(again); err != nil || !bytes.Equal(same.encode(), again) {
			t.Errorf("what was read is written as %x, and read again with %v", again, err)
		}
	})
}

// The same for the head of a file of records.
func FuzzDecodeHead(f *testing.F) {
	whole := recordsHead{
		Form: recordsForm, Cells: []cellPrint{{LatDeg: -90, LonDeg: 179}}, Features: []featurePrint{{ID: "csv:1", LatDeg: 1, LonDeg: 2, Target: true, ReachM: 3}},
		Observers: []recordPlace{{ID: "csv:1"}},
	}
	f.Add(appendWire(nil, reflect.ValueOf(whole)))
	f.Fuzz(func(t *testing.T, b []byte) {
		var head, same recordsHead
		if readWire(b, &head) != nil {
			return
		}
		again := appendWire(nil, reflect.ValueOf(head))
		if err := readWire(again, &same); err != nil || !bytes.Equal(appendWire(nil, reflect.ValueOf(same)), again) {
			t.Errorf("what was read is written as %x, and read again as %+v, %v", again, same, err)
		}
	})
}

func FuzzReadCase(f *testing.F) {
	f.Add([]byte(`{"form":"` + CaseForm + `","photos":[{"file":"a.jpg"}],"points":[{"file":"points.csv"}]}`))
	f.Add([]byte(`{"form":"` + CaseForm + `","photos":[{"file":"../a.jpg"}],"points":[{"file":"/etc/passwd"}]}`))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, text []byte) {
		if err := os.WriteFile(filepath.Join(dir, CaseFile), text, 0o644); err != nil {
			t.Fatal(err)
		}
		if c, err := ReadCase(dir); err == nil {
			t.Errorf("a case without its files: %+v", c)
		}
	})
}

func FuzzParseKinds(f *testing.F) {
	f.Add("peak, hill,")
	f.Fuzz(func(t *testing.T, text string) {
		kinds, err := gazetteer.ParseKinds(text)
		if err == nil && len(kinds) > len(gazetteer.Kinds()) {
			t.Errorf("%d kinds", len(kinds))
		}
	})
}
