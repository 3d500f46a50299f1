package pipeline

import (
	"math"
	"testing"
)

// Break-evens by hand: near top 25 km, far top 90 km, R 6371 km, k 0.143. The models differ by (1−k)(s_f−s_n)/2R = 0.857·65/12742 =
// 4.3717 mrad = 15.03′. The plane fits the curved separation when the far top is wrong by that angle at 90 km, 393.5 m, or the near one at
// 25 km, 109.3 m, or the eye by 4.3717e-3/(1/25000 − 1/90000) = 151.3 m, or k by 1 − k = 0.857.
func TestBreakEvensByHand(t *testing.T) {
	opts := DefaultOptions()
	spread := separationSpread{
		opts: &opts, radiusM: 6371e3, nearM: 25e3, farM: 90e3, nearRiseM: 100, farRiseM: 600,
		nearSDM: 5, farSDM: 10, eyeSDM: 3,
	}
	gap := (1 - opts.K) * 65e3 / (2 * 6371e3) * arcminPerRad
	each, all := spread.BreakEvens(gap, "near top")
	want := map[string]float64{"height of the eye": 151.33, "height of the far top": 393.46, "height of the near top": 109.29, "refraction coefficient": 0.857}
	found := 0
	for _, b := range each {
		if w, ok := want[b.Input]; ok {
			found++
			if math.Abs(b.Amount-w) > 0.005*math.Max(1, w/100) {
				t.Errorf("%s: %.4f, want %v", b.Input, b.Amount, w)
			}
		}
	}
	if found != len(want) {
		t.Errorf("%d of %d inputs are listed: %+v", found, len(want), each)
	}
	// All at once: 4.3717 mrad over 5/25000 + 10/90000 + 3·(1/25000 − 1/90000) = 0.3978 mrad, 10.99 standard deviations.
	if math.Abs(all-10.99) > 0.01 {
		t.Errorf("all at once: %.3f standard deviations, want 10.99", all)
	}
}
