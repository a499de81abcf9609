package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"carryover/analysis/fit"
	"carryover/dataset"
	"carryover/dataset/unit"
)

// Kinds of change between two tests.
const (
	Drawdown = "drawdown" // spring minus autumn of one season: a fall is positive
	Winter   = "winter"   // next spring minus autumn: a rise is positive
	Year     = "year"     // same timing, one or more years on: a rise is positive
)

// Change is the difference of two levels of one analyte that may be compared.
type Change struct {
	Kind     string   `json:"kind"`
	Season   int      `json:"season"` // of the later test
	Analyte  string   `json:"analyte"`
	Method   string   `json:"method"`
	Ground   string   `json:"ground,omitempty"` // as Level.Ground
	From     Endpoint `json:"from"`
	To       Endpoint `json:"to"`
	Estimate Estimate `json:"estimate"`
	// Detectable is what two such tests can show, from the first one's value; nil
	// where one of them lies beyond the lab's limit.
	Detectable *Margin `json:"detectable,omitempty"`
	// Seen is false where the 90 % range holds zero: two tests with their error
	// cannot tell the change from none.
	Seen    bool   `json:"seen"`
	Says    string `json:"says"`              // the same in words
	Suspect bool   `json:"suspect,omitempty"` // one of its tests perhaps not of the same soil
	Doubts  []int  `json:"doubts,omitempty"`

	lab                 string
	own, report, season float64 // standard deviations: of both tests' own errors; of the shared ones in each
}

// Endpoint is one of the two tests of a change.
type Endpoint struct {
	Season    int          `json:"season"`
	Timing    string       `json:"timing"`
	Date      dataset.Date `json:"date"`
	Qualifier string       `json:"qualifier,omitempty"`
	Value     float64      `json:"value"`
}

func endOf(l *Level) Endpoint {
	return Endpoint{l.Season, l.Timing, l.Date, l.Qualifier, l.Estimate.Value}
}

// Break is a place where differencing stops, and why.
type Break struct {
	Kind     string       `json:"kind"`
	Season   int          `json:"season"`
	Analytes []string     `json:"analytes"`
	From     dataset.Date `json:"from"`
	To       dataset.Date `json:"to"`
	Reason   string       `json:"reason"`
	Doubt    int          `json:"doubt"`

	rows []RowRef
}

// seasonTests holds one analyte's levels of one season in date order.
type seasonTests struct {
	year           int
	spring, autumn []*Level
}

// changes works out every change of the worked layer.
//
// Where a window holds several tests, drawdown uses the last spring test before
// the crop and the first autumn test after it; the winter change uses the last
// autumn test and the first spring test. A bed without a pair in a season gets
// the change since the last test of the same timing, never called drawdown.
func (b *bedWork) changes(levels []Level) (changes []Change, breaks []Break) {
	for start := 0; start < len(levels); {
		end := start
		for end < len(levels) && levels[end].Analyte == levels[start].Analyte {
			end++
		}
		if levels[start].Analyte == "buffer pH" { // a means to a lime rate, not a level
			start = end
			continue
		}
		type meeting struct {
			kind   string
			season int
		}
		met := map[meeting]bool{}
		for _, series := range split(levels[start:end]) {
			eachMeeting(bySeason(series), func(kind string, first, second []*Level) {
				if x, y, _ := meet(first, second, b.depth); x != nil {
					changes = append(changes, b.change(kind, x, y))
					met[meeting{kind, y.Season}] = true
				}
			})
		}
		// Where no series has a pair, the tests at hand say why not.
		eachMeeting(bySeason(pointers(levels[start:end])), func(kind string, first, second []*Level) {
			if met[meeting{kind, second[0].Season}] {
				return
			}
			if x, _, k := meet(first, second, b.depth); x == nil {
				k.Kind = kind
				breaks = joinBreak(breaks, k)
			}
		})
		start = end
	}
	sortChanges(changes)
	b.doubtBreaks(breaks)
	return changes, breaks
}

// sortChanges puts the series of one analyte together again, season by season.
func sortChanges(list []Change) {
	slices.SortStableFunc(list, func(x, y Change) int {
		return cmp.Or(cmp.Compare(unit.Rank(x.Analyte), unit.Rank(y.Analyte)), cmp.Compare(x.Analyte, y.Analyte), cmp.Compare(x.Season, y.Season))
	})
}

// split parts one analyte's levels into series that may hold pairs: by method,
// unit and ground.
func split(levels []Level) (out [][]*Level) {
	type key struct{ method, unit, ground string }
	at := map[key]int{}
	for i := range levels {
		l := &levels[i]
		k := key{l.Method, l.Estimate.Unit, l.Ground}
		n, ok := at[k]
		if !ok {
			n = len(out)
			at[k] = n
			out = append(out, nil)
		}
		out[n] = append(out[n], l)
	}
	return out
}

func pointers(levels []Level) (out []*Level) {
	for i := range levels {
		out = append(out, &levels[i])
	}
	return out
}

// meet returns the first two levels that may be compared, or the break between
// the first two that may not. Neither list is empty.
func meet(first, second []*Level, depth func(*Level) string) (x, y *Level, k Break) {
	for _, x := range first {
		for _, y := range second {
			r := comparable(x, y, depth)
			if r == "" {
				return x, y, k
			}
			if k.Reason == "" {
				k = Break{Season: y.Season, Analytes: []string{y.Analyte}, From: x.Date, To: y.Date, Reason: r, rows: append(x.rows(), y.rows()...)}
			}
		}
	}
	return nil, nil, k
}

