package pipeline

import (
	"math"
	"testing"
)

func TestVerdictOf(t *testing.T) {
	const k, kSD = 0.143, 0.04
	below := func(v float64) float64 { return math.Nextafter(v, -10) }
	above := func(v float64) float64 { return math.Nextafter(v, 10) }
	tests := []struct {
		criticalK float64
		want      Verdict
	}{
		{-15, Direct}, {below(0), Direct}, {0, Refracted}, {0.1, Refracted}, {k, Refracted}, {above(k), Looming},
		{0.2, Looming}, {k + 3*kSD, Looming}, {above(k + 3*kSD), Blocked}, {0.5, Blocked}, {100, Blocked}, {math.Inf(1), Blocked}, {math.Inf(-1), Direct},
	}
	for _, test := range tests {
		if got := verdictOf(test.criticalK, k, kSD); got != test.want {
			t.Errorf("verdictOf(%v, %v, %v) = %s, want %s", test.criticalK, k, kSD, got, test.want)
		}
	}
	// Without a spread nothing looms; on a day of negative k only what needs no light to bend is in view.
	for _, test := range []struct {
		criticalK, k, kSD float64
		want              Verdict
	}{{0.143, 0.143, 0, Refracted}, {0.144, 0.143, 0, Blocked}, {-0.3, -0.2, 0.04, Direct}, {0, 0, 0.04, Refracted}, {0.05, 0, 0.04, Looming}} {
		if got := verdictOf(test.criticalK, test.k, test.kSD); got != test.want {
			t.Errorf("verdictOf(%v, %v, %v) = %s, want %s", test.criticalK, test.k, test.kSD, got, test.want)
		}
	}
}
