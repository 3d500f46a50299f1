package camera

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Errors of a fit that cannot be trusted.
var (
	// ErrTooFew is returned where there are fewer measurements than unknowns.
	ErrTooFew = errors.New("camera: fewer measurements than unknowns")
	// ErrSingular is returned where the points leave a combination of unknowns open.
	ErrSingular = errors.New("camera: the points leave something open")
	// ErrNoConvergence is returned where the search for the best fit does not end.
	ErrNoConvergence = errors.New("camera: no best fit was found")
)

// Parameter is one fitted unknown.
type Parameter struct {
	Name string
	// Value and SD are in the unknown's own unit: radians, metres, logarithm of the focal length, k.
	Value, SD float64
	// Prior and PriorSD are what was known before; PriorSD is +Inf where that was nothing.
	Prior, PriorSD float64
	// BreakEven is by how much the prior alone must be wrong for the fitted curvature to come out as 0; ±Inf where it has no say, NaN where
	// there is no prior or the curvature is not free.
	BreakEven float64
}

// Residual is what is left of one point.
type Residual struct {
	// XPx and YPx are measured less predicted, in pixels; a point of a level line has YPx alone, across the line, a plumb line XPx alone.
	XPx, YPx float64
	// Arcmin is the larger one's angle.
	Arcmin float64
}

// Fit is the best fit of a model to a problem.
type Fit struct {
	Model Model
	// Curvature is the apparent curvature times the Earth's radius, c = 1 − k, and CurvatureSD its standard deviation, 0 where it is kept.
	Curvature, CurvatureSD float64
	// Chi2 is the sum of squares of what is left, priors included, DOF the measurements less the unknowns without prior, P the probability
	// of a Chi2 as large or larger if the model holds.
	Chi2 float64
	DOF  int
	P    float64
	// Poses are those of the frames, Residuals those of the points.
	Poses      []Pose
	Residuals  []Residual
	Parameters []Parameter
	// Weakest is the combination of unknowns that the points determine worst, and Condition the ratio of the best to the worst: above 1e10 the
	// fit is not to be trusted.
	Weakest   string
	Condition float64
	// LogEvidence is the natural logarithm of the marginal likelihood, but for a constant that all models of one problem share: −χ²/2 −
	// ½ ln det N − Σ ln(prior standard deviations), Laplace's approximation about the best fit (MacKay 2003, Information Theory, Inference and
	// Learning Algorithms, eq. 28.6). Compared between models it means something only where both have a prior on the curvature or keep it.
	LogEvidence float64

	layout     *layout
	values     []float64
	covariance *mat.SymDense
}

const (
	mostSteps = 100
	// worstCondition is the ratio of eigenvalues of the scaled normal matrix beyond which unknowns cannot be told apart: double precision leaves
	// six digits there.
	worstCondition = 1e10
)

// Solve fits a model by weighted least squares: Gauss–Newton with Levenberg's damping (Levenberg 1944, Marquardt 1963), derivatives by central
// differences. What is known before enters as measurements of its own. The error wraps ErrTooFew, ErrSingular or ErrNoConvergence, or says what is wrong
// with the problem.
func Solve(p *Problem, model Model) (*Fit, error) {
	if err := p.check(); err != nil {
		return nil, fmt.Errorf("camera: %w", err)
	}
	l := newLayout(p, model)
	measurements := 0
	for _, point := range p.Points {
		measurements++
		if point.Part == OnTarget || point.Part == Celestial {
			measurements++
		}
	}
	free := 0
	for _, q := range l.parameters {
		if math.IsInf(q.sd, 1) {
			free++
		}
	}
	if measurements < free || measurements == 0 {
		return nil, fmt.Errorf("%w: %d measurements, %d unknowns without a prior", ErrTooFew, measurements, free)
	}

	values := make([]float64, len(l.parameters))
	for i, q := range l.parameters {
		values[i] = q.value
	}
	chi2 := l.chi2(values)
	damping, settled := 1e-3, false
	var normal *mat.SymDense
	var gradient []float64
	for step := 0; step < mostSteps && !settled; step++ {
		normal, gradient = l.normal(values)
		for {
			change, ok := damped(normal, gradient, damping)
			trial := make([]float64, len(values))
			for i := range values {
				trial[i] = values[i] + change[i]
			}
			if better := l.chi2(trial); ok && better <= chi2 {
				settled = chi2-better <= 1e-9*(1+chi2) && gain(normal, gradient) <= 1e-6*(1+chi2)
				values, chi2 = trial, better
				damping = math.Max(damping/10, 1e-12)
				break
			}
			damping *= 10
			if damping > 1e12 {
				settled = true // no direction leads down any further
				break
			}
		}
	}
	normal, _ = l.normal(values)
	fit := &Fit{Model: model, Chi2: chi2, DOF: measurements - free, layout: l, values: values}
	if err := fit.finish(normal); err != nil {
		return nil, err
	}
	if !settled {
		return nil, fmt.Errorf("%w within %d steps; worst determined are %s", ErrNoConvergence, mostSteps, fit.Weakest)
	}
	return fit, nil
}