// eachMeeting visits every two sets of tests that a change could be taken between.
func eachMeeting(seasons []seasonTests, visit func(kind string, first, second []*Level)) {
	pair := func(kind string, first, second []*Level) {
		if len(first) > 0 && len(second) > 0 {
			visit(kind, first, second)
		}
	}
	for i, s := range seasons {
		pair(Drawdown, reversed(s.spring), s.autumn)
		if i == 0 {
			continue
		}
		p := seasons[i-1]
		if p.year == s.year-1 {
			pair(Winter, reversed(p.autumn), s.spring)
		}
		// Once-a-year beds: this year's test against the last of its timing.
		if len(s.spring) == 0 {
			pair(Year, lastOf(seasons[:i], func(t seasonTests) []*Level { return t.autumn }), s.autumn)
		}
		if len(s.autumn) == 0 && (len(p.autumn) == 0 || p.year < s.year-1) { // else the winter change tells more
			pair(Year, lastOf(seasons[:i], func(t seasonTests) []*Level { return t.spring }), s.spring)
		}
	}
}

// doubtBreaks tells each reason once, with the stretches it cuts.
func (b *bedWork) doubtBreaks(breaks []Break) {
	for i := range breaks {
		if breaks[i].Doubt != 0 {
			continue
		}
		var cuts []string
		var rows []RowRef
		for j := i; j < len(breaks); j++ {
			if k := &breaks[j]; k.Reason == breaks[i].Reason {
				cuts = append(cuts, fmt.Sprintf("%s (%s to %s)", strings.Join(k.Analytes, ", "), k.From, k.To))
				rows = append(rows, k.rows...)
			}
		}
		id := b.doubt("break", breaks[i].Reason+": no difference taken of "+strings.Join(cuts, "; "), rows...)
		for j := i; j < len(breaks); j++ {
			if breaks[j].Reason == breaks[i].Reason {
				breaks[j].Doubt = id
			}
		}
	}
}

// joinBreak adds a break, or its analyte to the same break of another analyte.
func joinBreak(list []Break, k Break) []Break {
	for i := range list {
		x := &list[i]
		if x.Kind == k.Kind && x.Season == k.Season && x.From == k.From && x.To == k.To && x.Reason == k.Reason {
			x.Analytes, x.rows = append(x.Analytes, k.Analytes...), append(x.rows, k.rows...)
			return list
		}
	}
	return append(list, k)
}

func lastOf(seasons []seasonTests, of func(seasonTests) []*Level) []*Level {
	for i := len(seasons) - 1; i >= 0; i-- {
		if l := of(seasons[i]); len(l) > 0 {
			return reversed(l)
		}
	}
	return nil
}

func reversed(l []*Level) []*Level {
	l = slices.Clone(l)
	slices.Reverse(l)
	return l
}

// bySeason splits one analyte's levels of the worked layer; mid-season tests
// take no part.
func bySeason(levels []*Level) (out []seasonTests) {
	var top []*Level
	for _, l := range levels {
		if l.Top() && l.Timing != MidSeason {
			top = append(top, l)
		}
	}
	slices.SortStableFunc(top, func(x, y *Level) int {
		return cmp.Or(cmp.Compare(x.Season, y.Season), cmp.Compare(x.Date, y.Date))
	})
	for _, l := range top {
		if n := len(out); n == 0 || out[n-1].year != l.Season {
			out = append(out, seasonTests{year: l.Season})
		}
		s := &out[len(out)-1]
		if l.Timing == Spring {
			s.spring = append(s.spring, l)
		} else {
			s.autumn = append(s.autumn, l)
		}
	}
	return out
}

// minus estimates x minus y, with those standard deviations, from the points of
// both.
func minus(x, y *Level, sx, sy float64, draw *[2][]float64) Estimate {
	draw[0], draw[1] = x.drawsWith(sx, 0, draw[0]), y.drawsWith(sy, 1, draw[1])
	d, v := draw[0], draw[1]
	for i := range d {
		d[i] -= v[i]
	}
	median, low, high := fit.Range(d, RangeLevel)
	e := Estimate{x.Estimate.Value - y.Estimate.Value, low, high, RangeLevel, x.Estimate.Unit, x.Estimate.N + y.Estimate.N, y.Estimate.Basis}
	if x.Qualifier+y.Qualifier != "" {
		// A limit is no number to subtract: the range reaches over all that may lie
		// below it.
		e.Value, e.Low, e.High = median, x.Estimate.Low-y.Estimate.High, x.Estimate.High-y.Estimate.Low
	}
	return e
}

// change estimates later minus earlier; drawdown: earlier minus later.
func (b *bedWork) change(kind string, x, y *Level) Change {
	e := minus(x, y, x.sdFor(kind), y.sdFor(kind), b.draw)
	e.Basis = y.Estimate.Basis
	if kind != Drawdown {
		e.Value, e.Low, e.High = -e.Value, -e.High, -e.Low
	}
	c := Change{
		Kind: kind, Season: y.Season, Analyte: y.Analyte, Method: y.Method, Ground: y.Ground, From: endOf(x), To: endOf(y), Estimate: e,
		Seen: e.Low > 0 || e.High < 0, lab: y.Lab, own: math.Hypot(x.own, y.own), report: y.report, season: math.Sqrt(max(0, y.sd*y.sd-y.own*y.own)),
	}
	c.Says = says(c.Seen)
	if x.Qualifier+y.Qualifier == "" {
		m := x.margin(math.Hypot(x.sdFor(kind), y.sdFor(kind)))
		c.Detectable = &m
	}
	for _, id := range append(slices.Clone(x.Doubts), y.Doubts...) {
		c.Doubts = addRef(c.Doubts, id)
	}
	for _, id := range b.betweenDoubts(x, y) {
		c.Doubts = addRef(c.Doubts, id)
	}
	return c
}
