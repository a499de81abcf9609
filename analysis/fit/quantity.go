package fit

import (
	"fmt"
	"math"
)

// Quantity is an uncertain number: N points, each as likely as the others. Its
// methods write into the receiver and return it, as math/big does:
//
//	mass.Mul(mass.LogNormal(0, 1.1, 0.08), depth)
//
// allocates nothing, and the receiver may be an operand. Quantities made from
// the same dimension share its draw, and so does all that is worked out from
// them; independent ones need dimensions of their own.
type Quantity []float64

// NewQuantity returns a quantity that is 0.
func NewQuantity() Quantity { return make(Quantity, N) }

// of checks that q and what it is made of have N points.
func (q Quantity) of(x ...Quantity) {
	bad := len(q) != N
	for _, v := range x {
		bad = bad || len(v) != N
	}
	if bad {
		panic(fmt.Sprintf("fit: a quantity of other than %d points", N))
	}
}

// Constant makes q the certain number v.
func (q Quantity) Constant(v float64) Quantity {
	q.of()
	for i := range q {
		q[i] = v
	}
	return q
}

// Uniform makes q uniform between low and high, low <= high.
func (q Quantity) Uniform(dim int, low, high float64) Quantity {
	q.of()
	ordered(low, high)
	for i, u := range Points(dim) {
		q[i] = low + u*(high-low)
	}
	return q
}

// Triangular makes q triangular with the given ends and mode.
func (q Quantity) Triangular(dim int, low, mode, high float64) Quantity {
	q.of()
	ordered(low, mode)
	ordered(mode, high)
	rise := 0.0
	if high > low {
		rise = (mode - low) / (high - low)
	}
	for i, u := range Points(dim) {
		if u < rise {
			q[i] = low + math.Sqrt(u*(high-low)*(mode-low))
		} else {
			q[i] = high - math.Sqrt((1-u)*(high-low)*(high-mode))
		}
	}
	return q
}

// Normal makes q normal.
func (q Quantity) Normal(dim int, mean, sd float64) Quantity {
	q.of()
	notNegative(sd)
	for i, z := range NormalPoints(dim) {
		q[i] = mean + sd*z
	}
	return q
}

// LogNormal makes q log-normal with the given median, above 0, and standard
// deviation of its natural logarithm.
func (q Quantity) LogNormal(dim int, median, sdLog float64) Quantity {
	if !(median > 0) {
		panic(fmt.Sprintf("fit: log-normal median %v, want above 0", median))
	}
	return q.Exp(q.Normal(dim, math.Log(median), sdLog))
}

// TruncatedNormal makes q what is between low and high, low < high, of a normal
// distribution. Either end may be infinite. Ends that leave less than 1e-12 of the
// distribution panic: there is no such quantity to speak of.
func (q Quantity) TruncatedNormal(dim int, mean, sd, low, high float64) Quantity {
	q.of()
	notNegative(sd)
	if !(low < high) {
		panic(fmt.Sprintf("fit: truncated between %v and %v", low, high))
	}
	if sd == 0 {
		return q.Constant(min(max(mean, low), high))
	}
	// In the upper tail probabilities crowd at 1: work on its mirror image.
	sign := 1.0
	if low > mean {
		sign, mean, low, high = -1, -mean, -high, -low
	}
	from, to := NormalCDF((low-mean)/sd), NormalCDF((high-mean)/sd)
	if to-from < 1e-12 {
		panic(fmt.Sprintf("fit: nothing of a normal %v, SD %v is between %v and %v", sign*mean, sd, low, high))
	}
	for i, u := range Points(dim) {
		if sign < 0 {
			u = 1 - u
		}
		q[i] = sign * min(max(mean+sd*NormalQuantile(from+u*(to-from)), low), high)
	}
	return q
}

// TruncatedLogNormal makes q what is between low >= 0 and high of a log-normal
// distribution, as TruncatedNormal.
func (q Quantity) TruncatedLogNormal(dim int, median, sdLog, low, high float64) Quantity {
	return q.Exp(q.TruncatedNormal(dim, math.Log(median), sdLog, math.Log(low), math.Log(high)))
}

// Add makes q the sum of x and y.
func (q Quantity) Add(x, y Quantity) Quantity {
	q.of(x, y)
	for i := range q {
		q[i] = x[i] + y[i]
	}
	return q
}

// Sub makes q x less y.
func (q Quantity) Sub(x, y Quantity) Quantity {
	q.of(x, y)
	for i := range q {
		q[i] = x[i] - y[i]
	}
	return q
}

// Mul makes q the product of x and y.
func (q Quantity) Mul(x, y Quantity) Quantity {
	q.of(x, y)
	for i := range q {
		q[i] = x[i] * y[i]
	}
	return q
}

// Div makes q x over y. The error wraps ErrPole, and q is as it was, if y is zero
// anywhere or has points on both sides of it: such a quotient has no range.
func (q Quantity) Div(x, y Quantity) (Quantity, error) {
	q.of(x, y)
	low, high := y[0], y[0]
	for _, v := range y {
		low, high = min(low, v), max(high, v)
	}
	if !(low > 0 || high < 0) {
		return q, fmt.Errorf("a divisor from %.4g to %.4g: %w", low, high, ErrPole)
	}
	for i := range q {
		q[i] = x[i] / y[i]
	}
	return q, nil
}

// Scale makes q x times a number.
func (q Quantity) Scale(x Quantity, by float64) Quantity {
	q.of(x)
	for i := range q {
		q[i] = x[i] * by
	}
	return q
}

// Shift makes q x plus a number.
func (q Quantity) Shift(x Quantity, by float64) Quantity {
	q.of(x)
	for i := range q {
		q[i] = x[i] + by
	}
	return q
}

// Exp makes q e to the power of x.
func (q Quantity) Exp(x Quantity) Quantity {
	q.of(x)
	for i := range q {
		q[i] = math.Exp(x[i])
	}
	return q
}

// Clamp makes q x, kept between low and high.
func (q Quantity) Clamp(x Quantity, low, high float64) Quantity {
	q.of(x)
	ordered(low, high)
	for i := range q {
		q[i] = min(max(x[i], low), high)
	}
	return q
}

// Range returns the median and the bounds of the middle share level; see the
// function Range for how. scratch holds the sorted points and may be nil.
func (q Quantity) Range(level float64, scratch Quantity) (median, low, high float64) {
	q.of()
	return Range(append(scratch[:0], q...), level)
}

// Median returns the median. scratch holds the sorted points and may be nil.
func (q Quantity) Median(scratch Quantity) float64 {
	m, _, _ := q.Range(0.9, scratch)
	return m
}

// SDFromRange returns the standard deviation of a normal quantity whose middle
// share level lies between low and high.
func SDFromRange(low, high, level float64) float64 {
	checkLevel(level)
	ordered(low, high)
	return (high - low) / (2 * NormalQuantile((1+level)/2))
}

func ordered(low, high float64) {
	if !(low <= high) {
		panic(fmt.Sprintf("fit: bounds %v to %v", low, high))
	}
}

func notNegative(sd float64) {
	if !(sd >= 0) || math.IsInf(sd, 0) {
		panic(fmt.Sprintf("fit: standard deviation %v", sd))
	}
}
