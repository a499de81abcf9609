package fit

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Dated is a tested value on a day; days are whole numbers on any calendar.
type Dated struct {
	Day   int
	Value float64
}

// Applied is an input on a day. Kind is the caller's.
type Applied struct {
	Day    int
	Amount float64
	Kind   int
}

// Series is what is known of one bed, tests and inputs in order of day. An input
// on the day of a test counts as after it.
type Series struct {
	Tests  []Dated
	Inputs []Applied
}

// Book is a set of series whose reports may fall on common days.
type Book []Series

// AsOf returns a copy of the book as it was known on a day, when something was to
// be foretold for a later one: tests up to the first day, and inputs, which the
// grower plans, up to before the second. Nothing of the rest is in it, so that
// nothing learnt from it can leak into a forecast.
func (b Book) AsOf(origin, target int) Book {
	out := make(Book, len(b))
	for i, s := range b {
		for _, t := range s.Tests {
			if t.Day <= origin {
				out[i].Tests = append(out[i].Tests, t)
			}
		}
		for _, in := range s.Inputs {
			if in.Day < target {
				out[i].Inputs = append(out[i].Inputs, in)
			}
		}
	}
	return out
}

// Pair is a test from which another is to be foretold.
type Pair struct {
	Series         int
	Origin, Target Dated
	Next           bool // no test between
	Inputs         int  // inputs from the origin on, before the target
}

// Pairs returns all pairs of tests of a series whose origin has at least before
// tests before it: by series, origin, target.
func (b Book) Pairs(before int) (out []Pair) {
	for i, s := range b {
		for o := before; o < len(s.Tests); o++ {
			for t := o + 1; t < len(s.Tests); t++ {
				p := Pair{Series: i, Origin: s.Tests[o], Target: s.Tests[t], Next: t == o+1}
				for _, in := range s.Inputs {
					if in.Day >= p.Origin.Day && in.Day < p.Target.Day {
						p.Inputs++
					}
				}
				if p.Target.Day > p.Origin.Day {
					out = append(out, p)
				}
			}
		}
	}
	return out
}

// Forecast is a foretold value with its range at the level of the replay.
type Forecast struct{ Value, Low, High float64 }

// Forecaster foretells series i of a book for a day, from what AsOf leaves.
type Forecaster func(known Book, i, day int) (Forecast, error)

// Foretold is a pair with what was foretold for its target.
type Foretold struct {
	Pair
	Forecast
}

// Replay makes the forecasts of pairs again, each from the book as it was known on
// the day of its origin; they come in order of origin and target day. Those with
// one origin and one target day see the same copy, which a forecaster must not
// change. An error ends the replay and says where.
func (b Book) Replay(pairs []Pair, forecast Forecaster) ([]Foretold, error) {
	type days struct{ origin, target int }
	var known Book
	var at days
	out := make([]Foretold, 0, len(pairs))
	order := make([]int, len(pairs))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		return cmp.Or(pairs[i].Origin.Day-pairs[j].Origin.Day, pairs[i].Target.Day-pairs[j].Target.Day)
	})
	for _, i := range order {
		p := pairs[i]
		if d := (days{p.Origin.Day, p.Target.Day}); known == nil || d != at {
			known, at = b.AsOf(d.origin, d.target), d
		}
		f, err := forecast(known, p.Series, p.Target.Day)
		if err != nil {
			return nil, fmt.Errorf("series %d, from day %d to day %d: %w", p.Series, p.Origin.Day, p.Target.Day, err)
		}
		if d := f.Value + f.Low + f.High; math.IsNaN(d-d) || f.Low > f.Value || f.High < f.Value {
			return nil, fmt.Errorf("series %d, from day %d to day %d: foretold %v (%v to %v): %w", p.Series, p.Origin.Day, p.Target.Day, f.Value, f.Low, f.High, ErrNotFinite)
		}
		out = append(out, Foretold{p, f})
	}
	return out, nil
}

// Baseline foretells a value without a range.
type Baseline func(known Series, day int) float64

// Persistence foretells the last test.
func Persistence(known Series, _ int) float64 { return known.Tests[len(known.Tests)-1].Value }

// MeanOfLastTwo foretells the mean of the last two tests.
func MeanOfLastTwo(known Series, day int) float64 {
	n := len(known.Tests)
	if n < 2 {
		return Persistence(known, day)
	}
	return (known.Tests[n-1].Value + known.Tests[n-2].Value) / 2
}

// LineSinceInput foretells by the least-squares line through the tests since the
// last input before them ended, or by the last test where there are fewer than 3.
func LineSinceInput(known Series, day int) float64 {
	last := known.Tests[len(known.Tests)-1].Day
	since := math.MinInt
	for _, in := range known.Inputs {
		if in.Day < last {
			since = max(since, in.Day)
		}
	}
	var x, y []float64
	for _, t := range known.Tests {
		if t.Day > since {
			x, y = append(x, float64(t.Day-last)), append(y, t.Value)
		}
	}
	line, err := Line(x, y, nil, 0.9)
	if err != nil {
		return Persistence(known, day)
	}
	return line.At(float64(day - last)).Fit
}

