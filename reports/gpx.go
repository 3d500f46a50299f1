package reports

import (
	"bufio"
	"encoding/xml"
	"fmt"
	"io"
	"strconv"

	"farstation/pipeline"
)

// mostGPXStrip bounds the places of one strip in GPX: receivers hold some hundred points.
const mostGPXStrip = 50

// The parts of a GPX 1.1 file (topografix.com/GPX/1/1/gpx.xsd) that are written, their elements in the order of the schema.
type (
	gpxFile struct {
		XMLName   xml.Name    `xml:"http://www.topografix.com/GPX/1/1 gpx"`
		Version   string      `xml:"version,attr"`
		Creator   string      `xml:"creator,attr"`
		Metadata  gpxMetadata `xml:"metadata"`
		Waypoints []gpxPoint  `xml:"wpt"`
	}
	gpxMetadata struct {
		Name string `xml:"name"`
		Desc string `xml:"desc"`
	}
	gpxPoint struct {
		Lat  string `xml:"lat,attr"`
		Lon  string `xml:"lon,attr"`
		Ele  string `xml:"ele,omitempty"`
		Name string `xml:"name"`
		Desc string `xml:"desc"`
		Type string `xml:"type"`
	}
)

// WriteOutingGPX writes the places of outings as waypoints of GPX 1.1: stand, strip, near and far top, and the stands of fall-back lines. Elevations are metres
// over the geoid, as GPX has them.
func WriteOutingGPX(w io.Writer, outings []pipeline.Outing) error {
	file := gpxFile{Version: "1.1", Creator: "farstation " + pipeline.Version, Waypoints: []gpxPoint{}, Metadata: gpxMetadata{
		"Outings", "Stands, tops and fall-backs of field sheets. Predictions are for photography, not for navigation.",
	}}
	for i := range outings {
		o, l := &outings[i], &outings[i].Line
		number := fmt.Sprintf("%d ", i+1)
		add := func(kind, name, desc string, latDeg, lonDeg float64, heightM *float64) {
			p := gpxPoint{Lat: strconv.FormatFloat(latDeg, 'f', 7, 64), Lon: gpxLongitude(lonDeg), Name: number + name, Desc: desc, Type: kind}
			if heightM != nil {
				p.Ele = strconv.FormatFloat(*heightM, 'f', 1, 64)
			}
			file.Waypoints = append(file.Waypoints, p)
		}
		s := &o.Stand
		add("stand", l.ObserverName, fmt.Sprintf("look to azimuth %.2f° for %s, %.1f km away", l.AzimuthDeg, l.TargetName, l.DistanceM/1000), s.LatitudeDeg, s.LongitudeDeg, &s.GroundM)
		for j := range min(len(s.Strip), mostGPXStrip) {
			at := &s.Strip[j*len(s.Strip)/min(len(s.Strip), mostGPXStrip)]
			add("strip", fmt.Sprintf("strip %d", j+1), fmt.Sprintf("near top %.1f′ beside the far one, margin %.1f′", at.TurnArcmin, at.MarginArcmin), at.LatitudeDeg, at.LongitudeDeg, &at.GroundM)
		}
		if o.Near != nil {
			add("near top", o.Near.Name, "top of the near feature", o.Near.LatitudeDeg, o.Near.LongitudeDeg, &o.Near.TopHeightM)
		}
		add("target", o.Target.Name, "top of the target", o.Target.LatitudeDeg, o.Target.LongitudeDeg, &o.Target.TopHeightM)
		for _, f := range o.FallBacks {
			add("fall-back", f.Observer, fmt.Sprintf("look to azimuth %.2f° for %s, %.1f km away: %s", f.AzimuthDeg, f.Target, f.DistanceM/1000, f.Why), f.LatitudeDeg, f.LongitudeDeg, nil)
		}
	}
	out := bufio.NewWriter(w) // keeps its first error until Flush
	out.WriteString(xml.Header)
	encoder := xml.NewEncoder(out)
	encoder.Indent("", "  ")
	if err := encoder.Encode(file); err != nil {
		return fmt.Errorf("%s: %w", outingGPXFile, err)
	}
	out.WriteString("\n")
	return out.Flush()
}

// gpxLongitude is a longitude as GPX wants it, −180 ≤ longitude < 180, after rounding.
func gpxLongitude(lonDeg float64) string {
	text := strconv.FormatFloat(lonDeg, 'f', 7, 64)
	if text == "180.0000000" {
		return "-" + text
	}
	return text
}
