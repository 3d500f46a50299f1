package reports

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"farstation/pipeline"
)

// A sheet that is carried in a pocket holds so many rows of a table, and so many days; outing.json has all.
const (
	outingRows   = 6
	outingLights = 10
	outingOthers = 3
	outingPasses = 6
	outingDays   = 8
)

// sheetTable is a table of texts.
type sheetTable struct{ htmlTable }

// outingTable begins a table; heads that begin with # are those of numbers.
func outingTable(caption string, heads ...string) *sheetTable {
	t := &sheetTable{htmlTable{Caption: caption}}
	for _, head := range heads {
		words, numeric := strings.CutPrefix(head, "#")
		t.Columns = append(t.Columns, htmlColumn{Head: words, Numeric: numeric})
	}
	return t
}

// row adds a row, its first cell as its head.
func (t *sheetTable) row(texts ...string) {
	var cells []htmlTableCell
	for i, text := range texts {
		cell := htmlTableCell{Numeric: t.Columns[i].Numeric, RowHead: i == 0}
		if text != "" {
			cell.HTML = htmlName(text, 200)
		}
		cells = append(cells, cell)
	}
	t.Rows = append(t.Rows, cells)
}

// cut keeps the first rows, and says so.
func (t *sheetTable) cut(most int) htmlTable {
	if n := len(t.Rows); n > most {
		t.Rows = t.Rows[:most]
		t.Caption += fmt.Sprintf("; the first %d of %d, outing.json has all", most, n)
	}
	return t.htmlTable
}

// topsByWeight are the tops of a frame, those of the line first, then from the middle of the frame outwards.
func topsByWeight(f *pipeline.OutingFrame) []*pipeline.OutingTop {
	var tops []*pipeline.OutingTop
	for i := range f.Tops {
		tops = append(tops, &f.Tops[i])
	}
	slices.SortStableFunc(tops, func(a, b *pipeline.OutingTop) int {
		if (a.Role != "") != (b.Role != "") {
			return cmp.Compare(b.Role, a.Role)
		}
		return cmp.Compare(math.Abs(rightOf(f, a)), math.Abs(rightOf(f, b)))
	})
	return tops
}

// rightOf is how far right of the frame's centre a top stands, in degrees of azimuth.
func rightOf(f *pipeline.OutingFrame, t *pipeline.OutingTop) float64 {
	return math.Remainder(t.AzimuthDeg-f.CentreAzimuthDeg, 360)
}

func topTable(o *pipeline.Outing) htmlTable {
	t := outingTable("Tops in the frame; elevations from the eye’s horizontal", "top", "#distance", "#right of the centre", "#curved (low k … high k)", "curved", "#plane", "plane")
	f := &o.Frame
	for _, top := range topsByWeight(f) {
		shows := func(v bool) string {
			if v {
				return "in view"
			}
			return "out of view"
		}
		name := plainName(top.Name)
		if top.Role != "" {
			name += " (" + top.Role + " top)"
		}
		t.row(name, kilometres(top.DistanceM), decimals(rightOf(f, top), 2)+"°", fmt.Sprintf("%s (%s … %s)", arcmin(60*top.CurvedDeg), decimals(60*top.KLowDeg, 1), decimals(60*top.KHighDeg, 1)),
			shows(top.InView), arcmin(60*top.PlaneDeg), shows(top.OnPlane))
	}
	return t.cut(outingRows)
}

func fallBackTable(o *pipeline.Outing) htmlTable {
	t := outingTable("Other lines near by, to fall back on", "line", "#distance", "#azimuth", "stand", "why")
	for i := range o.FallBacks {
		b := &o.FallBacks[i]
		at, line := decimals(b.LatitudeDeg, 5)+",\u00a0"+decimals(b.LongitudeDeg, 5), isolated(b.Observer)+" to "+isolated(b.Target)
		if b.AwayM == 0 {
			at, line = "the same", "to "+isolated(b.Target)
		}
		t.row(line, kilometres(b.DistanceM), decimals(b.AzimuthDeg, 0)+"°", at, plainNote(b.Why))
	}
	return t.cut(outingOthers)
}

func atKTable(o *pipeline.Outing) htmlTable {
	t := outingTable("What the curved Earth shows at each k, to read the picture in the field", "k", "#top over all ground", "#all is cut off below", "#part in view", "#far top over near top")
	for i := range o.Air.ByK {
		a := &o.Air.ByK[i]
		k := decimals(a.K, 3)
		if a.K == o.Line.KFree {
			k += ",\u00a0expected"
		}
		t.row(k, arcmin(a.MarginArcmin), optional(a.ObscuredHeightM, metres, "").Text, optional(a.PartInView, percent, "").Text, optional(a.SeparationArcmin, arcmin, "").Text)
	}
	return t.htmlTable
}
