package reports

import (
	"bufio"
	"cmp"
	"encoding/xml"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"farstation/geodesy"
	"farstation/pipeline"
)

// kmlPieceM is the greatest distance in metres between neighbouring points of a line in KML: between them a ray departs from its
// chord by at most piece²/8R, 2 m.
const kmlPieceM = 10_000

// mostKML is how many alignments and how many sightlines the KML draws: globes grow slow with more, and the tables hold all.
const mostKML = 1000

// WriteRankedKML writes the best 1,000 of the ranked alignments and of the sightlines as OGC KML 2.2, best first, and the tops that they need. Every line is
// there twice: as the ray runs, at its height over the geoid (KML: absolute altitudes, which are over EGM96), and clamped to the ground,
// switched off. Lines are cut at 180° of longitude. Rows without a rank are left out. Where the observers' places are not to be told,
// alignments are left out too, since two tops in line tell them, and with PlaceLeftOut only tops remain.
func WriteRankedKML(w io.Writer, result *pipeline.Result, place pipeline.ObserverPlace) error {
	sightlines, alignments := result.Shown.Sightlines, result.Shown.Alignments
	k := &kmlWriter{out: bufio.NewWriter(w)} // the writer keeps its first error until Flush
	k.line(`<?xml version="1.0" encoding="UTF-8"?>`)
	k.line(`<kml xmlns="http://www.opengis.net/kml/2.2">`)
	k.line(`<Document>`)
	k.element("name", "Ranked sightlines")
	k.element("open", "1")
	k.element("description", strings.Join([]string{"The best of the run; the Parquet files hold all. Heights are metres over the geoid. Predictions are for photography, not for navigation, aviation, radio licensing or construction.", placeNote(place), result.Manifest.LicenceNote}, " "))
	for _, style := range []struct{ id, colour, width string }{
		// aabbggrr; dark on light and light on dark alike. Width, not colour, tells what is sure from what is not.
		{"alignment", "ff20a5da", "4"}, {"sure", "ffffffff", "3"}, {"unsure", "ffffffff", "1"},
	} {
		k.line(`<Style id="` + style.id + `"><LineStyle><color>` + style.colour + `</color><width>` + style.width + `</width></LineStyle></Style>`)
	}

	rows := firstOf(rankedRows(sightlines, place), mostKML)
	var best []pipeline.Alignment
	if place == pipeline.PlaceExact {
		best = firstOf(bestAlignments(alignments), mostKML)
	}
	farLines := linesOf(sightlines, best)
	named := map[string]bool{}
	for _, mode := range []struct {
		title, altitude, visible string
	}{{"at the height of the ray", "absolute", "1"}, {"clamped to the ground", "clampToGround", "0"}} {
		k.open("Alignments "+mode.title, mode.visible)
		for i := range best {
			a := &best[i]
			named[a.ObserverID], named[a.NearID], named[a.FarID] = true, true, true
			far, ok := farLines[endIDs{a.ObserverID, a.FarID}]
			if !ok {
				return fmt.Errorf("%s: alignment %d: its far line %s → %s is not among the sightlines", rankedKMLFile, *a.Rank, a.ObserverID, a.FarID)
			}
			k.alignment(a, far, mode.visible, mode.altitude)
		}
		k.close()
		k.open("Sightlines "+mode.title, mode.visible)
		for i := range rows {
			row := &rows[i]
			named[row.ObserverID], named[row.TargetID] = true, true
			if place == pipeline.PlaceLeftOut {
				continue
			}
			if err := k.sightline(row, mode.visible, mode.altitude); err != nil {
				return fmt.Errorf("%s: rank %d: %w", rankedKMLFile, *row.Rank, err)
			}
		}
		k.close()
	}
	k.open("Tops", "1")
	for f, err := range result.Features.All() {
		if err != nil {
			return fmt.Errorf("%s: %w", rankedKMLFile, err)
		}
		if named[f.FeatureID] {
			if err := k.top(f); err != nil {
				return fmt.Errorf("%s: %s: %w", rankedKMLFile, f.FeatureID, err)
			}
		}
	}
	k.close()
	k.line(`</Document>`)
	k.line(`</kml>`)
	if k.err != nil {
		return fmt.Errorf("%s: %w", rankedKMLFile, k.err)
	}
	if err := k.out.Flush(); err != nil {
		return fmt.Errorf("%s: %w", rankedKMLFile, err)
	}
	return nil
}

