package camera

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestLogEvidence integrates likelihood times prior over the curvature by the trapezium rule, every other unknown at its own best and spread, and
// compares ratios between models whose priors on the curvature differ.
func TestLogEvidence(t *testing.T) {
	s := madeScene(rand.New(rand.NewPCG(31, 32)), 6, 1-0.143, 0)
	p := &s.problem
	solve := func(m Model) *Fit {
		fit, err := Solve(p, m)
		if err != nil {
			t.Fatal(err)
		}
		return fit
	}
	// Over all but the curvature, kept at c, Laplace's approximation is nearly exact: it is nearly linear.
	integral := func(m Model) float64 {
		const n = 400
		kept := make([]float64, n+1)
		best := math.Inf(-1)
		for i := range kept {
			c := m.Curvature + m.CurvatureSD*8*(2*float64(i)/n-1)
			z := (c - m.Curvature) / m.CurvatureSD
			kept[i] = solve(Model{Curvature: c}).LogEvidence - z*z/2 - math.Log(m.CurvatureSD*math.Sqrt(2*math.Pi))
			best = math.Max(best, kept[i])
		}
		sum := 0.0
		for _, v := range kept {
			sum += math.Exp(v-best) * 16 * m.CurvatureSD / n
		}
		return best + math.Log(sum)
	}
	wide, narrow := Model{Curvature: 0.8, CurvatureSD: 0.2}, Model{Curvature: 0.86, CurvatureSD: 0.04}
	got := solve(wide).LogEvidence - solve(narrow).LogEvidence
	if want := integral(wide) - integral(narrow); math.Abs(got-want) > 0.02 {
		t.Errorf("logarithm of the evidence ratio %.3f, by integration %.3f", got, want)
	}
	// A kept curvature has no prior: one dimension less, against which the other counts its own width.
	got = solve(narrow).LogEvidence - solve(Model{Curvature: 0.86}).LogEvidence
	if want := integral(narrow) - solve(Model{Curvature: 0.86}).LogEvidence; math.Abs(got-want) > 0.02 {
		t.Errorf("against a kept curvature %.3f, by integration %.3f", got, want)
	}
}
