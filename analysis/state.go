package analysis

import (
	"cmp"
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
	DoNow         = "do now"
	TestAgain     = "test again"
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

// slow says whether an analyte's shortage can be met well ahead of the crop:
// what acts slowly and stays. What moves with water is dosed near to uptake, and
// so is K where little holds it. Common practice, no source.
func slow(analyte string, cec *Level) bool {
	if analyte == "K" && cec != nil && cec.Estimate.Value < holdsK {
		return false
	}
	return !slices.Contains([]string{"NO3-N", "NH4-N", "S", "B", "Cl"}, analyte)
}

// organic tells what only organic matter raises, and slowly.
func organic(analyte string) bool {
	return slices.Contains([]string{"OM", "OC", "total C", "total N"}, analyte)
}

// undosed tells what is not spread for: it follows clay, organic matter, lime and
// salts.
func undosed(analyte string) bool {
	return slices.Contains([]string{"CEC", "buffer pH", "Na", "Al", "Pb", "EC", "acidity", "Ca sat", "Mg sat", "K sat", "Na sat", "H sat", "base sat", "LBC", "bulk density", "sand", "silt", "clay", "ENR"}, analyte)
}

// holdsK is the cation exchange capacity below which potassium leaves with the
// winter's water, cmolc/kg. Common practice, no source.
const holdsK = 5.0

// moment is where the year stands for a bed: what can be done there and then.
type moment int

const (
	beforePlanting moment = iota // what moves with water is due
	cropStanding                 // nothing slow can be worked in
	beforeWinter                 // what moves with water would be lost
)

// momentOf places the day of the review in the bed's year.
func (b *bedWork) momentOf() moment {
	_, timing := b.cal.place(b.asOf, "", b.seasonFacts)
	switch {
	case timing == MidSeason:
		return cropStanding
	case timing == Spring && b.cal.north(b.asOf).Month() > 2: // by then the ground is near
		return beforePlanting
	}
	return beforeWinter
}

// state gives the bed its actions and its one line.
func (b *bedWork) state(out *BedReview, season int) {
	act := func(a Action) { out.Actions = append(out.Actions, a) }
	var last *Level
	for i := range out.Levels {
		if l := &out.Levels[i]; l.Top() && l.Timing != MidSeason && (last == nil || l.Date > last.Date) {
			last = l
		}
	}
	inAutumn := b.cal.north(b.asOf) >= dataset.DateOf(season, autumnStarts.m, autumnStarts.d)
	switch {
	case last == nil:
		act(Action{State: TestAgain, Why: "no soil test by this day"})
	case b.asOf-last.Date > oldTest:
		act(Action{State: TestAgain, Why: fmt.Sprintf("the last test is of %s, over 18 months old", last.when())})
	}
	if last != nil {
		out.Judged = &last.Date
		out.LabPending = inAutumn && !hasTest(out.Levels, season, Autumn)
	}
	now := b.momentOf()
	var j judgement
	if x := out.Lead; x != nil {
		a := Action{State: TestAgain, Analyte: "Pb", Why: x.Text, Doubts: x.Doubts}
		if x.Stop {
			a.State = DoNow
		}
		act(a)
	}
	for _, a := range unit.Analytes() {
		day := newestDay(out.Levels, a.ID)
		if len(day) == 0 || !judged(a.ID) && b.targetFor(day[0]) == nil {
			continue
		}
		l := day[0]
		switch {
		case b.asOf-l.Date > oldTest:
			j.old = append(j.old, fmt.Sprintf("%s (%s)", a.ID, l.when()))
		case l.Suspect:
			// What is doubted judges nothing; a newer sample ends the asking.
			if l.Date == last.Date {
				j.suspect = l
			}
		default:
			b.judge(out, b.oneLayer(day), now, &j, act)
		}
	}
	if last != nil && b.asOf-last.Date <= oldTest && j.suspect == nil && len(out.Actions) == 0 && j.nothing() && len(j.unnamed)+len(j.old) > 0 {
		act(Action{State: TestAgain, Why: "nothing in the newest tests can be judged"})
	}
	if l := j.suspect; l != nil {
		act(Action{State: TestAgain, Doubts: l.Doubts,
			Why: fmt.Sprintf("the sample of %s does not look like the soil of the test before it, so nothing is judged from it: take 15 or more cores, same spots, same depth, same lab", l.when())})
	}
	act(Action{State: Leave, Why: j.String()})
	if t := b.labSays(out, last); t != "" {
		act(Action{State: Leave, Why: t})
	}
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

// judgement gathers the analytes that need no action, by the reason.
type judgement struct {
	fine, edge, above, theirs, unclear, unnamed, old []string
	none                                             []Level // no band by their method
	suspect                                          *Level
}

// nothing reports whether no level could be held against a band.
func (j *judgement) nothing() bool { return len(j.fine)+len(j.edge)+len(j.above)+len(j.theirs) == 0 }

func (j *judgement) String() string {
	var rest []string
	add := func(list []string, one, more string) {
		if len(list) == 1 {
			more = one
		}
		if len(list) > 0 {
			rest = append(rest, strings.Join(list, ", ")+more)
		}
	}
	add(j.fine, " in its band", " in their bands")
	add(j.theirs, ": inside your own band (no research behind it)", ": inside your own bands (no research behind them)")
	add(j.edge, " at the top of the band or above", " at the top of the band or above")
	if i := slices.Index(j.above, "P"); i >= 0 {
		j.above = slices.Delete(j.above, i, i+1)
		rest = append(rest, "P above: none needed, and compost and manure bring it too (local rules may limit it)")
	}
	add(j.above, " above (no evidence that more helps)", " above (no evidence that more helps)")
	add(j.unclear, " cannot be told from its band: the lab's limit is in the way", " cannot be told from their bands: the lab's limit is in the way")
	if len(j.none) > 0 {
		// Once for each method.
		var methods []string
		of := map[string][]string{}
		for _, l := range j.none {
			if of[l.Method] == nil {
				methods = append(methods, l.Method)
			}
			of[l.Method] = append(of[l.Method], l.Analyte)
		}
		for i, m := range methods {
			methods[i] = fmt.Sprintf("%s (%s)", m, strings.Join(of[m], ", "))
		}
		rest = append(rest, "not judged, no band by "+strings.Join(methods, ", "))
	}
	if len(j.unnamed) > 0 {
		rest = append(rest, "not judged, no method on the report: "+strings.Join(j.unnamed, ", "))
	}
	if len(j.old) > 0 {
		rest = append(rest, "not judged, tests over 18 months old: "+strings.Join(j.old, ", "))
	}
	return strings.Join(rest, "; ")
}

// named reports whether a level says all that is needed to hold it against others.
func (l *Level) named() bool {
	a, ok := unit.ByID(l.Analyte)
	return l.Method != "" || ok && a.Plain
}

// newestDay returns the levels of an analyte in the worked layer from the newest
// day that has one by a named method, or else from the newest day.
func newestDay(levels []Level, analyte string) (day []*Level) {
	for i := range levels {
		l := &levels[i]
		if l.Analyte != analyte || !l.Top() || l.Timing == MidSeason {
			continue
		}
		if len(day) > 0 {
			was := day[0]
			switch {
			case was.named() && !l.named(), was.named() == l.named() && l.Date < was.Date:
				continue
			case l.named() && !was.named(), l.Date > was.Date:
				day = day[:0]
			}
		}
		day = append(day, l)
	}
	return day
}

// newest returns the newest level by a named method; nil: there is none.
func newest(levels []Level, analyte string) *Level {
	if day := newestDay(levels, analyte); len(day) > 0 && day[0].named() {
		return day[0]
	}
	return nil
}

// oneLayer keeps the levels of the bed's usual depth, or else of the shallowest.
func (b *bedWork) oneLayer(day []*Level) []*Level {
	usual := -1
	if d := b.descriptionAt(day[0].Date); d != nil {
		usual = depthKey(d.DepthTo)
	}
	want := depthKey(day[0].DepthTo)
	for _, l := range day {
		if k := depthKey(l.DepthTo); k == usual {
			want = k
			break
		} else if k < want {
			want = k
		}
	}
	return slices.DeleteFunc(slices.Clone(day), func(l *Level) bool { return depthKey(l.DepthTo) != want })
}

// judge holds the levels of one analyte and day against their bands. Where two
// of them, by two labs or methods, fall on either side, only a new test tells.
func (b *bedWork) judge(out *BedReview, day []*Level, now moment, j *judgement, act func(Action)) {
	var l *Level
	short := 0
	var shown []string
	for _, x := range day {
		if t := b.targetFor(x); t != nil {
			if l == nil {
				l = x
			}
			if x.hidden(t) {
				continue // it disagrees with nothing
			}
			if x.where(t) == "below" {
				short++
			}
			how := x.Method
			if x.Lab != "" {
				how += ", " + x.Lab
			}
			shown = append(shown, fmt.Sprintf("%s (%s)", x.show(b.us), how))
		}
	}
	if l != nil && short > 0 && short < len(shown) {
		act(Action{State: TestAgain, Analyte: l.Analyte, Why: fmt.Sprintf("the tests of %s disagree on %s: %s", l.when(), l.Analyte, strings.Join(shown, ", "))})
		return
	}
	if l == nil {
		l = day[0]
	}
	if limit := saltLimit(l.Method); l.Analyte == "EC" && limit > 0 && (l.Qualifier == "" && l.Estimate.Value < limit || l.Qualifier == "<" && l.Estimate.Value <= limit) {
		b.standingOf(out, l, "inside", fmt.Sprintf("EC %s: below %v, as it should be by this method", l.show(b.us), limit))
		j.fine = append(j.fine, l.Analyte)
		return
	}
	if b.salts(l, act) {
		b.standingOf(out, l, "above", fmt.Sprintf("EC %s: usual below %v by this method", l.show(b.us), saltLimit(l.Method)))
		return
	}
	b.standingOf(out, l, "", "")
	own, research := b.bandsFor(l)
	t := cmp.Or(own, research)
	if t == nil {
		switch {
		case !l.named():
			j.unnamed = append(j.unnamed, l.Analyte)
		case l.Analyte == "Mn" && b.manganese(l, out, j, act):
		default:
			j.none = append(j.none, *l)
		}
		return
	}
	if l.hidden(t) {
		j.unclear = append(j.unclear, l.Analyte+" "+l.Text())
		return
	}
	low, high := l.outside(*t)
	name := fmt.Sprintf("%s %s", l.Analyte, l.show(b.us))
	enough := high
	if own != nil {
		enough = 0
		if research != nil {
			_, enough = l.outside(*research)
		}
		if low < doubtful && high < doubtful {
			j.theirs = append(j.theirs, fmt.Sprintf("%s %s", l.Analyte, own))
		}
	}
	switch {
	case low >= doubtful:
		act(b.short(l, *t, low, name, wanted(l, own, research), now, newest(out.Levels, "CEC")))
	case high >= sure && l.Analyte == "pH":
		act(Action{State: Leave, Analyte: l.Analyte, Why: name + " is above " + wanted(l, own, research) + ": no lime", POutside: high, Source: t.Source, Doubts: l.Doubts})
	case enough >= sure, own != nil && research == nil && high >= sure:
		j.above = append(j.above, l.Analyte)
	case high >= doubtful:
		j.edge = append(j.edge, l.Analyte)
	case own == nil:
		j.fine = append(j.fine, l.Analyte)
	}
}

// wanted says a band; the grower's own is marked as theirs, beside research.
func wanted(l *Level, own, research *Target) string {
	if own == nil {
		return research.String()
	}
	t := own.String() + " (your own band, no research behind it"
	if research != nil {
		is := "is " + l.where(research)
		if l.hidden(research) {
			is = untold
		}
		t += fmt.Sprintf("; this level %s the research band, %s", is, research)
	}
	return t + ")"
}

// judged says whether a reader expects a word on the analyte; parts of the
// exchange complex and the like are read with others.
func judged(analyte string) bool {
	a, ok := unit.ByID(analyte)
	return ok && !a.Plain && !slices.Contains([]string{"buffer pH", "Ca", "CEC", "OC", "acidity", "total C", "total N", "LBC"}, analyte)
}

// salts acts on a salty soil, and reports whether it did.
func (b *bedWork) salts(l *Level, act func(Action)) bool {
	most := saltLimit(l.Method)
	if l.Analyte != "EC" || l.Qualifier == "<" || most == 0 || l.Estimate.Value < most {
		return false
	}
	act(Action{State: DoNow, Analyte: "EC", Doubts: l.Doubts,
		Why: fmt.Sprintf("salts: EC %s, usual below %v by this method: no more feed, compost or manure before you have asked your lab", l.show(b.us), most)})
	return true
}

// labSays gives the lab's own newest advice, if it is as new as the test judged.
func (b *bedWork) labSays(out *BedReview, last *Level) string {
	if len(out.Advice) == 0 || last == nil {
		return ""
	}
	newest := out.Advice[len(out.Advice)-1]
	if newest.Date < last.Date {
		return ""
	}
	var lines []string
	for _, a := range out.Advice {
		if a.Date == newest.Date {
			lines = append(lines, a.String())
		}
	}
	return fmt.Sprintf("your lab says (%s): %s", newest.Date, strings.Join(lines, ", "))
}

// String gives the advice as printed: lime 65 lb/1000 sq ft.
func (a Advice) String() string {
	t := a.Item
	if a.Amount != nil {
		t += " " + strconv.FormatFloat(*a.Amount, 'f', -1, 64) + " " + a.Unit
	}
	if a.Text != "" {
		t += " (" + a.Text + ")"
	}
	return t
}

// urgency orders actions: what is sure comes before what needs another look.
func urgency(state string) int {
	return slices.Index([]string{DoNow, TestAgain, WaitForSpring, Leave}, state)
}

func hasTest(levels []Level, season int, timing string) bool {
	return slices.ContainsFunc(levels, func(l Level) bool { return l.Season == season && l.Timing == timing && l.Top() })
}

// spreadSince returns what was spread after the test that acts on its analyte.
func (b *bedWork) spreadSince(l *Level) string {
	var list []string
	for i := range b.history.Amendments {
		a := &b.history.Amendments[i]
		if before(a, l) || a.Date > b.asOf {
			continue
		}
		feeds := b.feeds(a.Grower, a.Material)
		if !slices.Contains(feeds, l.Analyte) && !(feeds == nil && l.Analyte == "pH" && limes(a.Material)) {
			continue
		}
		t := a.Material
		if a.ReportedAmount != nil {
			t += fmt.Sprintf(" %s %s", strconv.FormatFloat(*a.ReportedAmount, 'f', -1, 64), a.ReportedUnit)
		}
		list = append(list, fmt.Sprintf("%s on %s", t, whenText(a.Date, a.DateBasis, b.cal)))
	}
	return strings.Join(list, ", ")
}

// short is the action for a level that is, or may be, below its band.
func (b *bedWork) short(l *Level, t Target, p float64, name, band string, now moment, cec *Level) Action {
	a := Action{Analyte: l.Analyte, POutside: p, Source: t.Source, Doubts: l.Doubts}
	what := fmt.Sprintf("%s (90 %% range %s-%s), wanted %s", name, Round(l.Analyte, l.Estimate.Low), Round(l.Analyte, l.Estimate.High), band)
	moves := !slow(l.Analyte, cec)
	careful := ""
	if l.Analyte == "B" {
		careful = ", sparingly (too much harms)"
	}
	since := b.spreadSince(l)
	switch {
	case since != "":
		a.State, a.Why = Leave, what+", but spread since that test: "+since+": leave it, and test before you add more"
	case undosed(l.Analyte):
		a.State, a.Why = Leave, what+": nothing is spread for it by itself; ask your lab what it follows from"
	case moves && now != beforePlanting:
		a.State, a.Why = WaitForSpring, what+": it moves with winter water, so dose it in spring"+careful
	case p < sure:
		a.State, a.Why = TestAgain, what+fmt.Sprintf(": too close to call (%.0f in 10 that it is low)", math.Round(10*p))
	case now == cropStanding:
		a.State, a.Why = Leave, what+": not with the crop on; after harvest, at the rate your lab gives"
	case organic(l.Analyte) && now == beforePlanting:
		a.State, a.Why = Leave, what+": it builds over years: compost in autumn, after the crop; its P counts too"
	case organic(l.Analyte):
		a.State, a.Why = DoNow, what+": it builds over years: compost now, in autumn, by its analysis; its P counts too"
	case moves:
		a.State, a.Why = DoNow, what+": it moves with water, so it is due now and not in autumn"+careful
	case l.Analyte == "pH":
		if l.Estimate.Value < cucurbitFloor {
			what += fmt.Sprintf(", cucurbits at least %v", cucurbitFloor)
		}
		a.State, a.Why = DoNow, what+": lime, which works slowly, at the rate your lab gives"
	default:
		a.State, a.Why = DoNow, what+": it stays, so it can go on now, at the rate your lab gives"
	}
	return a
}

// cucurbitFloor is the lowest pH at which cucurbits are grown without harm.
// Source: Oregon State University Extension, EM 9057, Applying Lime to Raise
// Soil pH for Crop Production, table 1 (rev. 2021).
const cucurbitFloor = 5.8

// bandsFor returns the grower's own band that may judge a level and the research
// band beside it, nil where there is none.
func (b *bedWork) bandsFor(l *Level) (own, research *Target) {
	for i := range b.targets {
		switch t := &b.targets[i]; {
		case !t.serves(l):
		case t.Source == ownSource && own == nil:
			own = t
		case t.Source != ownSource && research == nil:
			research = t
		}
	}
	return own, research
}

// targetFor returns the band that judges a level; the grower's own wins.
func (b *bedWork) targetFor(l *Level) *Target {
	own, research := b.bandsFor(l)
	return cmp.Or(own, research)
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
	s := l.Text()
	switch {
	case l.Estimate.Unit == "pH":
	case us && l.Estimate.Unit == "mg/kg":
		s += " ppm"
	default:
		s += " " + l.Estimate.Unit
	}
	return s
}

// Text prints the level's figure; a low limit keeps two digits, for <0.4 must
// not read <0.
func (l *Level) Text() string {
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
	scale := math.Pow(10, float64(d))
	s := strconv.FormatFloat(math.Round(v*scale)/scale, 'f', d, 64) // half away from zero, as tables round
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-") // no minus zero
	}
	return s
}