// chi2 is the sum of squares over points and priors.
func (l *layout) chi2(values []float64) float64 {
	sum := 0.0
	for i := range l.problem.Points {
		dx, dy := l.residuals(values, i)
		sum += dx*dx + dy*dy
	}
	for i, q := range l.parameters {
		if !math.IsInf(q.sd, 1) {
			off := (values[i] - q.prior) / q.sd
			sum += off * off
		}
	}
	return sum
}

// normal returns JᵀJ and −Jᵀr.
func (l *layout) normal(values []float64) (*mat.SymDense, []float64) {
	n := len(values)
	byPoint := make([][]slope, len(l.problem.Points))
	work := append([]float64(nil), values...)
	for j, q := range l.parameters {
		for _, i := range q.points {
			work[j] = values[j] + q.step
			x1, y1 := l.residuals(work, i)
			work[j] = values[j] - q.step
			x0, y0 := l.residuals(work, i)
			work[j] = values[j]
			byPoint[i] = append(byPoint[i], slope{j, (x1 - x0) / (2 * q.step), (y1 - y0) / (2 * q.step)})
		}
	}
	normal, gradient := mat.NewSymDense(n, nil), make([]float64, n)
	for i, slopes := range byPoint {
		dx, dy := l.residuals(values, i)
		for a, s := range slopes {
			gradient[s.parameter] -= s.x*dx + s.y*dy
			for _, t := range slopes[a:] {
				normal.SetSym(s.parameter, t.parameter, normal.At(s.parameter, t.parameter)+s.x*t.x+s.y*t.y)
			}
		}
	}
	for j, q := range l.parameters {
		if !math.IsInf(q.sd, 1) {
			weight := 1 / (q.sd * q.sd)
			normal.SetSym(j, j, normal.At(j, j)+weight)
			gradient[j] -= weight * (values[j] - q.prior)
		}
	}
	return normal, gradient
}

// slope is how the residuals of a point move with one unknown.
type slope struct {
	parameter int
	x, y      float64
}

// damped solves (N + damping·diag N) x = g; false where even that is singular.
func damped(normal *mat.SymDense, gradient []float64, damping float64) ([]float64, bool) {
	n := len(gradient)
	if n == 0 {
		return nil, true
	}
	scaled := mat.NewSymDense(n, nil)
	scaled.CopySym(normal)
	for i := range n {
		scaled.SetSym(i, i, normal.At(i, i)*(1+damping)+1e-30)
	}
	var cholesky mat.Cholesky
	out := make([]float64, n)
	if !cholesky.Factorize(scaled) {
		return out, false
	}
	err := cholesky.SolveVecTo(mat.NewVecDense(n, out), mat.NewVecDense(n, gradient))
	var condition mat.Condition
	return out, err == nil || errors.As(err, &condition)
}

// gain is by how much a full step would lower χ² if the problem were linear: what is left to be found.
func gain(normal *mat.SymDense, gradient []float64) float64 {
	change, ok := damped(normal, gradient, 1e-12)
	if !ok {
		return math.Inf(1)
	}
	sum := 0.0
	for i := range gradient {
		sum += gradient[i] * change[i]
	}
	return sum
}

