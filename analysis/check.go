package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"carryover/dataset"
)

// CheckReport lists all doubts of a book, worst first.
type CheckReport struct {
	Format   string       `json:"format"` // carryover.check/1
	Book     string       `json:"book"`
	Invented bool         `json:"invented"`
	AsOf     dataset.Date `json:"as_of"`
	Beds     int          `json:"beds"`
	Tests    int          `json:"test_rows"` // rows of soil tests looked at
	Findings []Finding    `json:"findings"`
	Text     string       `json:"text"` // the whole in one line
}

// Finding is one doubt of a book: what was found, why it matters and what would
// settle it.
type Finding struct {
	Rank     int      `json:"rank"` // 1 is worst
	Severity string   `json:"severity"`
	Code     string   `json:"code"`
	Title    string   `json:"title"`
	Grower   string   `json:"grower,omitempty"`
	Beds     []string `json:"beds,omitempty"`
	Text     string   `json:"text"`
	Why      string   `json:"why"`
	Settle   string   `json:"settle"`
	Rows     []RowRef `json:"rows,omitempty"`
	// Mixing holds the figures where an autumn sample is unlike its spring one.
	Mixing *Mixing `json:"mixing,omitempty"`
}

// Severities, worst first; a finding's rank is its place here.
func severities() []string {
	return []string{"stop", "likely wrong", "misleads", "weak", "would help"}
}

// kind of doubt: how bad, its title, why it matters, what would settle it.
type kind struct {
	code               string
	rank               int
	title, why, settle string
}

