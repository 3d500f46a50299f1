package main

import (
	"math"
	"testing"

	"github.com/spf13/pflag"

	"farstation/gazetteer"
	"farstation/pipeline"
)

// Whatever stands behind a flag is a value in its range, or an error.
func FuzzFlagValues(f *testing.F) {
	for _, text := range []string{"a.zip,licence=x,attribution=y", "tiles,datum=egm2008,geoid=g.gtx,surface=top", "-125,-34,-121,-31", "1e999,nan,0x1p-2,1_0", "peak,hill", "512MiB", "9e18TiB", "3/16", "1/0"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		o := pipeline.DefaultOptions()
		share, bytes := pipeline.Part{}, int64(1)
		for _, value := range []pflag.Value{
			featuresValue{&o}, terrainValue{&o.Terrain}, areaValue{&o.Area}, kindsValue{&o.ObserverKinds, gazetteer.Kinds()}, kindsValue{&o.TargetKinds, nil},
			bytesValue{&bytes}, shareValue{&share},
		} {
			if err := value.Set(text); err == nil {
				_ = value.String()
			}
		}
		if bytes < 1 {
			t.Errorf("%d bytes", bytes)
		}
		if share != (pipeline.Part{}) && (share.Share < 1 || share.Share > share.Of) {
			t.Errorf("%+v", share)
		}
		if a := o.Area; a != nil && (math.IsNaN(a.West+a.South+a.East+a.North) || math.IsInf(a.West, 0)) {
			t.Errorf("%+v", *a)
		}
		if len(o.Features) > 1 || len(o.Terrain) > 1 {
			t.Errorf("%q, %+v", o.Features, o.Terrain)
		}
	})
}
