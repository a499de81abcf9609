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

// beside is a level and what stands around it in its series: up to two comparable
// levels of other days before it and after it, nearest first.
type beside struct {
	y             *Level
	before, after []*Level
	off           float64 // log of y over the middle of those around it
	departs       bool    // from neighbours that agree with each other
	stays         bool    // from those before it, and those after it confirm it
}

// slips doubts levels that stand off the tests around them by a factor that a
// wrong unit or form leaves, or by so much that the soil can hardly have moved.
// What is off is told by the tests on both sides: a level that merely returns to
// where the series stood is never the one named. A sample that is perhaps of
// another soil is no slip, unless its organic matter stands still.
func (b *bedWork) slips(levels []Level) {
	series := b.seriesOf(levels)
	odd := map[*Level]float64{}
	type report struct {
		date dataset.Date
		lab  string
	}
	reports := map[report][][2]int{} // series, and place in it
	var order []report
	for n, list := range series {
		for i, l := range list {
			k := report{l.Date, l.Lab}
			if reports[k] == nil {
				order = append(order, k)
			}
			reports[k] = append(reports[k], [2]int{n, i})
		}
	}
	slices.SortStableFunc(order, func(x, y report) int { return cmp.Or(cmp.Compare(x.date, y.date), cmp.Compare(x.lab, y.lab)) })
	for _, k := range order {
		var all, timed []beside
		for _, at := range reports[k] {
			all = append(all, b.beside(series[at[0]], at[1], false, odd))
			timed = append(timed, b.beside(series[at[0]], at[1], true, odd))
		}
		b.reportSlip(all, odd)
		for i := range all {
			y := all[i].y
			switch {
			case odd[y] != 0 || y.Suspect:
			case y.Analyte == "NO3-N":
				b.nitrateSlip(y, series[reports[k][i][0]], odd)
			case isNutrient(y) && b.formSlip(&timed[i], timed, odd):
			default:
				b.levelSlip(&all[i], all, odd)
			}
		}
	}
}

// seriesOf lists the series that may hold slips, each in order of time.
func (b *bedWork) seriesOf(levels []Level) (series [][]*Level) {
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
			series = append(series, list)
		}
		start = end
	}
	return series
}

// beside gathers what stands around a level, of the same timing only if asked
// for. What was found odd by then is stepped over, unless a later test confirms it.
func (b *bedWork) beside(list []*Level, at int, timed bool, odd map[*Level]float64) beside {
	s := beside{y: list[at]}
	near := func(by int) (out []*Level) {
		for i := at + by; i >= 0 && i < len(list) && len(out) < 2; i += by {
			x := list[i]
			if x.Date == s.y.Date || x.Suspect || timed && x.Timing != s.y.Timing || comparable(x, s.y, b.depth) != "" {
				continue
			}
			if off := math.Abs(odd[x]); off > 0 && math.Abs(ratio(s.y, x)) < off/2 {
				delete(odd, x)
			}
			if odd[x] == 0 {
				out = append(out, x)
			}
		}
		return out
	}
	s.before, s.after = near(-1), near(1)
	s.judge()
	return s
}

func ratio(y, x *Level) float64 { return math.Log(y.Estimate.Value / x.Estimate.Value) }

// around lists the neighbours.
func (s *beside) around() []*Level { return append(slices.Clone(s.before), s.after...) }

// judge tells whether the level is the one that is off.
func (s *beside) judge() {
	logs := func(list []*Level) (v []float64) {
		for _, x := range list {
			v = append(v, ratio(s.y, x))
		}
		return v
	}
	// with counts those that show at least half of a departure.
	with := func(v []float64, off float64) (n int) {
		for _, d := range v {
			if d*off > 0 && math.Abs(d) >= math.Abs(off)/2 {
				n++
			}
		}
		return n
	}
	before, after := logs(s.before), logs(s.after)
	all := append(slices.Clone(before), after...)
	if len(all) == 0 {
		return
	}
	s.off = median(all)
	agree := with(all, s.off)
	switch {
	case len(before) == 0: // the first: the second may be the one that is off
		s.departs = len(after) == 2 && agree == 2
	case len(all) == 4:
		s.departs = agree >= 3
	default:
		s.departs = agree == len(all)
	}
	if s.departs || len(after) == 0 || len(before) < 2 {
		return
	}
	if off := median(before); with(before, off) == 2 && with(after, off) == 0 {
		s.off, s.stays = off, true
	}
}