// kinds lists every code, worst first; findings of one rank keep this order.
func kinds() []kind {
	return []kind{
		{"lead stop", 1, "Lead", "dust from the soil, more than the fruit, brings lead into people, children above all", "your health department and extension, before you work the bed"},
		{"lead", 2, "Lead by an extract", "an extract measures a part of all lead, so the bed may hold much more", "a test for total lead"},
		{"slip", 2, "Perhaps a slip of unit, form or decimal", "a figure off by a factor carries into every change, amount and band that uses it", "the lab's sheet: compare value, unit and form with the row; a correction replaces it (nitrate moves so far by itself that its slips are seldom found: look at NO3 and NO3-N on the sheet)"},
		{"sums", 2, "Reported shares or CEC do not add up", "one of the figures is not what the sheet says it is: a unit, a form, or another method", "the lab's sheet, or the lab: which figure is right, and how was CEC measured"},
		{"not the same soil", 2, "Autumn's sample is unlike spring's", "nothing can be told from the difference of two soils", "another sample: 15 or more cores, same spots, same depth, same lab; and once, cores from below the worked layer or from soil nobody worked"},
		{"bulk density", 2, "Bulk density out of the ordinary", "every amount in kg or lb is as wrong as the density", "a core of known volume, dried and weighed"},
		{"organic soil", 3, "More an organic soil than a mineral one", "bands and rates were made for mineral soils and may not hold", "your lab's bands for organic soils"},
		{"no method", 3, "No method on the report", "two methods read the same soil up to tenfold apart, so nothing without one is compared or judged", "the lab: which extractant, which pH, which buffer"},
		{"break", 3, "A series breaks: method, lab, depth or ground", "no difference can be taken across it: drawdown and winter change stop there", "keep lab, method and depth; where both are known, one sample sent to both labs"},
		{"same day", 3, "Spread and sampled on one day", "what was just spread reads in a sample as the soil's own", "which came first: write before test or after test in the column same day"},
		{"fresh lime", 3, "Lime or gypsum shortly before a test", "what is not yet dissolved in the soil dissolves in the lab's acid: Ca, Mg, CEC and saturation read high", "a test a year after liming; pH meanwhile tells more"},
		{"spread between", 3, "Lime or sulfur between two tests", "the change is what was spread and what the soil did, together", "the account of both, or tests before and well after"},
		{"bed widened", 3, "The bed grew", "new ground is mixed into later samples", "a sample of the old part and one of the new"},
		{"compost", 3, "A material's analysis contradicts itself", "what it brings is counted from these figures", "the lab report: as-is or dry, and which figure is right"},
		{"material", 3, "No analysis of a material", "what was spread is shown, but what it brings is not known", "its label or lab report, in the sheet materials"},
		{"density", 4, "Bulk density is assumed", "amounts may be a fifth off or more", "a core of known volume, dried and weighed"},
		{"no depth", 4, "No depth", "a concentration without a depth is no amount", "the depth that was sampled"},
		{"depth", 4, "Depth taken from the bed", "if the cores went deeper or less deep, levels and amounts differ", "the depth that was sampled"},
		{"few cores", 4, "Few cores", "a bed differs from spot to spot more than a lab from day to day", "15 cores or more to a sample; between 10 and 15 most is gained"},
		{"no cores", 4, "Cores not given", "ten are assumed; with fewer the ranges are too narrow", "how many cores went into the sample"},
		{"form", 4, "Perhaps two forms mixed up", "a form such as K2O for K is too near what the soil itself does to be told from figures", "the form on the lab's sheet"},
		{"samples", 4, "Several samples of one day", "their mean is used", "nothing, if they are of the whole bed: as duplicates they sharpen the ranges"},
		{"below limit", 4, "Below the lab's limit", "the true figure lies anywhere between 0 and the limit", "nothing, or a lab with a lower limit"},
		{"above limit", 4, "Above the lab's limit", "nothing can be differenced from it", "a lab that dilutes and measures"},
		{"convention", 4, "Turned back from lb/acre", "the lab's convention for the weight of soil is undone, not the soil weighed", "the lab's figure in ppm"},
		{"date", 4, "Day not known", "season and timing rest on it", "the day of sampling, from the lab's sheet"},
		{"several tests", 4, "Several tests in one season's window", "which one is used changes the drawdown", "nothing, if the choice is right; else the timing of each"},
		{"weight", 4, "Weight not from a scale", "taped and guessed weights may be a tenth off and more", "the scale's slip"},
		{"old", 5, "Old tests", "what was spread and taken since is not in them", "a test this season"},
		{"once a year", 5, "Tested once a year", "what the crop took and what the winter did cannot be told apart", "a spring and an autumn test in one season"},
		{"no test", 5, "Seasons without a test", "the line has a gap there", "nothing now; both tests from here on"},
		{"native", 5, "No native sample", "how far lime and compost have moved the bed, and whether an odd sample is another soil, cannot be told", "one sample, once: soil nobody worked beside the bed, or below the worked layer, same lab"},
	}
}

// Check looks for everything in a book that may mislead. It needs no bed or test
// to be there: an empty book has no finding. Nitrate varies too much for most slips
// of form (4.4 times) to be found in it: that none is told does not mean there is
// none.
func Check(rec *dataset.Records, o Options) *CheckReport {
	last, ok := lastRecord(rec)
	for i := range rec.Beds {
		if !ok { // beds alone
			last = max(last, rec.Beds[i].From)
		}
	}
	if o.AsOf != nil {
		last = *o.AsOf
	}
	c := &CheckReport{Format: "carryover.check/1", Book: o.Book, Invented: o.Invented, AsOf: last, Findings: []Finding{}}
	work, _ := worker(rec, o, last)
	season := Calendar{South: o.South}.SeasonOf(last)
	var growers []string
	of := map[string]*doubts{}
	at := func(grower string) *doubts {
		if of[grower] == nil {
			of[grower] = &doubts{}
			growers = append(growers, grower)
		}
		return of[grower]
	}
	for h := range rec.Histories(o.Select) {
		b := work(h, at(h.Grower))
		b.checking = true
		x := b.review(season)
		b.check(&x)
		c.Beds++
		for i := range h.Tests {
			if h.Tests[i].Date <= last {
				c.Tests++
			}
		}
	}
	if len(o.Select.Beds) == 0 {
		checkMaterials(rec, last, at)
	}
	for _, g := range growers {
		for i := range of[g].list {
			c.Findings = append(c.Findings, finding(g, &of[g].list[i]))
		}
	}
	if len(growers) < 2 {
		for i := range c.Findings {
			c.Findings[i].Grower = ""
		}
	}
	order := map[string]int{}
	for i, s := range kinds() {
		order[s.code] = i
	}
	slices.SortStableFunc(c.Findings, func(x, y Finding) int {
		return cmp.Or(cmp.Compare(x.Rank, y.Rank), cmp.Compare(order[x.Code], order[y.Code]), natural(x.Grower, y.Grower), natural(strings.Join(x.Beds, ";"), strings.Join(y.Beds, ";")))
	})
	c.Text = c.summary()
	return c
}

