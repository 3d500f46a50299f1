package reports

import (
	"fmt"
	"math"
	"strings"
	"time"

	"farstation/geodesy"
	"farstation/geodesy/sky"
	"farstation/pipeline"
)

// A strip of hours has so many rows at most, and looks at the sun in steps of so many minutes.
const (
	hoursRows  = 31
	hoursStep  = 10
	hoursLeft  = 92.0
	hoursRight = figureWidth - 20
	dayMinutes = 24 * 60
)

func hoursX(minutes float64) float64 { return hoursLeft + (hoursRight-hoursLeft)*minutes/dayMinutes }

// sunClasses are the classes of the sun's apparent elevation in a strip of hours, the lowest first.
var sunClasses = []struct {
	belowDeg     float64
	class, words string
}{
	{-6, "night", "sun below −6°"}, {0, "dusk", "−6° to 0°"}, {15, "low", "0° to 15°"}, {math.Inf(1), "day", "higher"},
}

// outingHours draws each day as a strip of 24 hours on the local clock: the sun's elevation, the useful light, passes and glare; nil without days.
func outingHours(o *pipeline.Outing, zone *time.Location) ([]byte, error) {
	step := stepOf(len(o.Sky.Days), hoursRows)
	var days []string
	for i := 0; i < len(o.Sky.Days); i += step {
		days = append(days, o.Sky.Days[i].Date)
	}
	if len(days) == 0 {
		return nil, nil
	}
	// Few days get high rows, many low ones.
	row := math.Max(6.5, math.Min(18, 205/float64(len(days))))
	const top = 40.0
	bottom := top + row*float64(len(days))
	c := &canvas{id: "sheet-hours"}
	rows := map[string]float64{}
	for i, date := range days {
		y := top + row*float64(i)
		rows[date] = y
		c.sunRow(o, date, zone, y, row-1.5)
		if row >= 13 || i%2 == 0 { // labels need 13 units
			c.text(hoursLeft-6, y+row/2+3, "axis", "end", date, "")
		}
	}
	for _, windows := range [][]pipeline.OutingWindow{o.Sky.Windows, o.Sky.Glare} {
		for i := range windows {
			c.windowBox(&windows[i], zone, rows, row)
		}
	}
	for _, pass := range o.Sky.Passes {
		if y, ok := rows[pass.At.In(zone).Format(time.DateOnly)]; ok {
			kind := markFront
			if pass.Body == "moon" {
				kind = markGrazing
			}
			c.mark(kind, hoursX(clockOf(pass.At, zone).Minutes()), y+row/2-1)
		}
	}
	c.hourScales(o, days, zone, top, bottom)
	y := bottom + 38
	items := make([]legendItem, 0, 10)
	for _, class := range sunClasses {
		items = append(items, legendItem{fill: class.class, words: class.words})
	}
	items = append(items, legendItem{fill: "silhouette", words: "silhouette"}, legendItem{hatch: true, words: "side light"}, legendItem{cross: true, words: "front light"},
		legendItem{line: "overhead", words: "sun above target"}, legendItem{mark: markFront, words: "sun behind top"}, legendItem{mark: markGrazing, words: "moon"})
	if len(o.Sky.Glare) > 0 {
		items = append(items, legendItem{line: "glare", words: "sun near frame"})
	}
	end := c.legend(items, 0, figureWidth, y)
	words := "Rows are days, from " + days[0] + " to " + days[len(days)-1] + "; hours are those of the local clock. The hours of useful light stand in the tables."
	if step > 1 {
		words += fmt.Sprintf(" One day in %d is drawn.", step)
	}
	return c.svg(FigureOptions{Inline: true}, end-6, "Light by day and hour", words)
}