// bothShow reports whether the nearest test on each side shows so much of a
// departure.
func (s *beside) bothShow(least float64) bool {
	for _, side := range [][]*Level{s.before, s.after} {
		if len(side) > 0 && math.Abs(ratio(s.y, side[0])) < least {
			return false
		}
	}
	return true
}

// sides counts the sides that neighbours stand on.
func (s *beside) sides() int { return min(1, len(s.before)) + min(1, len(s.after)) }

// sd is the standard deviation of off that the test's error and the soil's own
// drift make.
func (s *beside) sd() float64 {
	x := s.around()
	if s.stays {
		x = s.before
	}
	v := s.y.sd*s.y.sd + ownDrift*ownDrift
	if s.sides() == 2 && !s.stays {
		v -= ownDrift * ownDrift / 2
	}
	for _, l := range x {
		v += l.sd * l.sd / float64(len(x)*len(x))
	}
	return math.Sqrt(v)
}

// says puts the departure into words: from the nearest before and after.
func (s *beside) says() string {
	switch {
	case len(s.before) == 0:
		return fmt.Sprintf("%s the tests after it (%s, %s)", times(s.off), s.after[0].when(), s.after[1].when())
	case len(s.after) > 0 && !s.stays:
		return fmt.Sprintf("%s the test before it (%s) and %s the one after (%s)", times(ratio(s.y, s.before[0])), s.before[0].when(), times(ratio(s.y, s.after[0])), s.after[0].when())
	case s.stays:
		return fmt.Sprintf("%s the test before it (%s), and later ones stay there", times(ratio(s.y, s.before[0])), s.before[0].when())
	}
	return fmt.Sprintf("%s the test before it (%s)", times(ratio(s.y, s.before[0])), s.before[0].when())
}

// rows are those that a finding on the level stands on.
func (s *beside) rows() (out []RowRef) {
	out = s.y.rows()
	for _, x := range s.around() {
		out = append(out, x.rows()...)
	}
	return out
}

// isNutrient tells what a wrong unit of a whole report would move.
func isNutrient(l *Level) bool {
	a, ok := unit.ByID(l.Analyte)
	return ok && a.Kind == unit.Fraction && l.Analyte != "NO3-N" && l.Analyte != "NH4-N"
}

// Bounds on the log scale; own figures, chosen by simulation (TestSlipsAreFound,
// TestSlipNamesTheRightTest, TestHonestBooksRaiseNoSlip).
const (
	wholeWithin  = 0.25 // of a factor: the middle of a report's nutrients
	eachWithin   = 0.50 // and three of four of them
	moved        = 0.35 // organic matter that moved so far is no slip of nutrients
	ownDrift     = 0.15 // what the soil itself moves from test to test, standard deviation
	tooFar       = 3.0  // standard deviations that the soil and the test's error hardly make
	farther      = 4.0  // and where no known factor fits
	leastAny     = 0.92 // nor is a smaller step than this (2.5 times) one without a factor
	nearFactor   = 2.0  // of a factor, in the same
	bothShare    = 0.6  // of a factor, shown by the nearest test on each side
	aloneWithin  = 0.06 // of a factor, the other nutrients standing still
	exactWithin  = 0.01 // K2O is so near K that only the exact ratio tells
	standsStill  = 0.12
	fewestOthers = 3
)