func finding(grower string, d *Doubt) Finding {
	s := kind{code: d.Code, rank: len(severities()), title: d.Code}
	for _, x := range kinds() {
		if x.code == d.Code {
			s = x
		}
	}
	f := Finding{Rank: s.rank, Severity: severities()[s.rank-1], Code: d.Code, Title: s.title, Grower: grower, Beds: slices.Clone(d.Beds), Text: d.Text, Why: s.why, Settle: s.settle, Mixing: d.mixing}
	if d.mixing != nil {
		f.Text += "; " + d.mixing.Text
	}
	slices.SortStableFunc(f.Beds, natural)
	f.Rows = slices.Clone(d.rows)
	slices.SortFunc(f.Rows, func(x, y RowRef) int {
		return cmp.Or(cmp.Compare(x.Batch, y.Batch), cmp.Compare(x.File, y.File), cmp.Compare(x.Line, y.Line))
	})
	f.Rows = slices.Compact(f.Rows)
	return f
}

// summary counts the findings by severity.
func (c *CheckReport) summary() string {
	if c.Tests == 0 && len(c.Findings) == 0 {
		return "nothing to check: the book holds no soil test by this day"
	}
	n := make([]int, len(severities()))
	for i := range c.Findings {
		n[c.Findings[i].Rank-1]++
	}
	var parts []string
	for i, s := range severities() {
		if n[i] > 0 {
			if s == "misleads" {
				s = "misleading"
			}
			parts = append(parts, fmt.Sprintf("%d %s", n[i], s))
		}
	}
	if parts == nil {
		return fmt.Sprintf("no doubts in %s of soil tests", counted(c.Tests, "row"))
	}
	return fmt.Sprintf("%s in %s of soil tests: %s", counted(len(c.Findings), "doubt"), counted(c.Tests, "row"), strings.Join(parts, ", "))
}

// counted says how many of a thing there are: 1 row, 2 rows.
func counted(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return fmt.Sprintf("%d %s", n, what)
}

// String says a finding in plain sentences, without its rows.
func (f Finding) String() string {
	who := ""
	switch {
	case len(f.Beds) > 6:
		who = fmt.Sprintf(" (%d beds)", len(f.Beds))
	case len(f.Beds) > 0:
		who = " (" + strings.Join(f.Beds, ", ") + ")"
	}
	return fmt.Sprintf("%s%s: %s. Why it matters: %s. What would settle it: %s.", f.Title, who, f.Text, f.Why, f.Settle)
}

