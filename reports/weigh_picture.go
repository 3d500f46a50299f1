package reports

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	_ "image/png" // photographs are JPEG or PNG
	"io"
	"math"
	"os"

	"farstation/pipeline"
)

// Limits of a picture in the page: a larger one is not decoded, for its pixels would not fit in memory beside the rest, and a wider or higher one is
// reduced.
const (
	mostDecodedPx                 = 120_000_000
	mostDrawnWidth, mostDrawnHigh = 1600, 4800
)

// The size of a crop at 1:1, and how many a page holds.
const (
	cropWidth, cropHeight = 160, 120
	mostCrops             = 24
)

// weighPicture is a photograph made ready for the page; an empty uri means that only its frame is drawn, and why says the reason.
type weighPicture struct {
	uri, why string
	crops    []weighCrop
}

// weighCrop is a piece of the photograph as it is stored, around a measured point; box counts from the picture's corner.
type weighCrop struct {
	point int // of the residuals
	box   image.Rectangle
	uri   string
}

// readWeighPicture decodes a photograph once, reduces it and cuts out at most most crops around points of its frame. A file that cannot be read, or
// is not the one that was weighed, is no error: the page then says why it is missing.
func readWeighPicture(photo pipeline.Photograph, frame int, points []pipeline.PointResidual, most int) weighPicture {
	whole, err := decodePhotograph(photo)
	if err != nil {
		return weighPicture{why: err.Error()}
	}
	p := weighPicture{uri: jpegURI(reduced(whole, mostDrawnWidth, mostDrawnHigh), 82)}
	for i, at := range points {
		if at.Frame != frame || len(p.crops) == most || !allFinite(at.AtXPx, at.AtYPx) {
			continue
		}
		// A point far outside the picture has no crop.
		box := cropBox(at.AtXPx, at.AtYPx, whole.Bounds())
		if box.Empty() {
			continue
		}
		p.crops = append(p.crops, weighCrop{i, box.Sub(whole.Bounds().Min), jpegURI(opaque(whole, box), 92)})
	}
	return p
}

// cropBox is the box of a crop around a point, moved into the picture; empty where the point is outside.
func cropBox(x, y float64, bounds image.Rectangle) image.Rectangle {
	if x < 0 || y < 0 || x > float64(bounds.Dx()) || y > float64(bounds.Dy()) {
		return image.Rectangle{}
	}
	left := max(0, min(int(x)-cropWidth/2, bounds.Dx()-cropWidth))
	upper := max(0, min(int(y)-cropHeight/2, bounds.Dy()-cropHeight))
	return image.Rect(left, upper, left+cropWidth, upper+cropHeight).Add(bounds.Min).Intersect(bounds)
}

// decodePhotograph decodes the pixels of a photograph as they are stored; EXIF's orientation is not applied, as points count on the stored picture.
func decodePhotograph(photo pipeline.Photograph) (image.Image, error) {
	if int64(photo.WidthPx)*int64(photo.HeightPx) > mostDecodedPx {
		return nil, fmt.Errorf("the picture has more than %d megapixels and is not decoded", mostDecodedPx/1_000_000)
	}
	file, err := os.Open(photo.Path)
	if err != nil {
		return nil, fmt.Errorf("the picture cannot be read: %w", reason(err))
	}
	defer file.Close()
	config, _, err := image.DecodeConfig(file)
	if err != nil {
		return nil, fmt.Errorf("the picture cannot be decoded: %w", err)
	}
	if config.Width != photo.WidthPx || config.Height != photo.HeightPx {
		return nil, fmt.Errorf("the file now holds %d × %d pixels, not those that were weighed", config.Width, config.Height)
	}
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return nil, fmt.Errorf("the picture cannot be read: %w", err)
	}
	hash := sha256.New()
	read := io.TeeReader(file, hash)
	whole, _, err := image.Decode(read)
	if err != nil {
		return nil, fmt.Errorf("the picture cannot be decoded: %w", err)
	}
	// What follows the pixels belongs to the hash too.
	if _, err := io.Copy(io.Discard, read); err != nil {
		return nil, fmt.Errorf("the picture cannot be read: %w", err)
	}
	if hex.EncodeToString(hash.Sum(nil)) != photo.SHA256 {
		return nil, fmt.Errorf("the file is no longer the one that was weighed: its SHA-256 differs")
	}
	return whole, nil
}

// opaque copies a box of a picture, transparency laid over white.
func opaque(from image.Image, box image.Rectangle) *image.RGBA {
	to := image.NewRGBA(image.Rect(0, 0, box.Dx(), box.Dy()))
	draw.Draw(to, to.Bounds(), image.White, image.Point{}, draw.Src)
	draw.Draw(to, to.Bounds(), from, box.Min, draw.Over)
	return to
}

// reduced returns a picture at most so many pixels wide and high. Each of its pixels is the mean of the area that it covers, so that no skyline
// thinner than a pixel is lost between samples.
func reduced(from image.Image, mostWide, mostHigh int) *image.RGBA {
	b := from.Bounds()
	scale := math.Min(1, math.Min(float64(mostWide)/float64(b.Dx()), float64(mostHigh)/float64(b.Dy())))
	w, h := max(1, int(math.Round(scale*float64(b.Dx())))), max(1, int(math.Round(scale*float64(b.Dy()))))
	// Strip by strip: a copy of the whole would take four bytes a pixel beside the decoded one.
	to := image.NewRGBA(image.Rect(0, 0, w, h))
	fx, fy := float64(b.Dx())/float64(w), float64(b.Dy())/float64(h)
	for y := range h {
		y0, y1 := float64(y)*fy, float64(y+1)*fy
		first := int(y0)
		strip := opaque(from, image.Rect(b.Min.X, b.Min.Y+first, b.Max.X, min(b.Max.Y, b.Min.Y+int(math.Ceil(y1)))))
		for x := range w {
			to.SetRGBA(x, y, meanColour(strip, float64(x)*fx, float64(x+1)*fx, y0-float64(first), y1-float64(first)))
		}
	}
	return to
}

// meanColour is the mean over a box of a strip, in pixels from its corner; pixels cut by the box's edges count by the part inside.
func meanColour(strip *image.RGBA, x0, x1, y0, y1 float64) color.RGBA {
	var red, green, blue, area float64
	b := strip.Bounds()
	for y := int(y0); y < min(b.Dy(), int(math.Ceil(y1))); y++ {
		high := math.Min(y1, float64(y+1)) - math.Max(y0, float64(y))
		for x := int(x0); x < min(b.Dx(), int(math.Ceil(x1))); x++ {
			part := high * (math.Min(x1, float64(x+1)) - math.Max(x0, float64(x)))
			pixel := strip.Pix[y*strip.Stride+4*x:]
			red, green, blue, area = red+part*float64(pixel[0]), green+part*float64(pixel[1]), blue+part*float64(pixel[2]), area+part
		}
	}
	if area == 0 {
		return color.RGBA{A: 255}
	}
	whole := func(sum float64) uint8 { return uint8(math.Round(sum / area)) }
	return color.RGBA{whole(red), whole(green), whole(blue), 255}
}

// jpegURI is a picture as a data address; nothing of the file's metadata goes with it.
func jpegURI(picture image.Image, quality int) string {
	var b bytes.Buffer
	// Writing into a buffer cannot fail, and the size is within JPEG's 65 535.
	if err := jpeg.Encode(&b, picture, &jpeg.Options{Quality: quality}); err != nil {
		return ""
	}
	return "data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(b.Bytes())
}
