package light_test

import (
	"fmt"
	"strings"

	"farstation/geodesy/light"
)

// A morning over an invented sound: cold air on the water, warm air over it.
func ExampleReadSounding() {
	sounding, err := light.ReadSounding(strings.NewReader(`height_m,pressure_hpa,temperature_c,rh_percent
2,1018.0,7.0,90
60,,6.8,85
110,,10.5,60
1500,850.0,3.0,50
`))
	if err != nil {
		fmt.Println(err)
		return
	}
	air, err := sounding.Profile(light.GreenUM)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, layer := range air.NamedLayers() {
		fmt.Printf("%s from %.0f to %.0f m\n", layer.Name, layer.BottomM, layer.TopM)
	}
	k, err := air.EquivalentK(12, 640, 70e3, 6371000)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("equivalent k %.2f\n", k)
	// Output:
	// looming from 60 to 110 m
	// equivalent k 0.28
}
