package sky

import (
	"math"
	"testing"
)

const radPerArcmin = radPerDeg / 60

// M. E. Thomas, R. I. Joseph, Astronomical refraction, Johns Hopkins APL Technical Digest 17 (1996) no. 3, as Orekit's tests quote it;
// their air is not the formulas', hence 1′ on the horizontal, 0.3′ at 1°; and from 5° up the formulas are too large by up to 0.15′.
func TestRefractionOfThomasAndJoseph(t *testing.T) {
	for _, c := range []struct{ deg, arcmin, allowed float64 }{
		{0, 34.5, 1}, {0.25, 31.4, 1}, {0.5, 28.7, 0.5}, {0.75, 26.4, 0.5}, {1, 24.3, 0.3}, {1.5, 20.9, 0.3}, {2, 18.3, 0.3}, {3, 14.4, 0.2},
		{5, 9.9, 0.15}, {10, 5.3, 0.16}, {20, 2.6, 0.15}, {30, 1.7, 0.1}, {90, 0, 0.05},
	} {
		hold(t, "Bennett", Bennett(c.deg*radPerDeg)/radPerArcmin, c.arcmin, c.allowed)
		lift := FromApparent(Bennett, 0)(c.deg*radPerDeg - c.arcmin*radPerArcmin)
		hold(t, "Bennett from the true place", lift/radPerArcmin, c.arcmin, c.allowed)
		hold(t, "Sæmundsson", StandardRefraction((c.deg-c.arcmin/60)*radPerDeg)/radPerArcmin, c.arcmin, c.allowed)
	}
}

// What is lifted never changes its order, also below the horizontal, where the lift is held; and nothing is lifted past the zenith.
func TestRefractionKeepsOrder(t *testing.T) {
	last := math.Inf(-1)
	for deg := -90.0; deg <= 90; deg += 0.01 {
		lift := StandardRefraction(deg * radPerDeg)
		apparent := deg*radPerDeg + lift
		if !(apparent > last) || lift < 0 || apparent > math.Pi/2+1e-12 {
			t.Fatalf("at %.2f° the lift is %.3f′, apparent %.5f°", deg, lift/radPerArcmin, apparent/radPerDeg)
		}
		last = apparent
	}
	hold(t, "held below the horizontal (′)", StandardRefraction(-3*radPerDeg)/radPerArcmin, StandardRefraction(heldBelowDeg*radPerDeg)/radPerArcmin, 0)
	hold(t, "on the horizontal (′)", (heldBelowDeg*60*radPerArcmin+StandardRefraction(heldBelowDeg*radPerDeg))/radPerArcmin, 0, 0.06)
	hold(t, "of thin air", Saemundsson(505, 10)(0.1)/StandardRefraction(0.1), 0.5, 1e-12)
}

func TestFromApparent(t *testing.T) {
	linear := FromApparent(func(a float64) float64 { return 0.009 - 0.2*a }, -0.05)
	for _, trueRad := range []float64{-0.04, -0.0001, 0, 0.03} {
		hold(t, "a linear lift", linear(trueRad), (0.009-0.2*trueRad)/1.2, 1e-8)
	}
	hold(t, "below the lowest ray", linear(-0.2), 0.019, 1e-8)
}