// Rated is a mean with its standard error, clustered by target day: tests of one
// day share their report, and count as one in what they agree on.
type Rated struct{ Mean, SE float64 }

// Score says how forecasts did, beside a baseline on the same pairs.
type Score struct {
	N, Dates int // forecasts and target days
	// Error is the mean absolute error, and Ratio what it is of the baseline's.
	Error, BaselineError Rated
	Ratio                float64
	// Interval is the mean interval score at the level, width and what misses cost,
	// beside that of the band which the baseline's own errors on these pairs fill,
	// known only in hindsight.
	Interval, BaselineInterval float64
	IntervalRatio              float64
	Coverage                   Rated // share of targets inside their range
	// Worse is by how much the absolute error exceeds the baseline's, with its
	// range at the level, by Student's t with one degree of freedom less than days.
	Worse               Rated
	WorseLow, WorseHigh float64
	// Warn is set where the range of Worse lies above 0 and there are at least 6
	// target days: then the baseline is better.
	Warn bool
}

// MinScoreDates is how many target days a score needs before it can warn.
const MinScoreDates = 6

// ScoreForecasts scores forecasts, made from a book by Replay at a level, against
// a baseline. The error wraps ErrTooFew if there are fewer than 2 target days.
//
// Sources: Gneiting and Raftery 2007, J. Am. Stat. Assoc. 102:359-378, eq. 43
// (interval score); Liang and Zeger 1986, Biometrika 73:13-22, with the usual
// factor G/(G - 1) for G clusters; Diebold and Mariano 1995, J. Bus. Econ. Stat.
// 13:253-263 (loss differences).
func (b Book) ScoreForecasts(f []Foretold, baseline Baseline, level float64) (Score, error) {
	checkLevel(level)
	s := Score{N: len(f)}
	n := len(f)
	loss, base, hit, diff, miss := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	day := make([]int, n)
	alpha := 1 - level
	interval := func(low, high, value float64) float64 {
		return high - low + 2/alpha*(max(low-value, 0)+max(value-high, 0))
	}
	for i, v := range f {
		known := Book{b[v.Series]}.AsOf(v.Origin.Day, v.Target.Day)[0]
		truth := v.Target.Value
		day[i] = v.Target.Day
		loss[i] = math.Abs(truth - v.Value)
		miss[i] = truth - baseline(known, v.Target.Day)
		base[i] = math.Abs(miss[i])
		diff[i] = loss[i] - base[i]
		if v.Low <= truth && truth <= v.High {
			hit[i] = 1
		}
		s.Interval += interval(v.Low, v.High, truth) / float64(n)
	}
	days := slices.Clone(day)
	slices.Sort(days)
	s.Dates = len(slices.Compact(days))
	if s.Dates < 2 {
		return Score{}, fmt.Errorf("%d target days, want at least 2: %w", s.Dates, ErrTooFew)
	}
	sorted := slices.Clone(miss)
	slices.Sort(sorted)
	low, high := orderStatistic(sorted, alpha/2), orderStatistic(sorted, 1-alpha/2)
	for _, e := range miss {
		s.BaselineInterval += interval(low, high, e) / float64(n)
	}
	s.Error, s.BaselineError, s.Coverage, s.Worse = Clustered(loss, day), Clustered(base, day), Clustered(hit, day), Clustered(diff, day)
	if s.BaselineError.Mean > 0 {
		s.Ratio = s.Error.Mean / s.BaselineError.Mean
	}
	if s.BaselineInterval > 0 {
		s.IntervalRatio = s.Interval / s.BaselineInterval
	}
	half := studentQuantile((1+level)/2, float64(s.Dates-1)) * s.Worse.SE
	s.WorseLow, s.WorseHigh = s.Worse.Mean-half, s.Worse.Mean+half
	s.Warn = s.Dates >= MinScoreDates && s.WorseLow > 0
	return s, nil
}

// Clustered returns the mean of values and its standard error when those of one
// cluster may err together: the sums of the clusters' deviations count, not the
// values. With one cluster the standard error is infinite.
func Clustered(v []float64, cluster []int) Rated {
	if len(v) != len(cluster) || len(v) == 0 {
		panic(fmt.Sprintf("fit: %d values in %d clusters", len(v), len(cluster)))
	}
	mean := 0.0
	for _, x := range v {
		mean += x / float64(len(v))
	}
	order := make([]int, len(v))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cluster[a] - cluster[b] })
	groups, squares, sum := 0.0, 0.0, 0.0
	for k, i := range order {
		sum += v[i] - mean
		if k == len(order)-1 || cluster[order[k+1]] != cluster[i] {
			groups++
			squares += sum * sum
			sum = 0
		}
	}
	if groups == 1 {
		return Rated{mean, math.Inf(1)}
	}
	return Rated{mean, math.Sqrt(squares*groups/(groups-1)) / float64(len(v))}
}
