package fit

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Coefficient is a fitted number with its standard error, the two-sided test of
// whether it is zero, and its range at the level of the fit.
type Coefficient struct {
	Value, SE, T, P, Low, High float64
}

func newCoefficient(value, se float64, df int, tq float64) Coefficient {
	c := Coefficient{Value: value, SE: se, Low: value - tq*se, High: value + tq*se}
	switch {
	case se > 0:
		c.T = value / se
	case value == 0:
		return Coefficient{P: 1}
	default: // an exact fit
		c.T = math.Inf(1)
		if value < 0 {
			c.T = math.Inf(-1)
		}
	}
	c.P = studentTail(c.T, float64(df))
	return c
}

// Influence is what one point does to a least-squares fit.
type Influence struct {
	Fitted, Residual float64
	Leverage         float64 // diagonal of the hat matrix, 0 to 1
	// Student is the externally studentized residual and Cook the distance by
	// which the coefficients move without the point. Both are 0 and Alone is set
	// where they do not exist: at leverage 1 (the fit passes through the point
	// whatever its value) and in a fit with one degree of freedom.
	Student, Cook float64
	Alone         bool
}

// Band is a fit at one x: the range of its mean, and of a new value of weight 1.
type Band struct {
	Fit, SE                 float64
	Low, High               float64
	PredictLow, PredictHigh float64
}

// Linear is a least-squares fit. Coef is in the order of the columns: the
// constant first, if there is one, then ascending powers or the given columns.
type Linear struct {
	Coef            []Coefficient
	N, DF           int
	Level           float64
	RSS, ResidualSD float64
	// R2 is about the mean where the fit has a constant, else about 0.
	R2, AdjR2 float64
	F, FP     float64 // of all coefficients but the constant being 0
	Points    []Influence
	Doubts    []Doubt

	basis basis
	coef  []float64 // in the basis
	rinv  []float64 // inverse of R in the basis, row-major
	tq    float64   // Student's t at Level
}

// basis is how columns are taken while they are worked on: powers of
// (x - centre)/scale up to degree, or the columns themselves (degree -1).
type basis struct {
	centre, scale float64
	degree        int
}

// Line fits y = a + b x by least squares; w are weights (inverse to the
// variance of each y), nil for equal ones. Coef holds a, then b. All slices
// have n values, n >= 3 with at least 2 distinct x.
//
// The error wraps ErrTooFew, ErrNotFinite, ErrConstant or ErrDomain (a weight
// that is not above 0).
//
// Source: Draper and Smith 1998, Applied Regression Analysis, 3rd ed., ch. 1-8;
// checked against NIST StRD and R.
func Line(x, y, w []float64, level float64) (*Linear, error) {
	return Polynomial(x, y, w, 1, level)
}

// Polynomial fits y = c0 + c1 x + ... + cd x^d by least squares, as Line, from
// at least degree + 2 values with more than degree distinct x (else the error
// wraps ErrTooFew, ErrDuplicates or ErrConstant). It works in powers of
// (x - centre)/half-range by an orthogonalisation done twice, and turns the
// coefficients back at the end.
//
// Source: Björck 1994, Linear Algebra Appl. 197:297-316 (Gram-Schmidt with
// reorthogonalisation).
func Polynomial(x, y, w []float64, degree int, level float64) (*Linear, error) {
	sameLength(x, y)
	if degree < 1 {
		panic(fmt.Sprintf("fit: degree %d, want at least 1", degree))
	}
	if err := finite("x", x); err != nil {
		return nil, err
	}
	if err := enough(x, degree+2, degree+1); err != nil {
		return nil, err
	}
	low, high := slices.Min(x), slices.Max(x)
	// A centre of few digits and a scale of a power of two lose no digit of x.
	b := basis{centre: float64(float32(low/2 + high/2)), degree: degree}
	if b.centre < low || b.centre > high {
		b.centre = low
	}
	_, e := math.Frexp(max(b.centre-low, high-b.centre))
	b.scale = math.Ldexp(1, e)
	return solve(b, b.columns(x), y, w, true, 0, level)
}