// sunRow draws the sun's elevation through one day, and when it stands over the target's azimuth.
func (c *canvas) sunRow(o *pipeline.Outing, date string, zone *time.Location, y, height float64) {
	eye := sky.Observer{Position: geodesy.LatLon{LatDeg: o.Stand.LatitudeDeg, LonDeg: o.Stand.LongitudeDeg}, HeightM: o.Stand.EyeHeightM}
	class, since, beside := -1, 0, 0.0
	for minutes := 0; minutes <= dayMinutes; minutes += hoursStep {
		at, ok := localTime(date, min(minutes+hoursStep/2, dayMinutes), zone)
		if !ok {
			return
		}
		sun := eye.Place(sky.Sun, sky.At(at))
		now := 0
		for sun.ApparentElevationRad >= sunClasses[now].belowDeg*math.Pi/180 {
			now++
		}
		if class >= 0 && (now != class || minutes == dayMinutes) {
			c.rect(sunClasses[class].class, hoursX(float64(since)), y, hoursX(float64(minutes))-hoursX(float64(since)), height)
			since = minutes
		}
		aside := math.Remainder(sun.AzimuthRad*180/math.Pi-o.Line.AzimuthDeg, 360)
		if class >= 0 && now > 0 && aside*beside < 0 && math.Abs(aside-beside) < 90 {
			x := hoursX(float64(minutes) + hoursStep*(beside/(beside-aside)-0.5))
			c.path("overhead", fmt.Sprintf("M%s %sv%s", coord(x), coord(y-1), coord(height+2)))
		}
		class, beside = now, aside
	}
}

// windowBox draws one window of light in the row of its day, and what lies past midnight in the next.
func (c *canvas) windowBox(w *pipeline.OutingWindow, zone *time.Location, rows map[string]float64, row float64) {
	from := clockOf(w.From, zone).Minutes()
	to := from + w.To.Sub(w.From).Minutes()
	for day := w.From.In(zone); to > 0; day, from, to = day.AddDate(0, 0, 1), 0, to-dayMinutes {
		y, ok := rows[day.Format(time.DateOnly)]
		if !ok {
			continue
		}
		x, width := hoursX(from), hoursX(math.Min(to, dayMinutes))-hoursX(from)
		switch width = math.Max(width, 1.5); w.Light {
		case "silhouette":
			c.rect("silhouette", x, y+0.7, width, row-2.9)
		case "side":
			c.hatched(x, y+0.7, width, row-2.9)
		case "front":
			c.crossed(x, y+0.7, width, row-2.9)
		default:
			c.path("glare", fmt.Sprintf("M%s %sh%s", coord(x), coord(y+row-1.6), coord(width)))
		}
	}
}

// hourScales writes the local hours over the rows, and UTC under them where the clocks are not changed in between.
func (c *canvas) hourScales(o *pipeline.Outing, days []string, zone *time.Location, top, bottom float64) {
	var offsets []string
	for _, date := range days {
		if noon, ok := localTime(date, dayMinutes/2, zone); ok {
			if words := offsetWords(offsetAt(noon, zone)); len(offsets) == 0 || offsets[len(offsets)-1] != words {
				offsets = append(offsets, words)
			}
		}
	}
	c.text(0, 14, "panel", "start", "Hours of the local clock, "+plainName(zone.String())+", "+strings.Join(offsets, ", then "), "")
	for hour := 0; hour <= 24; hour += 3 {
		x := hoursX(float64(60 * hour))
		c.path("grid", fmt.Sprintf("M%s %sV%s", coord(x), coord(top-5), coord(bottom+3)))
		c.text(x, top-9, "axis", "middle", fmt.Sprintf("%02d", hour%24), "")
		if noon, ok := localTime(days[0], dayMinutes/2, zone); ok && len(offsets) == 1 {
			c.text(x, bottom+16, "axis", "middle", hourWords(time.Duration(hour)*time.Hour-offsetAt(noon, zone)), "")
		}
	}
	if len(offsets) == 1 {
		c.text(hoursLeft-26, bottom+16, "axis", "end", "UTC", "")
	}
}
