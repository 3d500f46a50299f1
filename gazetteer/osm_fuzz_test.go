package gazetteer

import (
	"bytes"
	"io"
	"testing"
)

func FuzzOSMXML(f *testing.F) {
	for _, more := range []string{
		osmDocument(osmAround, osmWayOf(6, nil, 1, 2), osmWayOf(7, []string{"man_made=tower", "name=A;B", "height=7'4\""}, 3, 4),
			"<relation id='8'><member type='way' ref='6'/><member type='node' ref='1'/>"+osmTags("type=multipolygon", "disused:man_made=chimney", "name:de=B", "est_height=80")+"</relation>"),
		osmDocument("<way id='7'><center lat='10' lon='20'/><bounds minlat='9' minlon='19' maxlat='11' maxlon='21'/><nd ref='1' lat='9' lon='19'/>" + osmTags("natural=peak", "name=A") + "</way>"),
		"<?xml version='1.0' encoding=\"utf-8\"?><!-- > --><osm><note><![CDATA[<]]></note><node id='1' visible='false'/><node id='1' version='2'/><tag k='&#x26;&lt;&x;'/></osm>",
	} {
		f.Add([]byte(more))
	}
	fuzzFormat(f, osmXML())
}

func FuzzOSMPBF(f *testing.F) {
	f.Add(joined(pbfHeader(), pbfBlob(osmDataBlob, pbfSample(), false)))
	f.Add(joined(pbfHeader(), pbfBlob(osmDataBlob, pbfSample(), true), pbfBlob(osmDataBlob, pbfSample(), false)))
	f.Add(pbfHeader("HistoricalInformation"))
	fuzzFormat(f, osmPBF())
}

// FuzzOSMBlock puts any bytes where a PBF has a block, which FuzzOSMPBF hardly reaches through lengths and packing.
func FuzzOSMBlock(f *testing.F) {
	f.Add(pbfSample())
	block := osmPBF()
	block.fits = func([]byte, bool) (bool, string) { return true, "" }
	block.readAgain = func(open func() (io.ReadCloser, error), out *sink) error {
		return osmPBF().readAgain(func() (io.ReadCloser, error) {
			text, err := open()
			if err != nil {
				return nil, err
			}
			data, err := io.ReadAll(text)
			return io.NopCloser(bytes.NewReader(joined(pbfHeader(), pbfBlob(osmDataBlob, data, false)))), err
		}, out)
	}
	fuzzFormat(f, block)
}
