package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// Level is what one day's test says of one analyte in one layer of one bed: the
// mean of that day's samples, with its 90 % range.
type Level struct {
	Season    int          `json:"season"`
	Timing    string       `json:"timing"`
	Date      dataset.Date `json:"date"`
	DateBasis string       `json:"date_basis"`
	When      string       `json:"when"` // the day as exactly as it is known
	Analyte   string       `json:"analyte"`
	Method    string       `json:"method"` // empty: the report does not say
	Lab       string       `json:"lab"`
	// Ground is the bed it was recorded under, if that was joined to others later.
	Ground    string   `json:"ground,omitempty"`
	DepthFrom *float64 `json:"depth_from_cm"`
	DepthTo   *float64 `json:"depth_to_cm"`
	Cores     *int32   `json:"cores"`
	Qualifier string   `json:"qualifier,omitempty"` // "<" or ">"
	Estimate  Estimate `json:"estimate"`
	// Detectable is what tests such as this one can show; nil beyond a lab's limit.
	Detectable *Detectable `json:"detectable,omitempty"`
	Reported   []Reported  `json:"reported"`
	Doubts     []int       `json:"doubts,omitempty"`
	Suspect    bool        `json:"suspect,omitempty"` // perhaps not the soil of the test before

	basis      string // mass, volume or extract
	conversion string
	reportID   string
	depthOfBed bool    // the report gives no depth
	own        float64 // standard deviations: of cores and lab,
	report     float64 // shared by the beds of a report,
	sd         float64 // and all together
}

// rows are the rows a level was made from.
func (l *Level) rows() (out []RowRef) {
	for i := range l.Reported {
		out = append(out, l.Reported[i].Row)
	}
	return out
}

// Reported is the lab's own print of a value, and the row it stands in.
type Reported struct {
	Value     float64 `json:"value"`
	Qualifier string  `json:"qualifier,omitempty"`
	Unit      string  `json:"unit"`
	Form      string  `json:"form,omitempty"`
	Sample    string  `json:"sample,omitempty"`
	Row       RowRef  `json:"row"`
}

// Top reports whether the level is of the worked layer: from the surface down,
// or of no stated depth.
func (l *Level) Top() bool { return l.DepthFrom == nil || *l.DepthFrom < 1 }

// depthKey tells layers apart to the centimetre.
func depthKey(p *float64) int {
	if p == nil {
		return -1
	}
	return int(math.Round(*p))
}

