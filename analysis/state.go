package analysis

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"carryover/analysis/fit"
	"carryover/dataset"
	"carryover/dataset/unit"
)

// States of a bed's line, most urgent first.
const (
	TestAgain     = "test again"
	DoNow         = "do now"
	WaitForSpring = "wait for spring"
	Leave         = "leave"
)

// Action is one finding of a bed: what to do about one analyte, and why.
type Action struct {
	State   string `json:"state"`
	Analyte string `json:"analyte,omitempty"`
	Why     string `json:"why"`
	// POutside is the probability, from the test's error alone, that the true
	// level lies outside its band on the side named in Why.
	POutside float64 `json:"p_outside,omitempty"`
	Source   string  `json:"source,omitempty"` // of the band
	Doubts   []int   `json:"doubts,omitempty"`
}

// Bounds of the probability that a level lies outside its band.
const (
	sure     = 0.8 // do it now
	doubtful = 0.5 // another test first
)

// A test older than this says little of the bed as it is.
const oldTest = 548 // days, 18 months

// acts says where an analyte's shortage can be met in autumn: what acts slowly
// and stays. What moves with water waits for spring. Common practice, no source.
func slow(analyte string) bool {
	return slices.Contains([]string{"pH", "P", "K", "Ca", "Mg", "Zn", "Cu"}, analyte)
}

// state gives the bed its actions and its one line.
func (b *bedWork) state(out *BedReview, season int) {
	act := func(a Action) { out.Actions = append(out.Actions, a) }
	var last *Level
	for i := range out.Levels {
		if l := &out.Levels[i]; l.Top() && (last == nil || l.Date > last.Date) {
			last = l
		}
	}
	inAutumn := b.cal.north(b.asOf) >= dataset.DateOf(season, autumnStarts.m, autumnStarts.d)
	switch {
	case last == nil:
		act(Action{State: TestAgain, Why: "no soil test in the book"})
	case b.asOf-last.Date > oldTest:
		act(Action{State: TestAgain, Why: fmt.Sprintf("the last test is of %s, over 18 months old", last.when())})
	}
	if last != nil && inAutumn && !hasTest(out.Levels, season, Autumn) {
		out.LabPending = true
	}
	if last != nil {
		b.sampleDoubts(out, last, act)
	}
	var fine, unjudged, beyond, edge, above []string
	for _, a := range unit.Analytes() {
		l := newest(out.Levels, a.ID)
		if l == nil || b.asOf-l.Date > oldTest {
			continue
		}
		t := b.targetFor(l)
		if t == nil {
			if carriers[a.ID] || a.ID == "pH" {
				unjudged = append(unjudged, a.ID)
			}
			continue
		}
		if l.Qualifier == ">" && l.Estimate.Value < max(t.Low, t.High) {
			beyond = append(beyond, a.ID)
			continue
		}
		low, high := l.outside(*t)
		name := fmt.Sprintf("%s %s", a.ID, l.show(b.us))
		switch {
		case low >= doubtful:
			// With this season's spring test in hand, spring is here.
			spring := l.Timing == Spring && l.Season == season && !inAutumn
			act(b.short(l, *t, low, name, spring))
		case high >= sure && a.ID == "pH":
			act(Action{State: Leave, Analyte: a.ID, Why: name + " is above " + t.String() + ": no lime", POutside: high, Source: t.Source, Doubts: l.Doubts})
		case high >= sure:
			above = append(above, a.ID)
		case high >= doubtful:
			edge = append(edge, a.ID)
		default:
			fine = append(fine, a.ID)
		}
	}
	var rest []string
	if len(fine) > 0 {
		bands := " in their bands"
		if len(fine) == 1 {
			bands = " in its band"
		}
		rest = append(rest, strings.Join(fine, ", ")+bands)
	}
	if len(edge) > 0 {
		rest = append(rest, strings.Join(edge, ", ")+" at the top of the band or above")
	}
	if len(above) > 0 {
		rest = append(rest, strings.Join(above, ", ")+" above (no evidence that more helps)")
	}
	if len(beyond) > 0 {
		rest = append(rest, strings.Join(beyond, ", ")+" beyond what the lab measures, so not judged")
	}
	if len(unjudged) > 0 {
		rest = append(rest, "no band for "+strings.Join(unjudged, ", ")+" by this method")
	}
	act(Action{State: Leave, Why: strings.Join(rest, "; ")})
	slices.SortStableFunc(out.Actions, func(x, y Action) int { return urgency(x.State) - urgency(y.State) })
	out.State = out.Actions[0].State
	var why []string
	for _, x := range out.Actions {
		if x.Why == "" {
			continue
		}
		w := x.Why
		if x.State != out.State && x.State != Leave {
			w = x.State + ": " + w
		}
		why = append(why, w)
	}
	out.Why = strings.Join(why, "; ")
}

func urgency(state string) int {
	return slices.Index([]string{TestAgain, DoNow, WaitForSpring, Leave}, state)
}

