package sky_test

import (
	"fmt"
	"math"
	"time"

	"farstation/geodesy"
	"farstation/geodesy/sky"
)

// When the Sun sets behind a top that appears 0.3° high in azimuth 249.5°.
func ExamplePasses() {
	const rad = math.Pi / 180
	o := sky.Observer{Position: geodesy.LatLon{LatDeg: 44, LonDeg: 7}, HeightM: 1200}
	from := time.Date(2027, 2, 1, 0, 0, 0, 0, time.UTC)
	passes, err := sky.Passes(sky.Sun, o, 249.5*rad, 0.3*rad, from, from.AddDate(0, 0, 28), 0.25*rad)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range passes {
		fmt.Printf("%s UTC, %.2f° from its centre\n", p.Closest.Format("2006-01-02 15:04"), p.SeparationRad/rad)
	}
	// Output:
	// 2027-02-08 16:48 UTC, 0.15° from its centre
	// 2027-02-09 16:48 UTC, 0.14° from its centre
}
