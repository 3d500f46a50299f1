package geoid

import (
	"math"
	"testing"

	"farstation/geodesy"
)

func FuzzReadModel(f *testing.F) {
	flat := func(float64, float64) float32 { return 3 }
	f.Add(gtx(19, 36, -90, -180, 10, flat))
	f.Add(gtx(19, 37, -90, 0, 10, flat))
	f.Add(greyMap("# Offset -108\n# Scale 0.003\n", 19, 36, 10, -108, 0.003))
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, parse := range []func([]byte) (*Model, error){parseGTX, parseGreyMap} {
			m, err := parse(data)
			if err != nil {
				continue
			}
			for _, at := range []geodesy.LatLon{{}, {LatDeg: 90, LonDeg: 180}, {LatDeg: -90, LonDeg: -180}, {LatDeg: 12.3, LonDeg: 359.9}} {
				if h := m.UndulationM(at); math.IsNaN(h) || math.Abs(h) > 150 {
					t.Errorf("%v m at %v", h, at)
				}
			}
		}
	})
}
