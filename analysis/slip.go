package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// slip is the ratio from one test to the next of its series at which a slip of
// the pen is likelier than the soil, whatever the ratio.
const slip = 5.0

// A slipFactor is a ratio that a wrong unit or form leaves behind.
type slipFactor struct {
	log  float64
	what string
}

// slipFactors lists those that an analyte's figures may be off by.
func slipFactors(analyte string) (list []slipFactor) {
	if a, ok := unit.ByID(analyte); !ok || a.Kind != unit.Fraction {
		return nil
	}
	form := func(name string) {
		if f, ok := unit.FormFactor(name); ok {
			list = append(list, slipFactor{-math.Log(f), fmt.Sprintf("%s and %s mixed up", name, analyte)})
		}
	}
	switch analyte {
	case "P":
		form("P2O5")
	case "K":
		form("K2O")
	case "S":
		form("SO4")
	case "NO3-N":
		form("NO3")
		return list // nitrate moves by any other factor on its own
	case "NH4-N":
		return nil
	}
	return append(list, reportFactors()...)
}

// reportFactors are those that may lie on a whole report.
func reportFactors() []slipFactor {
	return []slipFactor{{math.Log(2), "ppm and lb/acre mixed up"}, {math.Log(10), "a decimal point slipped"}}
}

// step is a level beside the one before it in its series, and the one after.
type step struct {
	x, y, next *Level
	log        float64 // of y/x
}

// slips doubts levels that stand off the tests around them by a factor that a
// wrong unit or form leaves, or by so much that the soil can hardly have moved.
func (b *bedWork) slips(levels []Level) {
	odd := map[*Level]float64{}
	for _, steps := range b.steps(levels, odd) {
		b.reportSlip(steps, odd)
		for i := range steps {
			if s := &steps[i]; odd[s.y] == 0 {
				b.levelSlip(s, steps, odd)
			}
		}
	}
}

// steps yields, in order of time, the steps to each report from the levels
// before it. What was found odd by then is stepped over.
func (b *bedWork) steps(levels []Level, odd map[*Level]float64) func(yield func(int, []step) bool) {
	type place struct {
		series, at int
	}
	var series [][]*Level
	var order []place
	for start := 0; start < len(levels); {
		end := start
		for end < len(levels) && levels[end].Analyte == levels[start].Analyte {
			end++
		}
		for _, list := range split(levels[start:end]) {
			list = slices.DeleteFunc(list, func(l *Level) bool {
				return l.Qualifier != "" || additive(l.Analyte) || !(l.Estimate.Value > 0) || !l.named()
			})
			slices.SortStableFunc(list, func(x, y *Level) int { return cmp.Compare(x.Date, y.Date) })
			for i := range list {
				order = append(order, place{len(series), i})
			}
			series = append(series, list)
		}
		start = end
	}
	at := func(p place) *Level { return series[p.series][p.at] }
	slices.SortStableFunc(order, func(p, q place) int {
		return cmp.Or(cmp.Compare(at(p).Date, at(q).Date), cmp.Compare(at(p).Lab, at(q).Lab))
	})
	// near finds the comparable level of another day nearest in a direction.
	near := func(p place, by int) *Level {
		y := at(p)
		for i := p.at + by; i >= 0 && i < len(series[p.series]); i += by {
			x := series[p.series][i]
			if x.Date == y.Date || comparable(x, y, b.depth) != "" {
				continue
			}
			// What the next test confirms is odd no longer.
			if off := math.Abs(odd[x]); off > 0 && math.Abs(math.Log(y.Estimate.Value/x.Estimate.Value)) < off/2 {
				delete(odd, x)
			}
			if odd[x] == 0 {
				return x
			}
		}
		return nil
	}
	return func(yield func(int, []step) bool) {
		for i := 0; i < len(order); {
			end, first := i, at(order[i])
			var steps []step
			for end < len(order) && at(order[end]).Date == first.Date && at(order[end]).Lab == first.Lab {
				if x := near(order[end], -1); x != nil {
					y := at(order[end])
					steps = append(steps, step{x, y, near(order[end], 1), math.Log(y.Estimate.Value / x.Estimate.Value)})
				}
				end++
			}
			if !yield(i, steps) {
				return
			}
			i = end
		}
	}
}

// isNutrient tells what a wrong unit of a whole report would move.
func isNutrient(l *Level) bool {
	a, ok := unit.ByID(l.Analyte)
	return ok && a.Kind == unit.Fraction && l.Analyte != "NO3-N" && l.Analyte != "NH4-N"
}

// Bounds on the log scale; own figures, chosen by simulation (TestSlipsAreFound).
const (
	wholeWithin  = 0.25 // of a factor: the middle of a report's nutrients
	eachWithin   = 0.50 // and three of four of them
	moved        = 0.35 // organic matter that moved so far is no slip of nutrients
	ownDrift     = 0.15 // what the soil itself moves from test to test, standard deviation
	tooFar       = 3.0  // standard deviations that the soil and the test's error hardly make
	nearFactor   = 2.0  // of a factor, in the same
	nitrateBoth  = 0.08 // nitrate moves so far by itself that the ratio must fit
	aloneWithin  = 0.06 // of a factor against one neighbour, the other nutrients standing still
	exactWithin  = 0.01 // K2O is so near K that only the exact ratio tells
	standsStill  = 0.12
	fewestOthers = 3
)