// finish works out spreads, condition, residuals and probability.
func (f *Fit) finish(normal *mat.SymDense) error {
	l, n := f.layout, len(f.values)
	scale := make([]float64, n)
	scaled := mat.NewSymDense(n, nil)
	for i := range n {
		if !(normal.At(i, i) > 0) {
			return fmt.Errorf("%w: %s moves no point", ErrSingular, l.parameters[i].name)
		}
		scale[i] = math.Sqrt(normal.At(i, i))
	}
	for i := range n {
		for j := i; j < n; j++ {
			scaled.SetSym(i, j, normal.At(i, j)/scale[i]/scale[j])
		}
	}
	f.covariance = mat.NewSymDense(n, nil)
	if n > 0 {
		var eigen mat.EigenSym
		if !eigen.Factorize(scaled, true) {
			return fmt.Errorf("%w: the normal equations have no eigenvalues", ErrSingular)
		}
		eigenvalues := eigen.Values(nil)
		var vectors mat.Dense
		eigen.VectorsTo(&vectors)
		f.Weakest = l.combination(&vectors)
		f.Condition = math.Inf(1)
		if eigenvalues[0] > 0 {
			f.Condition = eigenvalues[n-1] / eigenvalues[0]
		}
		if !(f.Condition < worstCondition) {
			return fmt.Errorf("%w: %s cannot be told apart", ErrSingular, f.Weakest)
		}
		for i := range n {
			for j := i; j < n; j++ {
				sum := 0.0
				for e := range n {
					sum += vectors.At(i, e) * vectors.At(j, e) / eigenvalues[e]
				}
				f.covariance.SetSym(i, j, sum/scale[i]/scale[j])
			}
			f.LogEvidence -= math.Log(eigenvalues[i])/2 + math.Log(scale[i])
		}
	}
	f.Curvature = at(f.values, l.curvature, l.model.Curvature)
	if l.curvature >= 0 {
		f.CurvatureSD = math.Sqrt(f.covariance.At(l.curvature, l.curvature))
	}
	f.LogEvidence -= f.Chi2 / 2
	for _, q := range l.parameters {
		if !math.IsInf(q.sd, 1) {
			f.LogEvidence -= math.Log(q.sd)
		}
	}
	f.P = 1
	if f.DOF > 0 {
		f.P = distuv.ChiSquared{K: float64(f.DOF)}.Survival(f.Chi2)
	}
	for i := range l.frames {
		f.Poses = append(f.Poses, l.pose(f.values, i))
	}
	for i, point := range l.problem.Points {
		dx, dy := l.residuals(f.values, i)
		r := Residual{XPx: dx * point.SDPx, YPx: dy * point.SDPx}
		if point.Part == Celestial {
			pose := f.Poses[point.Frame]
			if x, y, ok := pose.Project(point.AzimuthRad, point.ElevationRad); ok {
				r.XPx, r.YPx = point.XPx-x, point.YPx-y
			}
		}
		r.Arcmin = math.Atan(math.Max(math.Abs(r.XPx), math.Abs(r.YPx))/f.Poses[point.Frame].FocalPx) * 180 / math.Pi * 60
		f.Residuals = append(f.Residuals, r)
	}
	for i, q := range l.parameters {
		f.Parameters = append(f.Parameters, Parameter{
			Name: q.name, Value: f.values[i], SD: math.Sqrt(f.covariance.At(i, i)), Prior: q.prior, PriorSD: q.sd, BreakEven: f.breakEven(i),
		})
	}
	return nil
}

// breakEven: moving the prior of unknown i by Δ moves the curvature by cov(c, i)/sd² · Δ.
func (f *Fit) breakEven(i int) float64 {
	q := f.layout.parameters[i]
	if f.layout.curvature < 0 || i == f.layout.curvature || math.IsInf(q.sd, 1) {
		return math.NaN()
	}
	return -f.Curvature * q.sd * q.sd / f.covariance.At(f.layout.curvature, i)
}

// combination names the unknowns that make up the worst determined direction, the largest first, at most three.
func (l *layout) combination(vectors *mat.Dense) string {
	weight := make([]float64, len(l.parameters))
	for i := range weight {
		weight[i] = math.Abs(vectors.At(i, 0))
	}
	text := ""
	for count := 0; count < 3; count++ {
		best := 0
		for i := range weight {
			if weight[i] > weight[best] {
				best = i
			}
		}
		if weight[best] < 0.1 {
			break
		}
		if text != "" {
			text += ", "
		}
		text += l.parameters[best].name
		weight[best] = 0
	}
	return text
}

// Correlation returns the correlation of two fitted unknowns by their names, false where one of them is not fitted.
func (f *Fit) Correlation(a, b string) (float64, bool) {
	i, j := -1, -1
	for n, q := range f.layout.parameters {
		if q.name == a {
			i = n
		}
		if q.name == b {
			j = n
		}
	}
	if i < 0 || j < 0 {
		return 0, false
	}
	return f.covariance.At(i, j) / math.Sqrt(f.covariance.At(i, i)*f.covariance.At(j, j)), true
}