// Origin fits y = b x, as Line, from at least 2 values not all at x = 0.
func Origin(x, y, w []float64, level float64) (*Linear, error) {
	return Columns([][]float64{x}, false, y, w, level)
}

// Columns fits y on the given columns, with a constant before them if constant
// is set, as Line. The error wraps ErrDependent if a column is a combination of
// the ones before it.
func Columns(columns [][]float64, constant bool, y, w []float64, level float64) (*Linear, error) {
	var all [][]float64
	if constant {
		all = append(all, slices.Repeat([]float64{1}, len(y)))
	}
	for j, c := range columns {
		sameLength(c, y)
		if err := finite(fmt.Sprintf("column %d", j), c); err != nil {
			return nil, err
		}
		all = append(all, slices.Clone(c))
	}
	return solve(basis{degree: -1}, all, y, w, constant, 0, level)
}

// enough checks that x holds n values of which that many are distinct.
func enough(x []float64, n, distinct int) error {
	if len(x) < n {
		return fmt.Errorf("%d values, want at least %d: %w", len(x), n, ErrTooFew)
	}
	s := slices.Clone(x)
	slices.Sort(s)
	switch got := len(slices.Compact(s)); {
	case got == 1 && distinct > 1:
		return fmt.Errorf("every x is %v: %w", x[0], ErrConstant)
	case got < distinct:
		return fmt.Errorf("%d distinct x among %d values, want at least %d: %w", got, len(x), distinct, ErrDuplicates)
	}
	return nil
}

func (b basis) columns(x []float64) [][]float64 {
	out := make([][]float64, b.degree+1)
	for j := range out {
		out[j] = make([]float64, len(x))
	}
	row := make([]float64, b.degree+1)
	for i, v := range x {
		for j, p := range b.powers(v, row) {
			out[j][i] = p
		}
	}
	return out
}

func (b basis) powers(x float64, row []float64) []float64 {
	u := (x - b.centre) / b.scale
	row[0] = 1
	for j := 1; j < len(row); j++ {
		row[j] = row[j-1] * u
	}
	return row
}

// back returns the matrix, row-major, that turns coefficients in the basis into
// those of the powers of x: row i of it is the part of x^i in each power of u.
func (b basis) back(p int) []float64 {
	m := make([]float64, p*p)
	if b.degree < 0 {
		for i := range p {
			m[i*p+i] = 1
		}
		return m
	}
	m[0] = 1
	for j := 1; j < p; j++ { // u^j = u^(j-1) (x - centre)/scale
		for i := range p {
			v := -b.centre * m[i*p+j-1]
			if i > 0 {
				v += m[(i-1)*p+j-1]
			}
			m[i*p+j] = v / b.scale
		}
	}
	return m
}

// orthogonalise turns the columns into orthonormal ones, in place, and returns
// R, row-major, such that the old columns are the new ones times R. A column
// that the ones before it hold gets a zero on R's diagonal.
func orthogonalise(columns [][]float64) (r []float64) {
	p := len(columns)
	r = make([]float64, p*p)
	for j, c := range columns {
		norm := math.Sqrt(dot(c, c))
		for range 2 { // twice is enough: Björck 1994
			for i := range j {
				s := dot(columns[i], c)
				r[i*p+j] += s
				axpy(c, -s, columns[i])
			}
		}
		left := math.Sqrt(dot(c, c))
		if !(left > 1e-13*norm) {
			clear(c)
			continue
		}
		r[j*p+j] = left
		for i := range c {
			c[i] /= left
		}
	}
	return r
}

func dot(a, b []float64) (s float64) {
	b = b[:len(a)]
	for i, v := range a {
		s += v * b[i]
	}
	return s
}

// axpy adds s b to a.
func axpy(a []float64, s float64, b []float64) {
	b = b[:len(a)]
	for i := range a {
		a[i] += s * b[i]
	}
}

// invert returns the inverse of the upper triangular r, row-major.
func invert(r []float64, p int) []float64 {
	out := make([]float64, p*p)
	for j := range p {
		out[j*p+j] = 1 / r[j*p+j]
		for i := j - 1; i >= 0; i-- {
			s := 0.0
			for k := i + 1; k <= j; k++ {
				s += r[i*p+k] * out[k*p+j]
			}
			out[i*p+j] = -s / r[i*p+i]
		}
	}
	return out
}

