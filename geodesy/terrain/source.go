package terrain

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"farstation/geodesy"
	"farstation/geodesy/geoid"
)

// Source is one elevation file, or a folder of them that is searched downwards, as a user names it.
type Source struct {
	Path string `json:"path"`
	// Datum of the heights: DatumEGM96, DatumEGM2008 or DatumEllipsoid; empty for what the file states, else EGM96.
	Datum string `json:"datum,omitempty"`
	// Surface is SurfaceGround or SurfaceTop; empty for what is known of the set, else ground.
	Surface string `json:"surface,omitempty"`
	// Geoid is a file with a grid of EGM2008, for heights over that; empty for none.
	Geoid string `json:"geoid,omitempty"`
	// Licence and Attribution are what its publisher asks for; empty for what is known of the set.
	Licence     string `json:"licence,omitempty"`
	Attribution string `json:"attribution,omitempty"`
}

// What heights are counted from.
const (
	DatumEGM96     = "egm96"
	DatumEGM2008   = "egm2008"
	DatumEllipsoid = "ellipsoid" // of WGS84
)

// What the heights of a set show.
const (
	SurfaceGround = "ground"
	SurfaceTop    = "top" // tree tops and roofs
)

// geoidGapSDM is how far EGM96 and EGM2008 differ, root mean square over the Earth; about 10 m at worst (US Naval Academy, Oceanography
// Department, page on EGM2008).
const geoidGapSDM = 0.5

// datumOf is the datum that a vertical coordinate reference system of the EPSG registry stands for; empty for others.
func datumOf(verticalEPSG int) string {
	switch verticalEPSG {
	case 5773, 5171:
		return DatumEGM96
	case 3855, 1027:
		return DatumEGM2008
	case 4979, 5030:
		return DatumEllipsoid
	}
	return ""
}

// stated holds what the file says of its heights against what the user says, and fills in what is known of its set by its name.
func (f *FileRef) stated(verticalEPSG int) error {
	copernicus := strings.HasPrefix(strings.ToLower(filepath.Base(f.Path)), "copernicus_dsm_")
	own := datumOf(verticalEPSG)
	switch {
	case own != "" && f.Source.Datum != "" && own != f.Source.Datum:
		return fmt.Errorf("terrain %s: states heights over %s (EPSG:%d), but datum=%s was given: leave the datum out", f.Path, own, verticalEPSG, f.Source.Datum)
	case f.Source.Datum != "":
	case own != "":
		f.Source.Datum = own
	case verticalEPSG != 0:
		return fmt.Errorf("terrain %s: states heights in EPSG:%d, which is not known: give datum= with the nearest of %s, %s, %s", f.Path, verticalEPSG, DatumEGM96, DatumEGM2008, DatumEllipsoid)
	case copernicus:
		f.Source.Datum = DatumEGM2008
	}
	if copernicus {
		// Copernicus DEM product handbook: absolute vertical error below 4 m at 90 %, a surface model over EGM2008. Licence text from memory.
		f.SDM = 4 / 1.645
		f.Source.Surface = orElse(f.Source.Surface, SurfaceTop)
		f.Source.Licence = orElse(f.Source.Licence, "Copernicus DEM licence: free of charge, attribution required")
		f.Source.Attribution = orElse(f.Source.Attribution, "© DLR e.V. 2010-2014 and © Airbus Defence and Space GmbH 2014-2018 provided under COPERNICUS by the European Union and ESA; all rights reserved")
	}
	return nil
}

func orElse(text, other string) string {
	if text != "" {
		return text
	}
	return other
}

// datums keeps the grids of EGM2008 that were read, by path.
type datums map[string]*geoid.Model

// settle fills in the defaults of a file and finds what brings its heights to EGM96.
func (d datums) settle(f *FileRef) error {
	f.Source.Datum = orElse(f.Source.Datum, DatumEGM96)
	f.Source.Surface = orElse(f.Source.Surface, SurfaceGround)
	f.Source.Licence = orElse(f.Source.Licence, "as its publisher states")
	if f.Source.Datum == DatumEGM96 {
		return nil
	}
	egm96, err := geoid.EGM96()
	if err != nil {
		return err
	}
	if f.Source.Datum == DatumEllipsoid {
		f.Note = "heights over the ellipsoid, less the undulation of EGM96"
		f.shift = func(latDeg, lonDeg float64) float64 {
			return -egm96.UndulationM(geodesy.LatLon{LatDeg: latDeg, LonDeg: lonDeg})
		}
		return nil
	}
	if f.Source.Geoid == "" {
		f.SDM = math.Hypot(orFlat(f.SDM), geoidGapSDM)
		f.Note = "heights over EGM2008 taken as over EGM96, for want of a grid: these differ by 0.5 m rms, about 10 m at worst"
		return nil
	}
	egm2008, ok := d[f.Source.Geoid]
	if !ok {
		if egm2008, err = geoid.ReadModel(f.Source.Geoid); err != nil {
			return err
		}
		d[f.Source.Geoid] = egm2008
	}
	f.Note = "heights over EGM2008 brought to EGM96 by the grid " + f.Source.Geoid
	f.shift = func(latDeg, lonDeg float64) float64 {
		p := geodesy.LatLon{LatDeg: latDeg, LonDeg: lonDeg}
		return egm2008.UndulationM(p) - egm96.UndulationM(p)
	}
	return nil
}

// flatSDM is the standard deviation of a post on flat land: 5 m (Rodríguez et al. 2006, on SRTM: 8–9 m at 90 %, absolute, divided by 1.645).
const flatSDM = 5

// orFlat is the spread of a set on flat ground, that of SRTM where it states none.
func orFlat(sdM float64) float64 {
	if sdM > 0 {
		return sdM
	}
	return flatSDM
}