func hasTest(levels []Level, season int, timing string) bool {
	return slices.ContainsFunc(levels, func(l Level) bool { return l.Season == season && l.Timing == timing && l.Top() })
}

// sampleDoubts asks for another sample where the newest one is in doubt.
func (b *bedWork) sampleDoubts(out *BedReview, last *Level, act func(Action)) {
	for i := range out.Levels {
		l := &out.Levels[i]
		if l.Date != last.Date || !l.Top() {
			continue
		}
		for _, id := range l.Doubts {
			if d := b.doubts.list[id-1]; d.Code == "not the same soil" {
				act(Action{State: TestAgain, Why: fmt.Sprintf("the sample of %s does not look like the soil of the test before it: take 15 or more cores, same spots, same depth, same lab", l.when()), Doubts: []int{id}})
				return
			}
		}
	}
}

// short is the action for a level that is, or may be, below its band.
func (b *bedWork) short(l *Level, t Target, p float64, name string, spring bool) Action {
	a := Action{Analyte: l.Analyte, POutside: p, Source: t.Source, Doubts: l.Doubts}
	what := fmt.Sprintf("%s (90 %% range %s-%s), wanted %s", name, Round(l.Analyte, l.Estimate.Low), Round(l.Analyte, l.Estimate.High), t)
	switch {
	case !slow(l.Analyte) && (!spring || p >= sure):
		a.State, a.Why = WaitForSpring, what+": it moves with winter water, so dose it in spring"
		if spring {
			a.State, a.Why = DoNow, what+": it moves with water, so it is due now and not in autumn"
		}
		if l.Analyte == "B" {
			a.Why += ", sparingly (too much harms)"
		}
	case p < sure:
		a.State, a.Why = TestAgain, what+fmt.Sprintf(": too close to call (%.0f in 10 that it is low)", math.Round(10*p))
	case l.Analyte == "pH":
		a.State, a.Why = DoNow, what+": lime, which works slowly, at the rate your lab gives"
		if l.Estimate.Value < cucurbitFloor {
			a.Why = what + fmt.Sprintf(", cucurbits at least %v: lime, which works slowly, at the rate your lab gives", cucurbitFloor)
		}
	default:
		a.State, a.Why = DoNow, what+": it stays, so it can go on now, at the rate your lab gives"
	}
	return a
}

// cucurbitFloor is the lowest pH at which cucurbits are grown without harm.
// Source: Oregon State University Extension, EM 9057, Applying Lime to Raise
// Soil pH for Crop Production, table 1 (rev. 2021).
const cucurbitFloor = 5.8

// targetFor returns the band that may judge a level; the grower's own wins.
func (b *bedWork) targetFor(l *Level) *Target {
	var at *Target
	for i := range b.targets {
		if t := &b.targets[i]; t.serves(l) && (at == nil || t.Source == "own") {
			at = t
		}
	}
	return at
}

// outside returns the probabilities that the true level lies below and above
// the band, from the test's error alone.
func (l *Level) outside(t Target) (low, high float64) {
	v := l.Estimate.Value
	switch {
	case l.Qualifier == "<": // anywhere from 0 to the limit
		low = min(1, t.Low/max(v, 1e-9))
		if t.High > 0 {
			high = max(0, 1-t.High/max(v, 1e-9))
		}
	case l.Qualifier == ">":
		if t.High > 0 && v >= t.High {
			return 0, 1
		}
		return 0, 0
	case additive(l.Analyte):
		low = fit.NormalCDF((t.Low - v) / l.sd)
		if t.High > 0 {
			high = 1 - fit.NormalCDF((t.High-v)/l.sd)
		}
	case v <= 0:
		return 1, 0
	default:
		if t.Low > 0 {
			low = fit.NormalCDF(math.Log(t.Low/v) / l.sd)
		}
		if t.High > 0 {
			high = 1 - fit.NormalCDF(math.Log(t.High/v)/l.sd)
		}
	}
	return low, high
}

// show prints the level as the trade rounds it, with its unit where one is
// needed.
func (l *Level) show(us bool) string {
	s := l.text()
	switch {
	case l.Estimate.Unit == "pH":
	case us && l.Estimate.Unit == "mg/kg":
		s += " ppm"
	default:
		s += " " + l.Estimate.Unit
	}
	return s
}

// text prints the level's figure; a low limit keeps two digits, for <0.4 must
// not read <0.
func (l *Level) text() string {
	if v := l.Estimate.Value; l.Qualifier != "" && v > 0 && v < 10 {
		return l.Qualifier + strconv.FormatFloat(v, 'g', 2, 64)
	}
	return l.Qualifier + Round(l.Analyte, l.Estimate.Value)
}

// Round prints a value of an analyte with the digits that the trade prints.
func Round(analyte string, v float64) string {
	d := 1
	if a, ok := unit.ByID(analyte); ok {
		d = a.Decimals
	}
	s := fmt.Sprintf("%.*f", d, v)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-") // no minus zero
	}
	return s
}
