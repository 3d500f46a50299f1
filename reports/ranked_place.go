package reports

import (
	"fmt"
	"math"
	"slices"

	"farstation/geodesy"
	"farstation/pipeline"
)

// blurDeg is the grid that a blurred place is moved to, in degrees: 11 km of latitude.
const blurDeg = 0.1

// tellsPlace lists the columns that give an observer's place away to whoever knows the target and the terrain.
func tellsPlace() []string {
	return []string{
		"observer_name", "observer_id", "observer_kind", "observer_latitude_deg", "observer_longitude_deg", "distance_m", "azimuth_deg", "elevation_deg",
		"elevation_plane_deg", "model_gap_arcmin", "margin_arcmin", "critical_k", "front_distance_m", "eye_height_m", "best_alignment_near_id",
	}
}

// stillTold are those of them that a blurred row keeps, with values that belong to the blurred place.
func stillTold() []string {
	return []string{"observer_name", "observer_latitude_deg", "observer_longitude_deg", "distance_m", "azimuth_deg"}
}

// hides tells a column that the row must not state.
func (r *rankedRow) hides(column string) bool {
	if r.observerPlace == pipeline.PlaceExact || !slices.Contains(tellsPlace(), column) {
		return false
	}
	return r.observerPlace == pipeline.PlaceLeftOut || !slices.Contains(stillTold(), column)
}

// hidePlace blurs the observer's place of a row, or takes it out. A blurred place is the nearest on a grid of 0.1°; distance and azimuth are
// then those from there, to the kilometre and the degree. Other columns are left as they are: obscured heights and parts in view still
// narrow the place down for somebody who has the terrain and the patience.
func (r *rankedRow) hidePlace(place pipeline.ObserverPlace) {
	r.observerPlace = place
	if place == pipeline.PlaceExact {
		return
	}
	r.ObserverName, r.ObserverID, r.ObserverKind = "", "", ""
	if place == pipeline.PlaceLeftOut {
		return
	}
	onGrid := func(deg float64) float64 { return math.Round(deg/blurDeg) * blurDeg }
	r.ObserverLatDeg, r.ObserverLonDeg = onGrid(r.ObserverLatDeg), onGrid(r.ObserverLonDeg)
	r.ObserverLatitudeDeg, r.ObserverLongitudeDeg = r.ObserverLatDeg, r.ObserverLonDeg
	r.ObserverName = fmt.Sprintf("a place near %.1f°, %.1f°", r.ObserverLatDeg, r.ObserverLonDeg)
	line := geodesy.WGS84.Inverse(geodesy.LatLon{LatDeg: r.ObserverLatDeg, LonDeg: r.ObserverLonDeg}, geodesy.LatLon{LatDeg: r.TargetLatDeg, LonDeg: r.TargetLonDeg})
	r.DistanceM, r.AzimuthDeg = math.Round(line.DistanceM/1000)*1000, math.Mod(math.Round(line.AzimuthDeg)+360, 360)
}

// placeNote says in words what was done to the observers' places; empty where nothing was.
func placeNote(place pipeline.ObserverPlace) string {
	switch place {
	case pipeline.PlaceBlurred:
		return "Observers' places are blurred to a grid of 0.1 degrees, and what would tell them is left out."
	case pipeline.PlaceLeftOut:
		return "Observers' places, and what would tell them, are left out."
	}
	return ""
}
