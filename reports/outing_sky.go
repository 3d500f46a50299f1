package reports

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"farstation/pipeline"
)

// outingSpell is one kind of light that comes back on days in a row at about the same hour.
type outingSpell struct {
	first, last pipeline.OutingWindow
	days        int
	// from and to are the earliest and the latest of all its days, from each day's midnight on the local clock; to may lie past 24 hours.
	from, to time.Duration
}

// outingSpells gathers windows, in the order of time, into spells of at most mostDays. One ends where the clocks are changed.
func outingSpells(windows []pipeline.OutingWindow, zone *time.Location, mostDays int) []outingSpell {
	var spells []outingSpell
	for _, w := range windows {
		from := clockOf(w.From, zone)
		to := from + w.To.Sub(w.From)
		i := slices.IndexFunc(spells, func(s outingSpell) bool {
			return s.first.Light == w.Light && s.days < mostDays && daysApart(s.last.From, w.From, zone) == 1 && offsetAt(s.last.From, zone) == offsetAt(w.From, zone) &&
				(from-clockOf(s.last.From, zone)).Abs() <= time.Hour
		})
		if i < 0 {
			spells = append(spells, outingSpell{w, w, 1, from, to})
			continue
		}
		s := &spells[i]
		s.last, s.days, s.from, s.to = w, s.days+1, min(s.from, from), max(s.to, to)
	}
	return spells
}

// clockOf is the time since midnight as a local clock shows it.
func clockOf(t time.Time, zone *time.Location) time.Duration {
	hour, minute, second := t.In(zone).Clock()
	return time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute + time.Duration(second)*time.Second
}

func daysApart(from, to time.Time, zone *time.Location) int {
	day := func(t time.Time) time.Time {
		year, month, day := t.In(zone).Date()
		return time.Date(year, month, day, 0, 0, 0, 0, time.UTC)
	}
	return int(day(to).Sub(day(from)).Hours() / 24)
}

// offsetAt is how far a local clock is ahead of UTC.
func offsetAt(t time.Time, zone *time.Location) time.Duration {
	_, seconds := t.In(zone).Zone()
	return time.Duration(seconds) * time.Second
}

// offsetWords writes it as UTC+1 or UTC−9:30.
func offsetWords(offset time.Duration) string {
	sign := "+"
	if offset < 0 {
		sign = "−"
	}
	minutes := int(offset.Abs() / time.Minute)
	if minutes%60 == 0 {
		return fmt.Sprintf("UTC%s%d", sign, minutes/60)
	}
	return fmt.Sprintf("UTC%s%d:%02d", sign, minutes/60, minutes%60)
}

// hourWords writes hours of a day as 17:05; what lies past midnight is that of the day after.
func hourWords(d time.Duration) string {
	const day = 24 * time.Hour
	minutes := int(((d%day + day) % day) / time.Minute)
	return fmt.Sprintf("%02d:%02d", minutes/60, minutes%60)
}

func dayWords(t time.Time, zone *time.Location) string {
	return t.In(zone).Format("2\u00a0Jan\u00a02006")
}

// utcDay marks where UTC has another day than the local clock.
func utcDay(t time.Time, zone *time.Location, before, after string) string {
	switch utc := clockOf(t, zone) - offsetAt(t, zone); {
	case utc >= 24*time.Hour:
		return after
	case utc < 0:
		return before
	}
	return ""
}

// The marks of another day in tables.
const dayBefore, dayAfter = "\u00a0−1\u00a0d", "\u00a0+1\u00a0d"

// spellDays says on which days a spell is.
func spellDays(s *outingSpell, zone *time.Location) string {
	first, last := dayWords(s.first.From, zone), dayWords(s.last.From, zone)
	if s.days == 1 {
		return first
	}
	if year := s.last.From.In(zone).Format("\u00a02006"); strings.HasSuffix(first, year) {
		first = strings.TrimSuffix(first, year)
	}
	return first + "\u00a0to\u00a0" + last
}

// glareDeg is how near to the middle of the frame the sun is when an outing says so.
const glareDeg = 10

// sunWords say when the sun stands near the frame, from–to, rounded outwards to the minute: each hour named holds for every day of its spell.
func sunWords(o *pipeline.Outing, zone *time.Location) []string {
	var out []string
	if f := &o.Frame; math.Hypot(f.WidthDeg, f.HeightDeg)/2 > glareDeg {
		out = append(out, fmt.Sprintf("this frame reaches farther than %d° from its middle, so that it may stand in the frame at hours that are not named here", glareDeg))
	}
	for _, s := range outingSpells(o.Sky.Glare, zone, math.MaxInt) {
		from, to := s.from.Truncate(time.Minute), s.to
		if rest := to % time.Minute; rest > 0 {
			to += time.Minute - rest
		}
		offset := offsetAt(s.first.From, zone)
		local := "from " + hourWords(from) + " to " + hourWords(to)
		if to >= 24*time.Hour {
			local += " of the next day"
		}
		words := "on " + spellDays(&s, zone)
		if s.days > 1 {
			words = "every day from " + spellDays(&s, zone)
		}
		out = append(out, fmt.Sprintf("%s %s (%s to %s UTC%s)", words, local, hourWords(from-offset), hourWords(to-offset), utcDay(s.first.From, zone, " of the day before", " of the next day")))
	}
	return out
}

// spellMostDays keeps the first and the last day of a row of the table of light so near each other that hours between them can be judged.
const spellMostDays = 10

// lightKinds are the kinds of light in the order of the table, with their words.
var lightKinds = []struct{ light, words string }{{"silhouette", "silhouette"}, {"side", "side light"}, {"front", "front light"}}