// levels groups a bed's tests by day, layer, lab and method. The result is
// sorted by analyte (as tables show them), layer, date, method and lab.
func (b *bedWork) levels() []Level {
	type key struct {
		analyte, method, lab, unit, timing, ground string
		date                                       dataset.Date
		from, to                                   int
	}
	at := map[key]int{}
	ground := b.grounds()
	dropped := map[int]bool{}
	zero := map[string][]RowRef{}
	var out []Level
	for i := range b.history.Tests {
		t := &b.history.Tests[i]
		if t.Date > b.asOf {
			continue
		}
		value, qualifier := t.Value, t.Qualifier
		if a, ok := unit.ByID(t.Analyte); ok && a.Kind == unit.Fraction && value == 0 && qualifier == "" {
			value, qualifier = math.Pow(10, -float64(a.Decimals)), "<" // no lab measures nothing
			zero[t.Analyte] = append(zero[t.Analyte], refOf(t.Source))
		}
		season, timing := b.cal.place(t.Date, t.Timing, b.seasonFacts)
		k := key{t.Analyte, t.Method, t.Lab, t.Unit, timing, ground(t.Bed), t.Date, depthKey(t.DepthFrom), depthKey(t.DepthTo)}
		n, ok := at[k]
		if !ok {
			n = len(out)
			at[k] = n
			from, to, ofBed := t.DepthFrom, t.DepthTo, false
			if d := b.descriptionAt(t.Date); to == nil && d != nil && d.DepthTo != nil {
				from, to, ofBed = d.DepthFrom, d.DepthTo, true
			}
			out = append(out, Level{
				depthOfBed: ofBed,
				Season:     season, Timing: timing, Date: t.Date, DateBasis: t.DateBasis, When: whenText(t.Date, t.DateBasis, b.cal),
				Analyte: t.Analyte, Method: t.Method, Lab: t.Lab, DepthFrom: from, DepthTo: to,
				Cores: t.Cores, basis: t.Basis, reportID: t.Report, Ground: k.ground, Estimate: Estimate{Unit: t.Unit},
			})
		}
		l := &out[n]
		if c := len(l.Reported); c > 0 && qualifier != l.Qualifier {
			// A limit and a number cannot be averaged: keep the number.
			dropped[n] = true
			if l.Qualifier == "" {
				continue
			}
			l.Reported, l.Cores = nil, t.Cores
		} else if c > 0 {
			l.Cores = addCores(l.Cores, t.Cores)
		}
		l.Qualifier = qualifier
		n = len(l.Reported)
		l.Estimate.Value = (l.Estimate.Value*float64(n) + value) / float64(n+1)
		l.Reported = append(l.Reported, Reported{
			Value: t.ReportedValue, Qualifier: t.Qualifier, Unit: t.ReportedUnit, Form: t.ReportedForm, Sample: t.Sample, Row: refOf(t.Source),
		})
		l.conversion = cmp.Or(l.conversion, t.Conversion)
	}
	for _, a := range unit.Analytes() {
		if rows := zero[a.ID]; rows != nil {
			b.doubt("below limit", a.ID+" is reported as 0: read as below the smallest figure the lab prints", rows...)
		}
	}
	for n := range out {
		if dropped[n] {
			l := &out[n]
			l.Doubts = addRef(l.Doubts, b.doubt("samples", fmt.Sprintf("%s of %s has a number and a limit: the number is kept, and may be too high or too low for the bed", l.Analyte, l.when()), l.rows()...))
		}
	}
	slices.SortStableFunc(out, func(x, y Level) int {
		return cmp.Or(
			cmp.Compare(unit.Rank(x.Analyte), unit.Rank(y.Analyte)), cmp.Compare(x.Analyte, y.Analyte),
			cmp.Compare(depthKey(x.DepthFrom), depthKey(y.DepthFrom)),
			cmp.Compare(x.Season, y.Season), cmp.Compare(timingOrder(x.Timing), timingOrder(y.Timing)),
			cmp.Compare(x.Date, y.Date), cmp.Compare(x.Method, y.Method), cmp.Compare(x.Lab, y.Lab),
		)
	})
	for i := range out {
		b.setRange(&out[i])
		b.doubtLevel(&out[i])
	}
	b.doubtTogether(out)
	return out
}

// addCores adds the cores of two samples; unknown if either is.
func addCores(x, y *int32) *int32 {
	if x == nil || y == nil {
		return nil
	}
	sum := *x + *y
	return &sum
}

// grounds tells which of the beds that were joined into this one a name stands
// for; empty: the whole bed, under whatever name.
func (b *bedWork) grounds() func(name string) string {
	renamed, joined := map[string]string{}, map[string]bool{}
	for i := range b.history.Descriptions {
		d := &b.history.Descriptions[i]
		names := d.Former()
		for _, was := range names {
			if was != d.Bed {
				joined[was] = joined[was] || len(names) > 1
				renamed[was] = d.Bed
			}
		}
	}
	return func(name string) string {
		for range renamed {
			if joined[name] {
				return name
			}
			name = renamed[name]
		}
		return ""
	}
}

// doubtTogether attaches doubts that many levels share, each told once with the
// tests it stands on.
func (b *bedWork) doubtTogether(levels []Level) {
	together := func(code string, of func(*Level) string, text func(what, tests string) string) {
		var order []string
		tests := map[string][]string{}
		for i := range levels {
			l := &levels[i]
			if w := of(l); w != "" {
				if tests[w] == nil {
					order = append(order, w)
				}
				if !slices.Contains(tests[w], l.when()) {
					tests[w] = append(tests[w], l.when())
				}
			}
		}
		for _, w := range order {
			var these []*Level
			var rows []RowRef
			for i := range levels {
				if of(&levels[i]) == w {
					these, rows = append(these, &levels[i]), append(rows, levels[i].rows()...)
				}
			}
			id := b.doubt(code, text(w, listDays(tests[w])), rows...)
			for _, l := range these {
				l.Doubts = addRef(l.Doubts, id)
			}
		}
	}
	basis := func(want string) func(*Level) string {
		return func(l *Level) string {
			if l.DateBasis == want {
				return want
			}
			return ""
		}
	}
	together("date", basis(dataset.ByMonth), func(_, tests string) string {
		return "only the month is known of the tests of " + tests + "; the 15th stands for it"
	})
	together("date", basis(dataset.BySeason), func(_, tests string) string {
		return "only the season is known of the tests of " + tests + "; mid-window stands for it"
	})
	together("date", basis(dataset.Assumed), func(_, tests string) string {
		return "the day is assumed of the tests of " + tests
	})
	together("samples", func(l *Level) string {
		if n := len(l.Reported); n > 1 {
			return strconv.Itoa(n)
		}
		return ""
	}, func(n, tests string) string { return "mean of " + n + " samples: tests of " + tests })
	together("no method", func(l *Level) string {
		if a, ok := unit.ByID(l.Analyte); l.Method == "" && ok && !a.Plain {
			return l.when()
		}
		return ""
	}, func(when, _ string) string {
		var which []string
		for i := range levels {
			l := &levels[i]
			if a, ok := unit.ByID(l.Analyte); l.Method == "" && ok && !a.Plain && l.when() == when && !slices.Contains(which, l.Analyte) {
				which = append(which, l.Analyte)
			}
		}
		return fmt.Sprintf("the report of %s names no method for %s: shown, but left out of drawdown, winter change, carryover and bands", when, strings.Join(which, ", "))
	})
	together("depth", func(l *Level) string {
		if l.depthOfBed {
			return b.depth(l)
		}
		return ""
	}, func(depth, tests string) string {
		return fmt.Sprintf("the tests of %s give no depth: the bed's own, %s, is taken", tests, depth)
	})
	together("convention", func(l *Level) string { return l.conversion }, func(how, tests string) string {
		return "some levels of " + tests + " are read " + how
	})
}

