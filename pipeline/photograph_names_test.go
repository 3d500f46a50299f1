package pipeline

import (
	"context"
	"slices"
	"strings"
	"testing"
)

// unnamedRows blanks the names of tops, all but those that are kept, and leaves other parts out.
func unnamedRows(kept ...string) func([]string) []string {
	return func(rows []string) []string {
		var out []string
		for _, row := range rows {
			name, rest, _ := strings.Cut(row, ",")
			switch {
			case slices.Contains(kept, name):
				out = append(out, row)
			case strings.HasPrefix(rest, "top,"):
				out = append(out, ","+rest)
			}
		}
		return out
	}
}

// TestUnnamedPointsFindTheirNames: seven tops without a name, among hundreds all round that could be meant, are named by the fit and decide as they do with
// their names; on the Earth and on a plane alike, for neither model chooses the names.
func TestUnnamedPointsFindTheirNames(t *testing.T) {
	for _, test := range []struct {
		name      string
		curvature float64
		kept      []string
		outcome   string
	}{
		{"curved, none named", 1 - 0.143, nil, WeighedCurved},
		{"curved, two named", 1 - 0.143, []string{"Hallowfell", "Braven"}, WeighedCurved},
		{"plane, none named", 0, nil, WeighedPlane},
		{"plane, two named", 0, []string{"Hallowfell", "Braven"}, WeighedPlane},
	} {
		t.Run(test.name, func(t *testing.T) {
			right, wrong, unsure := 0, 0, 0
			const draws = 6
			for seed := range uint64(draws) {
				m := newMadePhotograph(500+seed, test.curvature)
				m.decoys, m.edit = 150, unnamedRows(test.kept...)
				o := m.write(t)
				o.FocalPx, o.FocalSD = m.focalPx*1.01, 0.03
				w, err := Weigh(context.Background(), o)
				if err != nil {
					t.Fatal(err)
				}
				for _, n := range w.Names {
					// The order of rows is that of the tops, and so is that of the names.
					i := slices.IndexFunc(w.Tops, func(top WeighedTop) bool { return top.XPx == n.XPx && top.YPx == n.YPx })
					switch {
					case !n.Used:
						unsure++
					case i < 0 || w.Tops[i].Name != n.Name:
						t.Errorf("seed %d: %s is used and not among the tops", seed, n.Name)
					case strings.HasPrefix(n.Name, "Decoy"):
						wrong++
					default:
						right++
					}
				}
				if w.Outcome != test.outcome {
					t.Errorf("seed %d: outcome %s: %q; names %+v", seed, w.Outcome, w.Sentences, w.Names)
				}
			}
			t.Logf("%d named right, %d wrong, %d not sure", right, wrong, unsure)
			if wrong > 0 || right < 6*unsure {
				t.Errorf("%d named right, %d wrong, %d not sure", right, wrong, unsure)
			}
		})
	}
}
