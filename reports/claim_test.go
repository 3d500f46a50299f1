package reports

import (
	"bytes"
	"encoding/xml"
	"io"
	"strings"
	"testing"

	"farstation/pipeline"
)

func sampleClaim(name string) *pipeline.Claim {
	model := func(name string, k, angle float64) pipeline.ClaimModel {
		return pipeline.ClaimModel{Model: name, K: k, AngleArcmin: &angle, AngleSDArcmin: pointer(1.5), Order: "far_above", FarAboveChance: pointer(0.9)}
	}
	return &pipeline.Claim{
		Form: pipeline.ClaimForm, Version: name, Made: "2031-05-20", RunSHA256: name, ID: name, Sentence: name, Quantity: name,
		Decision: pipeline.ClaimDecision{By: pipeline.ByAngle, Rule: name, IfSeen: name},
		Models: []pipeline.ClaimModel{
			model(pipeline.ModelCurved, 0.143, -3), model(pipeline.ModelCurvedLowK, 0.063, -5), model(pipeline.ModelCurvedHighK, 0.223, -1),
			model(pipeline.ModelCurvedK0, 0, -6.5), model(pipeline.ModelPlane, 0, 18), model(pipeline.ModelPlaneSameAir, 0.143, 21),
		},
		BreakEvens: []pipeline.ClaimBreakEven{{Input: name, Amount: 31.5, Unit: "m", SD: 3}},
		Air:        pipeline.ClaimAir{K: 0.143, KSD: 0.04, KSource: name}, Doubts: name,
		Observer: pipeline.ClaimFeature{ID: name, Name: name, Sources: name}, Target: pipeline.ClaimFeature{ID: name, Name: name, StructureHeightM: 40},
		Near: &pipeline.ClaimFeature{ID: name, Name: name}, Parameters: map[string]any{"air": name}, Inputs: []pipeline.Input{{Path: name, SHA256: name}},
	}
}

// No name becomes markup, and the figure is well formed.
func TestClaimPageIsInert(t *testing.T) {
	for _, name := range hostileNames() {
		claim := sampleClaim(name)
		var page bytes.Buffer
		if err := WriteClaimHTML(&page, claim, nil, nil); err != nil {
			t.Errorf("%.20q: %v", name, err)
			continue
		}
		for _, bad := range []string{"<script", "<img", "\x00", "\x1b"} {
			if strings.Contains(page.String(), bad) {
				t.Errorf("%.20q: the page holds %q", name, bad)
			}
		}
		svg, err := separationFigure(claim)
		if err != nil {
			t.Errorf("%.20q: %v", name, err)
		}
		for decoder := xml.NewDecoder(bytes.NewReader(svg)); ; {
			if _, err := decoder.Token(); err == io.EOF {
				break
			} else if err != nil {
				t.Errorf("%.20q: figure: %v", name, err)
				break
			}
		}
	}
}

// The page shows the numbers that decide: angles with their spreads, break-even, both hashes.
func TestClaimPageShows(t *testing.T) {
	claim := sampleClaim("Ondravel")
	claim.RunSHA256, claim.SHA256 = strings.Repeat("ab", 32), strings.Repeat("cd", 32)
	var page bytes.Buffer
	if err := WriteClaimHTML(&page, claim, nil, nil); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"−3.00 ± 1.50′", "18.00 ± 1.50′", "21.00 ± 1.50′", "31.5\u00a0m", claim.RunSHA256, claim.SHA256, "far above (far above: 0.90)", "does not decide", "Never look at or near the sun"} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	claim.Models[4].AngleArcmin = nil
	if err := WriteClaimHTML(&page, claim, nil, nil); err == nil || !strings.Contains(err.Error(), "model plane has no finite angle") {
		t.Errorf("a claim without the plane's angle: %v", err)
	}
}

func TestOutcomesPageIsInert(t *testing.T) {
	chance := 0.7
	for _, name := range hostileNames() {
		rows := []pipeline.Outcome{{LineID: "a>b", Date: "2031-05-20", Outcome: pipeline.Seen}, {LineID: name, Date: "2031-05-20", Outcome: pipeline.Seen, Line: 3}}
		score := pipeline.ScoreOutcomes(rows, nil, map[string]*float64{"a>b": &chance})
		var page bytes.Buffer
		if err := WriteOutcomesHTML(&page, score, name, name, name); err != nil {
			t.Errorf("%.20q: %v", name, err)
		}
		for _, bad := range []string{"<script", "<img", "\x00"} {
			if strings.Contains(page.String(), bad) {
				t.Errorf("%.20q: the page holds %q", name, bad)
			}
		}
	}
}
