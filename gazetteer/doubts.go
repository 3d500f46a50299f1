package gazetteer

import "slices"

// The codes of doubt that this package puts on features.
const (
	DoubtHeightUnreadable          = "height_unreadable"
	DoubtHeightZero                = "height_zero"
	DoubtStructureHeightUnreadable = "structure_height_unreadable"
	DoubtStructureHeightAssumed    = "structure_height_assumed"
	DoubtStructureHeightEstimated  = "structure_height_estimated"
	DoubtPlaceToTheMinute          = "place_to_the_minute"
	DoubtPlaceRough                = "place_rough"
	DoubtMoved                     = "moved"
	DoubtSharesSummit              = "shares_summit"
	DoubtFeetAsMetres              = "feet_as_metres"
	DoubtHeightContradictsTerrain  = "height_contradicts_terrain"
	DoubtHeightFromTerrain         = "height_from_terrain"
	DoubtHeightUnchecked           = "height_unchecked"
	DoubtLightOverHighWater        = "light_height_over_high_water"
	DoubtNotStanding               = "not_standing"
	DoubtSourcesDisagree           = "sources_disagree"
	DoubtSummitOnVoid              = "summit_on_void"
	DoubtUnverified                = "unverified"
)

// Doubts explains every code that this package puts on features, sorted by code.
func Doubts() []struct{ Code, Meaning string } {
	return []struct{ Code, Meaning string }{
		{DoubtFeetAsMetres, "the listed height cannot be metres here but fits the terrain as feet: the terrain's height is used"},
		{DoubtHeightContradictsTerrain, "the listed height contradicts the terrain by more than slope, spacing of posts and both spreads allow: the terrain's height is used"},
		{DoubtHeightFromTerrain, "no height is listed: the terrain's is used, which on a sharp summit lies too low, never too high"},
		{DoubtHeightUnchecked, "no terrain at the place: the listed height could not be checked"},
		{DoubtHeightUnreadable, "a height is listed but cannot be read without guessing: taken as not known"},
		{DoubtHeightZero, "a summit is listed at exactly 0 m: taken as not known"},
		{DoubtLightOverHighWater, "a height of the light is listed over high water, which is neither the structure's height nor the ground's: it is used for neither"},
		{DoubtMoved, "the summit was moved by more than 100 m, to the highest ground within the accuracy of its place"},
		{DoubtNotStanding, "the record says that it stands no longer, or not yet: never traced"},
		{DoubtPlaceRough, "the place is given to a tenth of a degree or worse"},
		{DoubtPlaceToTheMinute, "latitude and longitude are both whole minutes of arc: the place is good to half a minute, 926 m, each way"},
		{DoubtSharesSummit, "another summit stands on the same spot: one of the two is misplaced, or they are one"},
		{DoubtSourcesDisagree, "merged records list heights that differ by more than 5 m and three spreads: the one of the smallest spread is used"},
		{DoubtStructureHeightAssumed, "no height of the structure is listed: one usual for its kind is assumed, with a wide spread"},
		{DoubtStructureHeightEstimated, "the listed height of the structure is marked as an estimate: taken with a spread of a quarter of it"},
		{DoubtStructureHeightUnreadable, "a height of the structure is listed but cannot be read without guessing: taken as not known"},
		{DoubtSummitOnVoid, "the terrain has a void at the summit: the listed height is kept, unchecked"},
		{DoubtUnverified, "the publisher marks the record as not verified"},
	}
}

// doubt adds a code once and keeps the codes sorted.
func (f *Feature) doubt(code string) {
	if at, found := slices.BinarySearch(f.Doubts, code); !found {
		f.Doubts = slices.Insert(f.Doubts, at, code)
	}
}
