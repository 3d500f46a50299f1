// Package geotiff reads elevation from GeoTIFF files of one band in geographic coordinates, window by window.
//
// It reads classic TIFF and BigTIFF (TIFF 6.0, Adobe 1992; BigTIFF as libtiff has it), strips and tiles, both byte orders, whole numbers of
// 8 to 32 bits and floats of 32 and 64 bits, plain or packed with LZW, DEFLATE, ZSTD or PackBits, with any predictor. Places follow OGC
// GeoTIFF 1.1 (19-008r4). Overviews and masks inside a file are passed over: a mask does not make a post void, the no-data value does, and
// so does a block that the file leaves out.
package geotiff