// reportSlip looks for a factor that all nutrients of one report share.
func (b *bedWork) reportSlip(all []beside, odd map[*Level]float64) {
	groups := map[int][]*beside{} // by layer
	var order []int
	for i := range all {
		s := &all[i]
		if k := depthKey(s.y.DepthTo); isNutrient(s.y) && len(s.before)+len(s.after) > 0 {
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
		middle := medianOff(g)
		// The organic matter of a soil that truly doubled would show it.
		richer, still := false, false
		for i := range all {
			if s := &all[i]; s.y.Analyte == "OM" || s.y.Analyte == "CEC" {
				richer = richer || math.Abs(s.off) > moved && s.off*middle > 0
				still = still || s.y.Analyte == "OM" && len(s.around()) > 0 && math.Abs(s.off) < 2*standsStill
			}
		}
		if richer || g[0].y.Suspect && !still {
			continue
		}
		for _, f := range reportFactors() {
			close, named := 0, 0
			for _, s := range g {
				if math.Abs(math.Abs(s.off)-f.log) < eachWithin && s.off*middle > 0 {
					close++
				}
				if s.departs || s.stays {
					named++
				}
			}
			if math.Abs(math.Abs(middle)-f.log) > wholeWithin || 4*close < 3*len(g) || 2*named < len(g) {
				continue
			}
			var names []string
			var rows []RowRef
			for _, s := range g {
				names, rows = append(names, s.y.Analyte), append(rows, s.y.rows()...)
			}
			what := "the tests around it"
			switch s := g[0]; {
			case len(s.before) > 0:
				what = fmt.Sprintf("the test before (%s)", s.before[0].when())
			case len(s.after) > 0:
				what = fmt.Sprintf("the tests after (%s)", s.after[0].when())
			}
			id := b.doubt("slip", fmt.Sprintf("%s of %s are all about %s %s: %s?", strings.Join(names, ", "), g[0].y.when(), times(middle), what, f.what), rows...)
			for _, s := range g {
				odd[s.y] = s.off
				s.y.Doubts = addRef(s.y.Doubts, id)
			}
		}
	}
}

func medianOff(g []*beside) float64 {
	var v []float64
	for _, s := range g {
		v = append(v, s.off)
	}
	return median(v)
}

// median returns the middle of at least one value.
func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	return (v[len(v)/2] + v[(len(v)-1)/2]) / 2
}

// times says a ratio by its logarithm.
func times(log float64) string {
	if log < 0 {
		return fmt.Sprintf("1/%.3g of", math.Exp(-log))
	}
	return fmt.Sprintf("%.3g times", math.Exp(log))
}

// others tells how the rest of a report stands: quiet, where its other nutrients
// stand still, and enriched, where the soil as a whole moved as s did.
func (s *beside) others(all []beside) (quiet, enriched bool) {
	still := 0
	var v []float64
	for i := range all {
		switch o := &all[i]; {
		case o.y == s.y || len(o.before)+len(o.after) == 0:
		case isNutrient(o.y):
			if v = append(v, o.off); math.Abs(o.off) < standsStill {
				still++
			}
		case o.y.Analyte == "OM" || o.y.Analyte == "CEC":
			enriched = enriched || math.Abs(o.off) > moved && o.off*s.off > 0
		}
	}
	quiet = len(v) >= fewestOthers && 4*still >= 3*len(v)
	if len(v) > 0 {
		m := median(v)
		enriched = enriched || math.Abs(m) > moved && m*s.off > 0
	}
	return quiet, enriched
}

// formSlip looks for a factor so small that soil and error make it too (K2O is
// 1.2 times K): the ratio must be near exact against two tests of the same timing
// and the other nutrients of the report must stand still; and then it is a weak
// doubt, unless the form on the sheet changed with the figure.
func (b *bedWork) formSlip(s *beside, timed []beside, odd map[*Level]float64) bool {
	x := s.around()
	quiet, _ := s.others(timed)
	if !quiet || len(x) == 0 {
		return false
	}
	form := !slices.ContainsFunc(x, func(l *Level) bool { return l.Reported[0].Form == s.y.Reported[0].Form })
	if len(x) < 2 && !form {
		return false
	}
	for _, f := range slipFactors(s.y.Analyte) {
		if f.log >= 2*s.sd() {
			continue // levelSlip's
		}
		within := exactWithin
		if form {
			within = aloneWithin
		} else if f.log > 4*aloneWithin {
			within = 2 * exactWithin
		}
		if slices.ContainsFunc(x, func(l *Level) bool { return math.Abs(math.Abs(ratio(s.y, l))-f.log) > within }) || !s.departs {
			continue
		}
		code, text := "form", fmt.Sprintf("%s of %s is %s the tests of the same timing beside it, the other nutrients of the report standing still: %s? The soil moves so far too", s.y.Analyte, s.y.when(), times(s.off), f.what)
		if form {
			code, text = "slip", fmt.Sprintf("%s of %s is %s, and the form on the sheet changed with it: %s?", s.y.Analyte, s.y.when(), s.says(), f.what)
		}
		odd[s.y] = s.off
		s.y.Doubts = addRef(s.y.Doubts, b.doubt(code, text, s.rows()...))
		return true
	}
	return false
}