// Where names the rows by batch and file, lines in runs, at most so many files.
func (f Finding) Where(most int) string {
	var parts []string
	files := 0
	for i := 0; i < len(f.Rows); {
		r, end := f.Rows[i], i
		var runs []string
		for end < len(f.Rows) && f.Rows[end].Batch == r.Batch && f.Rows[end].File == r.File {
			from := f.Rows[end].Line
			for end+1 < len(f.Rows) && f.Rows[end+1].Batch == r.Batch && f.Rows[end+1].File == r.File && f.Rows[end+1].Line == f.Rows[end].Line+1 {
				end++
			}
			run := fmt.Sprint(from)
			if to := f.Rows[end].Line; to > from {
				run = fmt.Sprintf("%d-%d", from, to)
			}
			runs = append(runs, run)
			end++
		}
		if files++; files <= most {
			parts = append(parts, fmt.Sprintf("batch %d, %s, line %s", r.Batch, r.File, strings.Join(runs, ", ")))
		}
		i = end
	}
	if files > most {
		parts = append(parts, fmt.Sprintf("and %d more files", files-most))
	}
	return strings.Join(parts, "; ")
}

// fewCores is the number of cores below which a sample is doubted: 8 to 10 serve
// where a bed is even, 20 to 30 where it is not.
//
// Source: Grains Research and Development Corporation, soil sampling notes.
const fewCores = 8

// Soils that are gardened lie between; common practice, no source.
const (
	leastPH = 4.0
	mostPH  = 9.0
)

// check notes what a review does not tell.
func (b *bedWork) check(x *BedReview) {
	if x.Lead != nil {
		code := "lead"
		if x.Lead.Stop {
			code = "lead stop"
		}
		b.note(code, strings.TrimPrefix(x.Lead.Text, "LEAD: "), x.Lead.Row)
	}
	reports := b.reports(x.Levels)
	for i := range reports {
		b.checkSums(&reports[i])
	}
	for i := range x.Levels {
		if l := &x.Levels[i]; l.Analyte == "pH" && (l.Estimate.Value < leastPH || l.Estimate.Value > mostPH) {
			b.note("slip", fmt.Sprintf("pH %s of %s is outside %v to %v, where bed soils lie: a slip?", l.Text(), l.when(), leastPH, mostPH), l.rows()...)
		}
	}
	b.checkCores(reports)
	b.checkDensity(x.Levels)
	b.checkAge(x)
	b.checkNative(x.Levels)
}

// checkCores looks at how many cores the samples hold.
func (b *bedWork) checkCores(reports []sampled) {
	var few, none []string
	var fewRows, noneRows []RowRef
	least := fewCores
	for i := range reports {
		l := reports[i].levels[0]
		var rows []RowRef
		for _, x := range reports[i].levels {
			rows = append(rows, x.rows()...)
		}
		switch {
		case l.Cores == nil:
			none, noneRows = append(none, l.when()), append(noneRows, rows...)
		case int(*l.Cores) < fewCores*len(l.Reported):
			least = min(least, max(1, int(*l.Cores)/len(l.Reported)))
			few, fewRows = append(few, fmt.Sprintf("%d of %s", *l.Cores, l.when())), append(fewRows, rows...)
		}
	}
	if few != nil {
		b.note("few cores", fmt.Sprintf("cores in the sample: %s (two tests of %d cores show a fall in P of %.0f %%, of 15 one of %.0f %%)", listDays(few), least, fallShown("P", least), fallShown("P", 15)), fewRows...)
	}
	if none != nil {
		b.note("no cores", fmt.Sprintf("of %d of %d samples: %s", len(none), len(reports), listDays(none)), noneRows...)
	}
}

// fallShown is the fall, %, that a spring and an autumn test of so many cores show.
func fallShown(analyte string, cores int) float64 {
	e, _ := errorOf(analyte)
	return -100 * math.Expm1(-z90*math.Sqrt2*e.sd(cores, 1))
}

// Bounds of a plausible bulk density, g/cm3: organic soils hold 0.1-0.6, mineral
// ones 0.9-1.8, and a bed tilled with compost lies between. leastMineral is where
// laboratories draw the line between the two.
//
// Source: Michigan State University Extension, E-550B (leastMineral, and 20 % of
// organic matter); soil science course notes (ranges).
const (
	leastDensity = 0.5
	mostDensity  = 1.8
	leastMineral = 0.80
	mostMineral  = 20.0 // % of organic matter
)