// solve fits y on columns, which it overwrites. Besides the columns, lost
// degrees of freedom went elsewhere.
func solve(b basis, columns [][]float64, y, w []float64, constant bool, lost int, level float64) (*Linear, error) {
	checkLevel(level)
	if err := finite("y", y); err != nil {
		return nil, err
	}
	n, p := len(y), len(columns)
	target := slices.Clone(y)
	if w != nil {
		sameLength(w, y)
		if err := finite("weight", w); err != nil {
			return nil, err
		}
		for i, v := range w {
			if v <= 0 {
				return nil, fmt.Errorf("weight[%d] is %v: %w", i, v, ErrDomain)
			}
			root := math.Sqrt(v)
			target[i] *= root
			for _, c := range columns {
				c[i] *= root
			}
		}
	}
	df := n - p - lost
	if df < 1 {
		return nil, fmt.Errorf("%d values, want at least %d: %w", n, p+lost+1, ErrTooFew)
	}
	total := dot(target, target)
	if constant { // about the weighted mean
		one, sum := 0.0, 0.0
		for i, v := range columns[0] {
			one += v * v
			sum += v * target[i]
		}
		total = 0
		for i, v := range columns[0] {
			d := target[i] - v*sum/one
			total += d * d
		}
	}
	r := orthogonalise(columns)
	for j := range p {
		if r[j*p+j] == 0 {
			what := ErrDependent
			if p == 1 || constant && p == 2 {
				what = ErrConstant
			}
			return nil, fmt.Errorf("column %d: %w", j, what)
		}
	}
	m := &Linear{N: n, DF: df, Level: level, basis: b, rinv: invert(r, p), tq: studentQuantile((1+level)/2, float64(df))}
	// target becomes the residual; taken out twice, as the columns were.
	qy := make([]float64, p)
	for range 2 {
		for j, q := range columns {
			s := dot(q, target)
			qy[j] += s
			axpy(target, -s, q)
		}
	}
	m.RSS = dot(target, target)
	m.ResidualSD = math.Sqrt(m.RSS / float64(df))
	m.coef = make([]float64, p)
	for i := range p {
		m.coef[i] = dot(m.rinv[i*p:(i+1)*p], qy)
	}
	back := b.back(p)
	row := make([]float64, p)
	for i := range p {
		clear(row) // row i of back x rinv
		for k := range p {
			axpy(row, back[i*p+k], m.rinv[k*p:(k+1)*p])
		}
		value := dot(back[i*p:(i+1)*p], m.coef)
		m.Coef = append(m.Coef, newCoefficient(value, m.ResidualSD*math.Sqrt(dot(row, row)), df, m.tq))
	}
	terms := p
	if constant {
		terms--
	}
	switch {
	case total == 0: // y is constant: nothing to explain
	case m.RSS <= 1e-28*total:
		m.R2, m.AdjR2, m.F = 1, 1, math.Inf(1)
		m.Doubts = append(m.Doubts, ExactFit)
	default:
		m.R2 = 1 - m.RSS/total
		m.AdjR2 = 1 - (1-m.R2)*float64(df+terms)/float64(df)
		if terms > 0 {
			m.F = (total - m.RSS) / float64(terms) / (m.RSS / float64(df))
			m.FP = fisherTail(m.F, float64(terms), float64(df))
		}
	}
	m.influence(columns, target, y, w)
	return m, nil
}