func firstOf[T any](rows []T, most int) []T { return rows[:min(len(rows), most)] }

// bestAlignments returns the alignments that have a rank, best first.
func bestAlignments(alignments []pipeline.Alignment) []pipeline.Alignment {
	var ranked []pipeline.Alignment
	for i := range alignments {
		if alignments[i].Rank != nil {
			ranked = append(ranked, alignments[i])
		}
	}
	slices.SortStableFunc(ranked, func(a, b pipeline.Alignment) int { return cmp.Compare(*a.Rank, *b.Rank) })
	return ranked
}

// endIDs are the ids of a line's observer and target.
type endIDs struct{ observerID, targetID string }

// linesOf finds the far lines of alignments.
func linesOf(sightlines []pipeline.Sightline, alignments []pipeline.Alignment) map[endIDs]*pipeline.Sightline {
	found := map[endIDs]*pipeline.Sightline{}
	for i := range alignments {
		found[endIDs{alignments[i].ObserverID, alignments[i].FarID}] = nil
	}
	for i := range sightlines {
		s := &sightlines[i]
		if _, wanted := found[endIDs{s.ObserverID, s.TargetID}]; wanted {
			found[endIDs{s.ObserverID, s.TargetID}] = s
		}
	}
	maps.DeleteFunc(found, func(_ endIDs, s *pipeline.Sightline) bool { return s == nil })
	return found
}

// kmlWriter writes elements in the order that the schema of KML 2.2 has them.
type kmlWriter struct {
	out *bufio.Writer
	err error
}

func (k *kmlWriter) line(text string) {
	k.out.WriteString(text)
	k.out.WriteByte('\n')
}

// escaped writes text so that no reader takes a part of it for markup; what XML cannot hold becomes U+FFFD.
func (k *kmlWriter) escaped(text string) {
	if err := xml.EscapeText(k.out, []byte(text)); err != nil && k.err == nil {
		k.err = err
	}
}

func (k *kmlWriter) element(name, text string) {
	k.out.WriteString("<" + name + ">")
	k.escaped(text)
	k.line("</" + name + ">")
}

func (k *kmlWriter) open(title, visible string) {
	k.line(`<Folder>`)
	k.element("name", title)
	k.element("visibility", visible)
}

func (k *kmlWriter) close() { k.line(`</Folder>`) }

// data writes the columns of a row as untyped data, null ones left out.
func (k *kmlWriter) data(row *rankedRow) error {
	k.line(`<ExtendedData>`)
	for _, field := range rankedFields() {
		value, err := rankedValue(row, field)
		if err != nil {
			return err
		}
		if !value.given {
			continue
		}
		name, _, _ := columnTag(field)
		k.out.WriteString(`<Data name="` + name + `"><value>`)
		k.escaped(value.text)
		k.line(`</value></Data>`)
	}
	k.line(`</ExtendedData>`)
	return nil
}

func (k *kmlWriter) sightline(row *rankedRow, visible, altitude string) error {
	style := "unsure"
	if row.Verdict == pipeline.Direct || row.Verdict == pipeline.Refracted {
		style = "sure"
	}
	k.line(`<Placemark>`)
	k.element("name", fmt.Sprintf("%d: %s from %s", *row.Rank, row.TargetName, row.ObserverName))
	k.element("visibility", visible)
	k.element("description", fmt.Sprintf("%.1f km, %s; bearing %.2f° from true north", row.DistanceM/1000, row.Verdict, row.AzimuthDeg))
	k.element("styleUrl", "#"+style)
	if altitude == "absolute" { // once is enough
		if err := k.data(row); err != nil {
			return err
		}
	}
	line := row.Sightline
	if row.observerPlace == pipeline.PlaceBlurred {
		const stepM = 100
		line.EyeHeightM = math.Round(line.EyeHeightM/stepM) * stepM
	}
	k.ray(&line, altitude)
	k.line(`</Placemark>`)
	return nil
}