// checkDensity looks at bulk densities by themselves and beside organic matter.
func (b *bedWork) checkDensity(levels []Level) {
	see := func(v float64, source, when string, on dataset.Date, rows ...RowRef) {
		switch om := b.omNear(levels, on); {
		case v < leastDensity || v > mostDensity:
			b.note("bulk density", fmt.Sprintf("%.2f g/cm3 (%s, %s): expected %.1f to %.1f", v, source, when, leastDensity, mostDensity), rows...)
		case om > 0:
			low, high := densityFromOM(om)
			if w := 1 + 2*estimatedDensity; v < low/w || v > high*w {
				b.note("bulk density", fmt.Sprintf("%.2f g/cm3 (%s, %s) beside %.1f %% of organic matter, with which soils weigh about %.2f to %.2f (from memory)", v, source, when, om, low, high), rows...)
			}
		}
		if v < leastMineral && v >= leastDensity {
			b.note("organic soil", fmt.Sprintf("bulk density %.2f g/cm3 (%s) is below %.1f", v, when, leastMineral), rows...)
		}
	}
	for i := range b.history.Descriptions {
		if d := &b.history.Descriptions[i]; d.BulkDensity != nil && d.From <= b.asOf {
			see(*d.BulkDensity, cmp.Or(d.DensitySource, "source not stated"), d.From.String(), d.From, refOf(d.Source))
		}
	}
	for i := range levels {
		switch l := &levels[i]; {
		case !l.Top() || l.Qualifier != "":
		case l.Analyte == "bulk density":
			see(l.Estimate.Value, "tested", l.when(), l.Date, l.rows()...)
		case l.Analyte == "OM" && l.Estimate.Value > mostMineral:
			b.note("organic soil", fmt.Sprintf("organic matter %s %% of %s is above %.0f", l.Text(), l.when(), mostMineral), l.rows()...)
		}
	}
}

// checkAge looks at how old the newest tests are.
func (b *bedWork) checkAge(x *BedReview) {
	months := func(d dataset.Date) int { return int(math.Round(float64(b.asOf-d) / 30.44)) }
	if x.Judged == nil {
		b.note("old", "no soil test by "+b.asOf.String())
		return
	}
	if b.asOf-*x.Judged > oldTest {
		b.note("old", fmt.Sprintf("the newest test is of %s, %d months before %s", x.Judged, months(*x.Judged), b.asOf))
		return
	}
	var old []string
	var rows []RowRef
	for i := range x.Levels {
		l := &x.Levels[i]
		if i+1 < len(x.Levels) && x.Levels[i+1].Analyte == l.Analyte || !judged(l.Analyte) {
			continue // not the last of its analyte
		}
		if day := newestDay(x.Levels, l.Analyte); len(day) > 0 && b.asOf-day[0].Date > oldTest {
			old, rows = append(old, fmt.Sprintf("%s (%s)", l.Analyte, day[0].when())), append(rows, day[0].rows()...)
		}
	}
	if old != nil {
		b.note("old", "not tested again for over 18 months: "+strings.Join(old, ", "), rows...)
	}
}

// checkNative asks for the one sample that says what the soil was.
func (b *bedWork) checkNative(levels []Level) {
	d := b.descriptionAt(b.asOf)
	missing := []string{}
	below := func(analyte string) bool {
		return slices.ContainsFunc(levels, func(l Level) bool { return l.Analyte == analyte && !l.Top() })
	}
	if (d == nil || d.NativePH == nil) && !below("pH") {
		missing = append(missing, "pH")
	}
	if (d == nil || d.NativeOM == nil) && !below("OM") {
		missing = append(missing, "organic matter")
	}
	if len(missing) > 0 {
		b.note("native", "neither the bed's native "+strings.Join(missing, " and ")+" nor a sample from below the worked layer is in the book")
	}
}