// influence fills Points from the orthonormal columns and the residuals, both
// scaled by the roots of the weights.
func (m *Linear) influence(q [][]float64, scaled, y, w []float64) {
	m.Points = make([]Influence, len(y))
	p := float64(len(q))
	for i := range m.Points {
		pt := &m.Points[i]
		for _, c := range q {
			pt.Leverage += c[i] * c[i]
		}
		pt.Leverage = min(pt.Leverage, 1)
		pt.Residual = scaled[i]
		if w != nil {
			pt.Residual /= math.Sqrt(w[i])
		}
		pt.Fitted = y[i] - pt.Residual
		free := 1 - pt.Leverage
		// Rounding leaves about 1e-15 of a leverage of 1.
		if free < 1e-12 || m.DF < 2 || m.ResidualSD == 0 {
			pt.Alone = true
			continue
		}
		e2 := scaled[i] * scaled[i] / free
		pt.Cook = e2 / (m.RSS / float64(m.DF)) * pt.Leverage / (free * p)
		without := (m.RSS - e2) / float64(m.DF-1) // residual variance without the point
		if without <= 0 {
			pt.Alone = true
			continue
		}
		pt.Student = math.Copysign(math.Sqrt(e2/without), scaled[i])
	}
}

// At returns the fit at x, for a fit by Line, Polynomial, Origin or Within.
func (m *Linear) At(x float64) Band {
	if m.basis.degree < 0 {
		return m.AtRow([]float64{x})
	}
	return m.at(m.basis.powers(x, make([]float64, m.basis.degree+1)))
}

// AtRow returns the fit at a row of the columns given to Columns or Origin, in
// the same order, without the constant.
func (m *Linear) AtRow(row []float64) Band {
	if len(row) == len(m.coef)-1 {
		row = append([]float64{1}, row...)
	}
	if m.basis.degree >= 0 || len(row) != len(m.coef) {
		panic(fmt.Sprintf("fit: a row of %d for %d coefficients", len(row), len(m.coef)))
	}
	return m.at(row)
}

func (m *Linear) at(row []float64) Band {
	p := len(row)
	v := 0.0
	for j := range p { // row x rinv
		s := 0.0
		for i := range j + 1 {
			s += row[i] * m.rinv[i*p+j]
		}
		v += s * s
	}
	b := Band{Fit: dot(row, m.coef), SE: m.ResidualSD * math.Sqrt(v)}
	half := m.tq * b.SE
	b.Low, b.High = b.Fit-half, b.Fit+half
	half = m.tq * m.ResidualSD * math.Sqrt(1+v)
	b.PredictLow, b.PredictHigh = b.Fit-half, b.Fit+half
	return b
}

// studentTail returns the two-sided tail probability of Student's t.
func studentTail(t, df float64) float64 {
	if math.IsInf(t, 0) {
		return 0
	}
	// For few whole degrees of freedom the probability within +-t is a finite
	// series (Abramowitz and Stegun 1964, 26.7.3 and 26.7.4), ten times as fast;
	// it has too few digits where little is left outside.
	if df <= 60 && df == math.Trunc(df) {
		if p := 1 - studentWithin(math.Abs(t), int(df)); p > 1e-3 {
			return p
		}
	}
	return mathext.RegIncBeta(df/2, 0.5, df/(df+t*t))
}

func studentWithin(t float64, df int) float64 {
	root := math.Sqrt(float64(df))
	h := math.Sqrt(t*t + float64(df))
	sin, cos := t/h, root/h
	c2 := cos * cos
	if df%2 == 0 {
		term, sum := 1.0, 1.0
		for k := 2; k <= df-2; k += 2 {
			term *= c2 * float64(k-1) / float64(k)
			sum += term
		}
		return sin * sum
	}
	within := math.Atan2(t, root)
	if df > 1 {
		term, sum := cos, cos
		for k := 3; k <= df-2; k += 2 {
			term *= c2 * float64(k-1) / float64(k)
			sum += term
		}
		within += sin * sum
	}
	return 2 / math.Pi * within
}

// fisherTail returns the upper tail probability of F.
func fisherTail(f, d1, d2 float64) float64 {
	return mathext.RegIncBeta(d2/2, d1/2, d2/(d2+d1*f))
}

// studentQuantile returns the t that a Student variable stays below with
// probability p > 1/2, sharpened by Newton's steps on the tail.
func studentQuantile(p, df float64) float64 {
	d := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}
	t := d.Quantile(p)
	for range 2 {
		t += (studentTail(t, df)/2 - (1 - p)) / d.Prob(t)
	}
	return t
}