// rayHeightM is the height over the sea of a ray at distance x of s between two heights, in metres, for an apparent curvature per metre
// of (1−k)/R: the chord falls below the level line by x(s−x)/2R, the ray's own curvature takes k times that away. Good to metres.
func rayHeightM(x, s, fromM, toM, curvaturePerM float64) float64 {
	return fromM + (toM-fromM)*x/s - curvaturePerM*x*(s-x)/2
}

func (k *kmlWriter) alignment(a *pipeline.Alignment, far *pipeline.Sightline, visible, altitude string) {
	k.line(`<Placemark>`)
	k.element("name", fmt.Sprintf("%d: %s before %s from %s", *a.Rank, a.NearName, a.FarName, a.ObserverName))
	k.element("visibility", visible)
	k.element("description", fmt.Sprintf("%s at %.1f km, %s at %.1f km. Far top above near top: %.2f′ curved, %.2f′ on the plane, %.1f standard deviations apart",
		a.NearName, a.NearDistanceM/1000, a.FarName, a.FarDistanceM/1000, a.SeparationArcmin, a.SeparationPlaneArcmin, a.EvidenceSD))
	k.element("styleUrl", "#alignment")
	k.ray(far, altitude)
	k.line(`</Placemark>`)
}

// ray writes a line, or several where it crosses 180° of longitude.
func (k *kmlWriter) ray(s *pipeline.Sightline, altitude string) {
	from, to := geodesy.LatLon{LatDeg: s.ObserverLatDeg, LonDeg: s.ObserverLonDeg}, geodesy.LatLon{LatDeg: s.TargetLatDeg, LonDeg: s.TargetLonDeg}
	parts := cutLine(unrolledLine(orb.Point{from.LonDeg, from.LatDeg}, orb.Point{to.LonDeg, to.LatDeg}, kmlPieceM))
	if len(parts) > 1 {
		k.line(`<MultiGeometry>`)
		defer k.line(`</MultiGeometry>`)
	}
	for _, part := range parts {
		k.line(`<LineString>`)
		if altitude == "clampToGround" {
			k.element("tessellate", "1")
		}
		k.element("altitudeMode", altitude)
		k.out.WriteString(`<coordinates>`)
		for i, p := range part {
			if i > 0 {
				k.out.WriteByte(' ')
			}
			x := geodesy.WGS84.Inverse(from, geodesy.LatLon{LatDeg: p[1], LonDeg: p[0]}).DistanceM
			k.out.WriteString(roundedText(p[0], 7) + "," + roundedText(p[1], 7) + "," + roundedText(rayHeightM(x, s.DistanceM, s.EyeHeightM, s.TopHeightM, (1-s.KFree)/s.RadiusM), 1))
		}
		k.line(`</coordinates>`)
		k.line(`</LineString>`)
	}
}

func (k *kmlWriter) top(f *pipeline.FeatureRow) error {
	p, _, err := mapPoint(geodesy.LatLon{LatDeg: f.LatitudeDeg, LonDeg: f.LongitudeDeg})
	if err != nil {
		return err
	}
	if math.IsNaN(f.GroundHeightM) {
		return fmt.Errorf("no ground height")
	}
	k.line(`<Placemark>`)
	k.element("name", f.Name)
	description := fmt.Sprintf("%s, ground %.0f m over the geoid", f.Kind, f.GroundHeightM)
	if f.StructureHeightM > 0 {
		description += fmt.Sprintf(", structure %.0f m", f.StructureHeightM)
	}
	k.element("description", description)
	k.line(`<Point>`)
	k.element("altitudeMode", "absolute")
	k.element("coordinates", roundedText(p[0], 7)+","+roundedText(p[1], 7)+","+roundedText(f.GroundHeightM+f.StructureHeightM, 1))
	k.line(`</Point>`)
	k.line(`</Placemark>`)
	return nil
}