// reportSlip looks for a factor that all nutrients of one report share.
func (b *bedWork) reportSlip(steps []step, odd map[*Level]float64) {
	type from struct {
		date dataset.Date
		from int
	}
	groups := map[from][]*step{}
	var order []from
	for i := range steps {
		s := &steps[i]
		if k := (from{s.x.Date, depthKey(s.y.DepthTo)}); isNutrient(s.y) {
			if groups[k] == nil {
				order = append(order, k)
			}
			groups[k] = append(groups[k], s)
		}
	}
	for _, k := range order {
		g := groups[k]
		if len(g) < fewestOthers {
			continue
		}
		middle := median(g)
		for _, f := range reportFactors() {
			close := 0
			for _, s := range g {
				if math.Abs(math.Abs(s.log)-f.log) < eachWithin && s.log*middle > 0 {
					close++
				}
			}
			// The organic matter of a soil that truly doubled would show it.
			richer := slices.ContainsFunc(steps, func(s step) bool {
				return s.x.Date == k.date && (s.y.Analyte == "OM" || s.y.Analyte == "CEC") && math.Abs(s.log) > moved
			})
			if math.Abs(math.Abs(middle)-f.log) > wholeWithin || 4*close < 3*len(g) || richer {
				continue
			}
			var names []string
			var rows []RowRef
			for _, s := range g {
				names, rows = append(names, s.y.Analyte), append(rows, s.y.rows()...)
			}
			id := b.doubt("slip", fmt.Sprintf("%s of %s are all about %s the test before (%s): %s?", strings.Join(names, ", "), g[0].y.when(), times(middle), g[0].x.when(), f.what), rows...)
			for _, s := range g {
				odd[s.y] = s.log
				s.y.Doubts = addRef(s.y.Doubts, id)
			}
		}
	}
}

func median(g []*step) float64 {
	var v []float64
	for _, s := range g {
		v = append(v, s.log)
	}
	slices.Sort(v)
	return (v[len(v)/2] + v[(len(v)-1)/2]) / 2
}

// times says a ratio by its logarithm.
func times(log float64) string {
	if log < 0 {
		return fmt.Sprintf("1/%.3g of", math.Exp(-log))
	}
	return fmt.Sprintf("%.3g times", math.Exp(log))
}

// levelSlip looks at one level by itself: a factor that both its neighbours tell
// of, or one of them where the other nutrients stood still.
func (b *bedWork) levelSlip(s *step, steps []step, odd map[*Level]float64) {
	y := s.y
	still := 0
	var others []*step
	enriched := false // the soil as a whole moved that way
	for i := range steps {
		switch o := &steps[i]; {
		case o.y == y || o.x.Date != s.x.Date:
		case isNutrient(o.y):
			if others = append(others, o); math.Abs(o.log) < standsStill {
				still++
			}
		case o.y.Analyte == "OM" || o.y.Analyte == "CEC":
			enriched = enriched || math.Abs(o.log) > moved && o.log*s.log > 0
		}
	}
	quiet := len(others) >= fewestOthers && 4*still >= 3*len(others)
	if len(others) > 0 {
		m := median(others)
		enriched = enriched || math.Abs(m) > moved && m*s.log > 0
	}
	sd := math.Sqrt(y.sd*y.sd + s.x.sd*s.x.sd + ownDrift*ownDrift)
	// Where the next test lies on the same side, both neighbours speak.
	off, both := s.log, false
	after := math.NaN()
	if s.next != nil {
		if after = math.Log(y.Estimate.Value / s.next.Estimate.Value); after*s.log > 0 {
			off, both = (s.log+after)/2, true
			sd = math.Sqrt(y.sd*y.sd + (s.x.sd*s.x.sd+s.next.sd*s.next.sd)/4 + ownDrift*ownDrift/2)
		}
	}
	around := ""
	if both {
		around = " and the one after (" + s.next.when() + ")"
	}
	var what []string
	for _, f := range slipFactors(y.Analyte) {
		miss := math.Abs(math.Abs(off) - f.log)
		fits := false
		switch {
		case y.Analyte == "NO3-N":
			fits = both && math.Abs(math.Abs(s.log)-f.log) < nitrateBoth && math.Abs(math.Abs(after)-f.log) < nitrateBoth
		case f.log < 2*sd: // within what soil and error do
			within := aloneWithin
			if f.log < 4*aloneWithin && y.Reported[0].Form == s.x.Reported[0].Form {
				within = exactWithin // unless the form on the sheet changed too
			}
			fits = quiet && miss < within && (!both || math.Abs(math.Abs(after)-f.log) < aloneWithin)
		default:
			fits = !enriched && math.Abs(off) > tooFar*sd && miss < nearFactor*sd || quiet && miss < aloneWithin
		}
		if fits {
			what = append(what, f.what)
		}
	}
	if what == nil && math.Abs(s.log) > math.Log(slip) && y.Analyte != "NO3-N" && y.Analyte != "NH4-N" {
		what, around = []string{"a slip in the decimal point, unit or form"}, ""
	}
	if what == nil {
		return
	}
	odd[y] = s.log
	y.Doubts = addRef(y.Doubts, b.doubt("slip", fmt.Sprintf("%s of %s is %s the test before it (%s)%s: %s?", y.Analyte, y.when(), times(s.log), s.x.when(), around, strings.Join(what, ", or ")), append(y.rows(), s.x.rows()...)...))
}
