// Package geoid holds the height of the geoid over the WGS84 ellipsoid, which turns heights of gazetteers and terrain into
// ellipsoidal heights. The model is EGM96 on the 15′ grid of NIMA (now NGA) and NASA, in the public domain: Lemoine and others,
// The Development of the Joint NASA GSFC and NIMA Geopotential Model EGM96, NASA/TP-1998-206861, 1998.
//
// Between nodes heights are bilinear. Against the model itself that errs by 40 mm (root mean square), at most by 1.152 m
// (manual of GeoidEval, GeographicLib, egm96-15 bilinear).
//
// The embedded egm96.bin was made from egm96_15.gtx as PROJ distributes it (Debian package proj-data 9.1.1-1; 4,153,000 bytes,
// SHA-256 c02a6eb70a7a78efebe5adf3ade626eb75390e170bb8b3f36136a2c28f5326a0) with
//
//	go run ./geodesy/geoid/internal/compact --grid egm96_15.gtx --out geodesy/geoid/egm96.bin
//
// Its heights are those of the source rounded to 1 mm. Other geoids are read from files (ReadModel).
package geoid