func windowTable(o *pipeline.Outing, zone *time.Location) htmlTable {
	t := outingTable("Useful light on the target: the first and the last day of each spell", "light", "days", "#first day, local", "#UTC", "#last day, local", "#UTC", "#sun’s azimuth", "#sun’s elevation")
	order := func(light string) int {
		return slices.IndexFunc(lightKinds, func(k struct{ light, words string }) bool { return k.light == light })
	}
	spells := slices.DeleteFunc(outingSpells(o.Sky.Windows, zone, spellMostDays), func(s outingSpell) bool { return order(s.first.Light) < 0 })
	slices.SortStableFunc(spells, func(a, b outingSpell) int { return cmp.Compare(order(a.first.Light), order(b.first.Light)) })
	for i := range spells {
		s := &spells[i]
		at := func(w *pipeline.OutingWindow) (local, utc string) {
			hours := func(zone *time.Location) string {
				return w.From.In(zone).Format("15:04") + "–" + w.To.In(zone).Format("15:04")
			}
			return hours(zone), hours(time.UTC) + utcDay(w.From, zone, dayBefore, dayAfter)
		}
		firstLocal, firstUTC := at(&s.first)
		lastLocal, lastUTC := none, none
		if s.days > 1 {
			lastLocal, lastUTC = at(&s.last)
		}
		t.row(lightKinds[order(s.first.Light)].words, spellDays(s, zone), firstLocal, firstUTC, lastLocal, lastUTC,
			between(s.first.SunAzimuthDeg, s.last.SunAzimuthDeg, s.days), between(s.first.SunElevationDeg, s.last.SunElevationDeg, s.days))
	}
	return t.cut(outingLights)
}

// between writes degrees of the first and the last day.
func between(first, last float64, days int) string {
	a, b := decimals(first, 0)+"°", decimals(last, 0)+"°"
	if days == 1 || a == b {
		return a
	}
	return a + " … " + b
}

func passTable(o *pipeline.Outing, zone *time.Location) htmlTable {
	caption := "Sun or moon behind the top"
	// The nearest, in the order of time.
	passes := slices.Clone(o.Sky.Passes)
	if n := len(passes); n > outingPasses {
		slices.SortStableFunc(passes, func(a, b pipeline.OutingPass) int { return cmp.Compare(a.SeparationArcmin, b.SeparationArcmin) })
		passes = passes[:outingPasses]
		slices.SortStableFunc(passes, func(a, b pipeline.OutingPass) int { return a.At.Compare(b.At) })
		caption += fmt.Sprintf("; the nearest %d of %d, outing.json has all", outingPasses, n)
	}
	t := outingTable(caption, "body", "day", "#nearest at, local", "#UTC", "#spread from k", "#its centre from the top", "#elevation", "#lit")
	for i := range passes {
		p := &passes[i]
		t.row(p.Body, dayWords(p.At, zone), p.At.In(zone).Format("15:04:05"), p.At.UTC().Format("15:04:05")+utcDay(p.At, zone, dayBefore, dayAfter), "± "+decimals(p.SDSeconds, 0)+"\u00a0s", arcmin(p.SeparationArcmin),
			decimals(p.BodyElevationDeg, 2)+"°", optional(p.MoonLit, percent, "").Text)
	}
	return t.htmlTable
}

func percent(share float64) string { return decimals(100*share, 0) + "\u00a0%" }

// dayTable has as many days as a sheet holds, at even steps.
func dayTable(o *pipeline.Outing, zone *time.Location) htmlTable {
	caption := "Rise, set and twilight, local time"
	step := stepOf(len(o.Sky.Days), outingDays)
	if step > 1 {
		caption += fmt.Sprintf("; one day in %d, outing.json has all", step)
	}
	t := outingTable(caption, "day", "#clock", "#dawn: astron.", "#nautical", "#civil", "#sunrise", "#sunset", "#dusk: civil", "#nautical", "#astron.", "#moonrise", "#moonset", "#moon lit")
	clock := func(at *time.Time) string {
		if at == nil {
			return none
		}
		return at.In(zone).Format("15:04")
	}
	for i := 0; i < len(o.Sky.Days); i += step {
		d := &o.Sky.Days[i]
		date, offset := plainNote(d.Date), none
		if noon, ok := localTime(d.Date, dayMinutes/2, zone); ok {
			date, offset = dayWords(noon, zone), offsetWords(offsetAt(noon, zone))
		}
		t.row(date, offset, clock(d.AstronomicalDawn), clock(d.NauticalDawn), clock(d.CivilDawn), riseWords(clock(d.Sunrise), clock(d.Sunset), d.State), clock(d.Sunset), clock(d.CivilDusk),
			clock(d.NauticalDusk), clock(d.AstronomicalDusk), riseWords(clock(d.Moonrise), clock(d.Moonset), d.MoonState), clock(d.Moonset), percent(d.MoonLit))
	}
	return t.htmlTable
}

// riseWords is the hour of rising, with the state of a day that the hours do not tell.
func riseWords(rise, set, state string) string {
	switch {
	case rise == none && set == none && state != "":
		return plainName(state)
	case strings.Contains(state, "twice"):
		return rise + " (" + plainName(state) + ")"
	}
	return rise
}

// stepOf is the least step at which at most most of n things are left.
func stepOf(n, most int) int { return max(1, (n+most-1)/most) }

// localTime is a time by the local clock, in minutes from the midnight of a day such as 2031-05-20.
func localTime(date string, minutes int, zone *time.Location) (time.Time, bool) {
	day, err := time.Parse(time.DateOnly, date)
	return time.Date(day.Year(), day.Month(), day.Day(), 0, minutes, 0, 0, zone), err == nil
}
