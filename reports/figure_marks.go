package reports

import (
	"fmt"
	"math"
	"strings"
)

// marks returns what a panel labels, with the shape of each mark.
func (p *profilePlot) marks(curved bool) (labels []figureLabel, marks []string) {
	add := func(mark string, distanceM, heightM float64, name, words string) {
		if distanceM < 0 || distanceM > p.lastM+1 || !allFinite(distanceM, heightM) {
			return
		}
		distanceM = math.Min(distanceM, p.lastM) // a profile may end a hair before its target
		plotted := p.plottedM(distanceM, heightM, curved)
		if plotted < p.minM || plotted > p.maxM {
			return
		}
		l := figureLabel{x: p.x(distanceM), y: plotted, shown: words}
		if name != "" {
			l.shown = isolated(fitted(name, 190, figureTextSize)) + words
			l.full = isolated(name) + words
		}
		labels, marks = append(labels, l), append(marks, mark)
	}
	l := p.line
	same := func(a, b float64) bool { return math.Abs(a-b) < p.lastM/300 }
	grazing, horizon := "grazing point "+kilometres(l.GrazingDistanceM), ""
	if l.SeaHorizonM != nil && *l.SeaHorizonM < l.DistanceM {
		horizon = "sea horizon " + kilometres(*l.SeaHorizonM)
	}
	if l.FrontDistanceM != nil {
		ground, _ := p.at(*l.FrontDistanceM)
		words := "front"
		if same(*l.FrontDistanceM, l.GrazingDistanceM) {
			words, grazing = words+" and grazing point", ""
		}
		if horizon != "" && same(*l.FrontDistanceM, *l.SeaHorizonM) {
			words, horizon = words+" at the sea horizon", ""
		}
		if !curved {
			words = "the same ground,"
		}
		words += " " + kilometres(*l.FrontDistanceM)
		add(markFront, *l.FrontDistanceM, ground, "", words)
	}
	if x, h, ok := p.foot(); ok && curved {
		words := "foot in view "
		if l.MarginArcmin <= 0 {
			words = "cut off up to "
		}
		add(markFoot, x, h, "", words+metres(h))
	}
	if grazing != "" && curved {
		add(markGrazing, l.GrazingDistanceM, l.GrazingHeightM, "", grazing)
	}
	if horizon != "" && curved {
		add(markHorizon, *l.SeaHorizonM, 0, "", horizon)
	}
	if l.UndecidedAtM != nil && curved {
		ground, _ := p.at(*l.UndecidedAtM)
		add(markEnd, *l.UndecidedAtM, ground, "", "terrain missing "+kilometres(*l.UndecidedAtM))
	}
	for _, t := range p.also {
		add(markEnd, t.distanceM, t.heightM, t.name, ", top "+metres(t.heightM))
	}
	// The ends come last, as placeLabels wants them.
	add(markEnd, 0, l.EyeHeightM, l.ObserverName, ", eye "+metres(l.EyeHeightM))
	add(markEnd, l.DistanceM, l.TopHeightM, l.TargetName, ", top "+metres(l.TopHeightM))
	return labels, marks
}

func (p *profilePlot) legend() []legendItem {
	items := []legendItem{
		{line: "ray", words: "light at k = " + decimals(p.k, 3)},
		{line: "ray-low", words: "at low k, " + decimals(p.low, 3)},
		{line: "ray-high", words: "at high k, " + decimals(p.high, 3)},
	}
	_, _, _, cut := p.lowestRay()
	if cut {
		items = append(items, legendItem{line: "ray-cut", words: "lowest light over the front"})
	}
	items = append(items,
		legendItem{line: "ray-plane", words: "straight light on the plane"},
		legendItem{line: "sea", words: "sea level"},
		legendItem{fill: "land", words: "ground"})
	if cut {
		items = append(items, legendItem{hatch: true, words: "out of view"})
	}
	for _, s := range p.samples {
		if s.Missing {
			return append(items, legendItem{cross: true, words: "terrain missing"})
		}
	}
	return items
}

// describe says in words what the figure shows.
func (p *profilePlot) describe() string {
	l := p.line
	var b strings.Builder
	fmt.Fprintf(&b, "Two panels with the same scales show the ground between the two places, %s apart. Eye %s, top %s over the sea. ",
		kilometres(l.DistanceM), metres(l.EyeHeightM), metres(l.TopHeightM))
	fmt.Fprintf(&b, "Upper panel, curved: in the middle the sea stands %s over the straight line between the ends; the light to the top passes closest to the ground at %s. ",
		metres(p.sagittaM()), kilometres(l.GrazingDistanceM))
	if x, h, ok := p.foot(); ok && l.FrontDistanceM != nil {
		fmt.Fprintf(&b, "The front at %s cuts off what lies lower than %s at %s. ", kilometres(*l.FrontDistanceM), metres(h), kilometres(x))
	}
	b.WriteString("Lower panel, plane: flat ground, straight light.")
	p.describeTrueScale(&b)
	return b.String()
}
