// Package gazetteer reads named features (peaks, towers and the like) from open extracts, tells formats by content, and holds
// listed heights and places against terrain. It knows nothing of sightlines; reading a format and doubting a record is all it does.
package gazetteer