// listDays joins the names of tests in order of time; more than six are counted.
func listDays(days []string) string {
	const most = 6
	if len(days) > most {
		return fmt.Sprintf("%s and %d more", strings.Join(days[:most], ", "), len(days)-most)
	}
	return strings.Join(days, ", ")
}

// doubtLevel attaches what is doubtful about one level by itself.
func (b *bedWork) doubtLevel(l *Level) {
	add := func(code, text string) { l.Doubts = addRef(l.Doubts, b.doubt(code, text, l.rows()...)) }
	if l.Qualifier == "<" {
		add("below limit", fmt.Sprintf("%s of %s is below the lab's limit: it stands for anything from 0 to that limit", l.Analyte, l.when()))
	}
	if l.Qualifier == ">" {
		add("above limit", fmt.Sprintf("%s of %s is above the lab's limit: nothing is differenced from it", l.Analyte, l.when()))
	}
}

// when names the test's day as exactly as it is known.
func (l *Level) when() string { return l.When }

// whenText writes a day as exactly as it is known: 2026-10-28, 2026-10,
// autumn 2026, ~2026-10-28.
func whenText(d dataset.Date, basis string, cal Calendar) string {
	switch basis {
	case dataset.ByMonth:
		return d.String()[:7]
	case dataset.BySeason:
		season, timing := cal.place(d, "", func(int) bedSeason { return bedSeason{} })
		if timing == Spring && cal.South {
			season-- // the spring a grower names by its calendar year
		}
		return fmt.Sprintf("%s %d", timing, season)
	case dataset.Assumed:
		return "~" + d.String()
	}
	return d.String()
}

// comparable says why two levels must not be differenced; empty: they may.
func comparable(x, y *Level, depth func(*Level) string) string {
	name := func(s string) string {
		if s == "" {
			return "none named"
		}
		return s
	}
	near := func(a, b *float64) bool { return a == nil && b == nil || a != nil && b != nil && math.Abs(*a-*b) <= 1 }
	whole := func(l *Level) string { return cmp.Or(l.Ground, "the joined bed") }
	switch a, ok := unit.ByID(x.Analyte); {
	case x.Ground != y.Ground:
		return fmt.Sprintf("ground changed from %s to %s", whole(x), whole(y))
	case ok && !a.Plain && (x.Method == "" || y.Method == ""):
		return "no method on the report"
	case x.Method != y.Method:
		return fmt.Sprintf("method changed from %s to %s", name(x.Method), name(y.Method))
	case x.Estimate.Unit != y.Estimate.Unit:
		return fmt.Sprintf("unit changed from %s to %s", x.Estimate.Unit, y.Estimate.Unit)
	case !near(x.DepthFrom, y.DepthFrom) || !near(x.DepthTo, y.DepthTo):
		return fmt.Sprintf("depth changed from %s to %s", depth(x), depth(y))
	case x.Lab != y.Lab:
		return fmt.Sprintf("lab changed from %s to %s", name(x.Lab), name(y.Lab))
	case x.Qualifier == ">" || y.Qualifier == ">":
		return "above the lab's limit"
	}
	return ""
}
