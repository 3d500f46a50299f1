package reports

import (
	"fmt"
	"slices"
	"time"
	"unicode/utf8"

	"farstation/pipeline"
)

// mostOutingRows bounds the rows of a table on a sheet that is carried in a pocket; outing.json has all.
const mostOutingRows = 40

// longestNumber is the length of the longest cell that is still a number, or two.
const longestNumber = 36

func outingTables(o *pipeline.Outing, zone *time.Location) map[string]htmlTable {
	tables := map[string]htmlTable{}
	add := func(name, caption string, heads []string, rows [][]string) {
		t := htmlTable{Caption: caption}
		// Long texts run on over lines, which numbers must not.
		numeric := make([]bool, len(heads))
		for i, head := range heads {
			numeric[i] = i > 0 && !slices.ContainsFunc(rows, func(row []string) bool { return utf8.RuneCountInString(row[i]) > longestNumber })
			t.Columns = append(t.Columns, htmlColumn{Head: head, Numeric: numeric[i]})
		}
		if n := len(rows); n > mostOutingRows {
			t.Caption = fmt.Sprintf("%s (the first %d of %d; outing.json has all)", caption, mostOutingRows, n)
			rows = rows[:mostOutingRows]
		}
		for _, row := range rows {
			var cells []htmlTableCell
			for i, cell := range row {
				if i == 0 {
					cells = append(cells, htmlTableCell{HTML: htmlName(cell, 60), RowHead: true})
					continue
				}
				cells = append(cells, htmlTableCell{HTML: htmlName(cell, 200), Numeric: numeric[i]})
			}
			t.Rows = append(t.Rows, cells)
		}
		tables[name] = t
	}
	text := func(v *float64, write func(float64) string) string { return optional(v, write, "").Text }
	both := func(t time.Time) string {
		return t.In(zone).Format("2 Jan 2006 15:04:05") + " (" + t.UTC().Format("15:04:05") + " UTC)"
	}
	clock := func(t *time.Time) string {
		if t == nil {
			return none
		}
		return t.In(zone).Format("15:04")
	}

	var rows [][]string
	for _, w := range o.Sky.Windows {
		rows = append(rows, []string{lightWords[w.Light], w.From.In(zone).Format("2 Jan 2006 15:04"), w.To.In(zone).Format("15:04"), w.From.UTC().Format("15:04") + "–" + w.To.UTC().Format("15:04"),
			decimals(w.SunAzimuthDeg, 0) + "°", decimals(w.SunElevationDeg, 1) + "°"})
	}
	add("Windows", "Useful light", []string{"light", "from", "to", "UTC", "sun’s azimuth", "sun’s elevation"}, rows)

	rows = nil
	for _, p := range o.Sky.Passes {
		lit := none
		if p.MoonLit != nil {
			lit = decimals(100**p.MoonLit, 0) + " %"
		}
		rows = append(rows, []string{p.Body, both(p.At), "± " + decimals(p.SDSeconds, 0) + " s", arcmin(p.SeparationArcmin), decimals(p.BodyElevationDeg, 2) + "°", lit})
	}
	add("Passes", "Sun or moon behind the top", []string{"body", "nearest at", "spread from k", "its centre from the top", "elevation", "lit"}, rows)

	rows = nil
	for _, d := range o.Sky.Days {
		rise, set, moonrise, moonset := clock(d.Sunrise), clock(d.Sunset), clock(d.Moonrise), clock(d.Moonset)
		if d.Sunrise == nil && d.Sunset == nil {
			rise = d.State
		}
		if d.Moonrise == nil && d.Moonset == nil {
			moonrise = d.MoonState
		}
		rows = append(rows, []string{d.Date, clock(d.CivilDawn), rise, set, clock(d.CivilDusk), clock(d.NauticalDusk), clock(d.AstronomicalDusk), moonrise, moonset, decimals(100*d.MoonLit, 0) + " %"})
	}
	add("Days", "Sun and moon, local time", []string{"day", "civil dawn", "sunrise", "sunset", "civil dusk", "nautical dusk", "astronomical dusk", "moonrise", "moonset", "moon lit"}, rows)

	rows = nil
	for _, k := range o.Air.ByK {
		rows = append(rows, []string{"k = " + decimals(k.K, 2), arcmin(k.MarginArcmin), text(k.ObscuredHeightM, metres), text(k.PartInView, func(v float64) string { return decimals(100*v, 0) + " %" }), text(k.SeparationArcmin, arcmin)})
	}
	add("ByK", "What the curved Earth shows at each k, to read the picture in the field", []string{"refraction", "top over all ground", "all below is out of view", "part in view", "far top over the near one"}, rows)

	rows = nil
	for _, k := range o.Air.Expected {
		rows = append(rows, []string{k.When, k.K, k.Source})
	}
	add("Expected", "What k to expect", []string{"air", "k", "source"}, rows)

	rows = nil
	for i, f := range o.FallBacks {
		rows = append(rows, []string{fmt.Sprintf("%d. %s to %s", i+1, plainName(f.Observer), plainName(f.Target)), kilometres(f.DistanceM), decimals(f.AzimuthDeg, 0) + "°", kilometres(f.AwayM),
			fmt.Sprintf("%.5f, %.5f", f.LatitudeDeg, f.LongitudeDeg), decimals(f.VisualRangeNeededKM, 0) + " km", f.Why})
	}
	add("FallBacks", "Other lines near by", []string{"line", "distance", "azimuth", "its stand is away", "stand", "visual range", "why"}, rows)

	rows = nil
	for _, t := range o.Frame.Tops {
		shows := func(v bool) string {
			if v {
				return "in view"
			}
			return "out of view"
		}
		rows = append(rows, []string{t.Name, kilometres(t.DistanceM), decimals(t.AzimuthDeg-o.Frame.CentreAzimuthDeg, 2) + "°", decimals(t.CurvedDeg*60, 1) + "′ (" + decimals(t.KLowDeg*60, 1) + "…" + decimals(t.KHighDeg*60, 1) + ")",
			shows(t.InView), decimals(t.PlaneDeg*60, 1) + "′", shows(t.OnPlane)})
	}
	add("Tops", "Tops in the frame: apparent elevation under each model", []string{"top", "distance", "right of the centre", "curved (at low and high k)", "on the curved Earth", "plane", "on the plane"}, rows)
	return tables
}

var lightWords = map[string]string{"silhouette": "silhouette: the sun is behind", "side": "side light", "front": "light from behind the camera", "sun_near_frame": "sun near the frame"}
