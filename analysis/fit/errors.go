package fit

import (
	"errors"
	"fmt"
	"math"
)

// What keeps a fit from giving a number. Errors wrap one of these with what was
// found; a fit that gave an error gave nothing else.
var (
	// ErrTooFew says that there are fewer values than the method needs.
	ErrTooFew = errors.New("too few values")
	// ErrNotFinite says that a value is NaN or infinite.
	ErrNotFinite = errors.New("not a finite number")
	// ErrConstant says that all x, or all values, are equal.
	ErrConstant = errors.New("all values are equal")
	// ErrDuplicates says that there are enough values but too few distinct x.
	ErrDuplicates = errors.New("too few distinct x")
	// ErrDependent says that a column is a combination of the others.
	ErrDependent = errors.New("a column repeats what the others hold")
	// ErrGroups says that the groups leave nothing to compare.
	ErrGroups = errors.New("nothing to compare within the groups")
	// ErrPole says that a divisor is zero or on both sides of it.
	ErrPole = errors.New("the divisor reaches zero")
	// ErrDomain says that an argument lies outside what the method is for.
	ErrDomain = errors.New("outside the domain")
)

// A Doubt is a reason not to trust a result that was reached all the same.
type Doubt string

const (
	// NotConverged: the search stopped short; the numbers are where it stood.
	NotConverged Doubt = "the search did not converge"
	// NoRate: every rate fits about as well; no rate is given.
	NoRate Doubt = "the points do not hold a rate"
	// RateNotPositive: the best rate is zero or below, so nothing decays or rises
	// towards an end.
	RateNotPositive Doubt = "the best rate is not above zero"
	// RateAtEdge: all change falls between two neighbouring x, so that the faster
	// a rate the better it fits.
	RateAtEdge Doubt = "the change is over within one step of x"
	// SecondMinimum: another rate fits nearly as well.
	SecondMinimum Doubt = "another rate fits nearly as well"
	// LineAsGood: a straight line is inside the rate's range.
	LineAsGood Doubt = "a straight line fits as well"
	// ExactFit: the residuals vanish, so that ranges are of no width.
	ExactFit Doubt = "the fit passes through every point"
	// WideInterval: the data cannot bound the estimate at this level.
	WideInterval Doubt = "no bound at this level from so few points"
	// ErrorInX: the known error in x is at least half of its spread.
	ErrorInX Doubt = "error in x is a large part of its spread"
	// FewPoints: the weight lies on few of the points.
	FewPoints Doubt = "few points carry the weight"
)

// finite checks that all values are finite.
func finite(name string, v []float64) error {
	sum := 0.0
	for _, x := range v {
		sum += x * 0 // NaN once any x is NaN or infinite
	}
	if sum == 0 {
		return nil
	}
	for i, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return fmt.Errorf("%s[%d] is %v: %w", name, i, x, ErrNotFinite)
		}
	}
	return nil
}

func sameLength(x, y []float64) {
	if len(x) != len(y) {
		panic(fmt.Sprintf("fit: %d x for %d y", len(x), len(y)))
	}
}

// checkLevel panics unless level is a probability strictly inside (0, 1).
func checkLevel(level float64) {
	if !(level > 0 && level < 1) {
		panic(fmt.Sprintf("fit: level %v, want one between 0 and 1", level))
	}
}