// levelSlip looks at one level by itself: a factor, or a step so large that none
// is needed.
func (b *bedWork) levelSlip(s *beside, all []beside, odd map[*Level]float64) {
	if !s.departs && !s.stays || s.y.Analyte == "NH4-N" {
		return
	}
	y, off, sd := s.y, math.Abs(s.off), s.sd()
	quiet, enriched := s.others(all)
	var what []string
	if s.departs && len(s.before) > 0 {
		for _, f := range slipFactors(y.Analyte) {
			miss := math.Abs(off - f.log)
			if f.log >= 2*sd && (!enriched && off > tooFar*sd && miss < nearFactor*sd && s.bothShow(f.log*bothShare) || quiet && miss < aloneWithin) {
				what = append(what, f.what)
			}
		}
	}
	far := off > math.Log(slip)
	if s.departs && s.sides() == 2 && !slices.Contains([]string{"S", "B", "Na", "Cl", "EC"}, y.Analyte) {
		far = far || !enriched && off > max(leastAny, farther*sd) // what moves with water may come and go
	}
	if what == nil && far {
		what = []string{"a slip in the decimal point, unit or form"}
	}
	if what == nil {
		return
	}
	odd[y] = s.off
	y.Doubts = addRef(y.Doubts, b.doubt("slip", fmt.Sprintf("%s of %s is %s: %s?", y.Analyte, y.when(), s.says(), strings.Join(what, ", or ")), s.rows()...))
}

// Bounds of nitrate's slips.
const (
	fewestNitrate = 4    // other tests of the same timing
	leastNitrate  = 0.20 // standard deviation of those, at the least: of the log
	nitrateFar    = 5.0  // of these
	nitrateWithin = 0.30 // of the factor
)

// nitrateSlip asks whether a nitrate is NO3 read as N or the reverse. Nitrate moves
// several times over by weather and feeding, so only one that stands far outside
// all tests of its timing, near the factor, is named: in most books none can be.
func (b *bedWork) nitrateSlip(y *Level, list []*Level, odd map[*Level]float64) {
	var v []float64
	rows := y.rows()
	for _, x := range list {
		if x.Date == y.Date || x.Timing != y.Timing || x.Suspect || odd[x] != 0 || comparable(x, y, b.depth) != "" {
			continue
		}
		v, rows = append(v, ratio(y, x)), append(rows, x.rows()...)
	}
	if len(v) < fewestNitrate {
		return
	}
	m, sum := median(v), 0.0
	for _, d := range v {
		sum += (d - m) * (d - m)
	}
	sd := max(leastNitrate, math.Sqrt(sum/float64(len(v)-1)))
	beyond := !slices.ContainsFunc(v, func(d float64) bool { return d*m <= 0 || math.Abs(d) < math.Abs(m)/2 })
	for _, f := range slipFactors("NO3-N") {
		if beyond && math.Abs(m) > nitrateFar*sd*math.Sqrt(1+1/float64(len(v))) && math.Abs(math.Abs(m)-f.log) < nitrateWithin {
			odd[y] = m
			y.Doubts = addRef(y.Doubts, b.doubt("slip", fmt.Sprintf("NO3-N of %s is about %s the %d other tests of its timing, far outside their spread: %s?", y.when(), times(m), len(v), f.what), rows...))
		}
	}
}
