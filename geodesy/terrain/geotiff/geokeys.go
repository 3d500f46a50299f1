package geotiff

import (
	"errors"
	"fmt"
)

// keys of OGC GeoTIFF 1.1, section 7.
const (
	keyModelType     = 1024
	keyRasterType    = 1025
	keyGeographic    = 2048
	keyDatum         = 2050
	keyMeridian      = 2051
	keyAngularUnits  = 2054
	keyProjected     = 3072
	keyVertical      = 4096
	keyVerticalUnits = 4099

	modelProjected   = 1
	modelGeographic  = 2
	rasterArea       = 1
	rasterPoint      = 2
	userDefined      = 32767
	greenwich        = 8901
	degree           = 9102
	metre            = 9001
	ellipsoidWGS84   = 5030 // GeoTIFF 1.0, section 6.3.4.1: height over the WGS84 ellipsoid
	epsgWGS84Heights = 4979
)

// geographicCRS holds the coordinate systems whose latitude and longitude are those of WGS84 within 2 m, less than a tenth of a 1″ post:
// WGS 84 in two and three dimensions, NAD83, NAD83(CSRS), ETRS89.
var geographicCRS = map[int]bool{4326: true, epsgWGS84Heights: true, 4269: true, 4617: true, 4258: true}

// datumCRS gives the coordinate system of a datum, where a file describes its own.
var datumCRS = map[int]int{6326: 4326, 6269: 4269, 6140: 4617, 6258: 4258}

// keys reads those GeoKeys whose value is a whole number in the directory itself.
func (s *source) keys(d directory) (map[int]int, error) {
	raw, err := s.numbers(d, tagGeoKeyDirectory)
	if err != nil {
		return nil, err
	}
	if len(raw) < 4 {
		return nil, errors.New("states no coordinate system: give it one with gdal_translate -a_srs EPSG:4326, if that is what it has")
	}
	if n := raw[3]; n > uint64(len(raw)-4)/4 {
		return nil, fmt.Errorf("GeoKey directory: states %d keys, holds %d: check the file", n, (len(raw)-4)/4)
	}
	keys := map[int]int{}
	for entry := raw[4:][:4*raw[3]]; len(entry) > 0; entry = entry[4:] {
		if location := entry[1]; location == 0 {
			keys[int(entry[0])] = int(entry[3])
		}
	}
	return keys, nil
}

// coordinates fills in the coordinate system, or refuses it.
func (i *Info) coordinates(keys map[int]int) error {
	const toWGS84 = "reproject to EPSG:4326 with gdalwarp -t_srs EPSG:4326"
	switch model := keys[keyModelType]; model {
	case modelGeographic:
	case modelProjected:
		return fmt.Errorf("%s: projected coordinates: %s", epsg(keys[keyProjected]), toWGS84)
	default:
		return fmt.Errorf("GeoTIFF model type %d, want %d (geographic): %s", model, modelGeographic, toWGS84)
	}
	code := keys[keyGeographic]
	if code == userDefined {
		if known, ok := datumCRS[keys[keyDatum]]; ok {
			code = known
		}
	}
	if !geographicCRS[code] {
		return fmt.Errorf("%s: more than 2 m from WGS84, or unknown: %s", epsg(code), toWGS84)
	}
	if unit, ok := keys[keyAngularUnits]; ok && unit != degree {
		return fmt.Errorf("angles in EPSG unit %d, want degrees (%d): %s", unit, degree, toWGS84)
	}
	if meridian, ok := keys[keyMeridian]; ok && meridian != greenwich {
		return fmt.Errorf("EPSG prime meridian %d, want Greenwich (%d): %s", meridian, greenwich, toWGS84)
	}
	if unit, ok := keys[keyVerticalUnits]; ok && unit != metre {
		return fmt.Errorf("heights in EPSG unit %d, want metres (%d): convert them with gdal_calc.py", unit, metre)
	}
	i.CRS = epsg(code)
	i.VerticalEPSG = keys[keyVertical]
	if i.VerticalEPSG == ellipsoidWGS84 || i.VerticalEPSG == 0 && code == epsgWGS84Heights {
		i.VerticalEPSG = epsgWGS84Heights
	}
	switch raster, ok := keys[keyRasterType]; {
	case !ok || raster == rasterArea:
	case raster == rasterPoint:
		i.PixelIsPoint = true
	default:
		return fmt.Errorf("GeoTIFF raster type %d, want %d (area) or %d (point): check the file", raster, rasterArea, rasterPoint)
	}
	return nil
}

func epsg(code int) string {
	switch code {
	case 0:
		return "coordinate system not named"
	case userDefined:
		return "coordinate system of its own"
	}
	return fmt.Sprintf("EPSG:%d", code)
}

// place fills in where the first post lies and the steps. OGC GeoTIFF 1.1, section 7.1.2: the raster space's (0, 0) is the corner of the
// first pixel where pixels are areas, its post where they are points.
func (i *Info) place(s *source, d directory) error {
	scale, err := s.doubles(d, tagModelPixelScale)
	if err != nil {
		return err
	}
	tie, err := s.doubles(d, tagModelTiepoint)
	if err != nil {
		return err
	}
	matrix, err := s.doubles(d, tagModelTransformation)
	if err != nil {
		return err
	}
	switch {
	case len(matrix) == 16:
		if matrix[1] != 0 || matrix[4] != 0 {
			return errors.New("rows do not run along parallels: turn it with gdalwarp -t_srs EPSG:4326")
		}
		i.LonStepDeg, i.LatStepDeg = matrix[0], -matrix[5]
		i.WestDeg, i.NorthDeg = matrix[3], matrix[7]
	case len(scale) >= 2 && len(tie) >= 6:
		i.LonStepDeg, i.LatStepDeg = scale[0], scale[1]
		i.WestDeg, i.NorthDeg = tie[3]-tie[0]*scale[0], tie[4]+tie[1]*scale[1]
	default:
		return errors.New("states no position (pixel scale and tie point, or transformation): give it one with gdal_translate -a_ullr")
	}
	if !i.PixelIsPoint {
		i.WestDeg += i.LonStepDeg / 2
		i.NorthDeg -= i.LatStepDeg / 2
	}
	if !(i.LonStepDeg > 0 && i.LatStepDeg > 0) {
		return fmt.Errorf("steps %g° eastward and %g° southward, want both over 0: turn it with gdalwarp -t_srs EPSG:4326", i.LonStepDeg, i.LatStepDeg)
	}
	const maxStepDeg, maxDeg = 90, 720
	east, south := i.WestDeg+float64(i.Cols)*i.LonStepDeg, i.NorthDeg-float64(i.Rows)*i.LatStepDeg
	if !(i.LonStepDeg < maxStepDeg && i.LatStepDeg < maxStepDeg && i.WestDeg > -maxDeg && east < maxDeg && i.NorthDeg < maxDeg && south > -maxDeg) {
		return fmt.Errorf("reaches from %g° N %g° E to %g° N %g° E, not on the Earth: check its position", i.NorthDeg, i.WestDeg, south, east)
	}
	return nil
}
