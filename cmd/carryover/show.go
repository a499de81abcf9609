package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"carryover/analysis"
	"carryover/dataset"
	"carryover/dataset/unit"
)

// page lays text out to a width; the first write error sticks.
type page struct {
	w     io.Writer
	width int
	err   error
}

func (p *page) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintln(p.w, strings.TrimRight(fmt.Sprintf(format, args...), " "))
	}
}

// para prints text wrapped, the first line behind head, the others indented to
// the same column.
func (p *page) para(head, text string) {
	indent := utf8.RuneCountInString(head)
	for i, l := range wrap(text, p.width-indent) {
		if i > 0 {
			head = strings.Repeat(" ", indent)
		}
		p.line("%s%s", head, l)
	}
}

// wrap breaks text at spaces into lines of at most n runes where words allow.
func wrap(text string, n int) (lines []string) {
	line, have := "", 0
	for _, w := range strings.Fields(text) {
		l := utf8.RuneCountInString(w)
		if have > 0 && have+1+l > n {
			lines = append(lines, line)
			line, have = "", 0
		}
		if have > 0 {
			line, have = line+" ", have+1
		}
		line, have = line+w, have+l
	}
	return append(lines, line)
}

// pad fills text to n runes; a longer text is cut with a tilde.
func pad(text string, n int) string {
	c := utf8.RuneCountInString(text)
	if c > n {
		return string([]rune(text)[:n-1]) + "~"
	}
	return text + strings.Repeat(" ", n-c)
}

func padLeft(text string, n int) string {
	return strings.Repeat(" ", max(0, n-utf8.RuneCountInString(text))) + text
}

// fullBeds is how many beds a review shows in full without being asked.
const fullBeds = 8

// showReview prints the review: one line a bed, then bed by bed, then doubts.
func showReview(w io.Writer, r *analysis.Review, s shown, width int, asked bool) error {
	p := &page{w: w, width: width}
	p.para("", fmt.Sprintf("YEARLY REVIEW, season %d: %s, as of %s", r.Season, plain(r.Book), r.AsOf))
	if r.Invented {
		p.para("", "Invented demo data: no such patch, no such grower, no such lab.")
	}
	p.line("")
	name := 4
	for i := range r.Beds {
		name = max(name, min(18, utf8.RuneCountInString(bedName(r, &r.Beds[i]))))
	}
	for i := range r.Beds {
		b := &r.Beds[i]
		why := b.Why
		if b.LabPending {
			why = fmt.Sprintf("(lab pending; by the test of %s) %s", b.Judged, why)
		}
		p.para(fmt.Sprintf("%s  %s", pad(bedName(r, b), name), pad(b.State, len(analysis.WaitForSpring)+2)), plain(why)+".")
	}
	full := asked || len(r.Beds) <= fullBeds
	if full {
		for i := range r.Beds {
			showBed(p, r, &r.Beds[i], s)
		}
		showDoubts(p, r)
	} else {
		p.line("")
		p.para("", fmt.Sprintf("%d beds, %d doubts. One bed in full: carryover review --bed %q. All as data: --format json.", len(r.Beds), len(r.Doubts), r.Beds[0].Bed))
	}
	p.line("")
	if full {
		p.para("", "Ranges are meant to hold the truth in 9 of 10 cases. They come from default test errors (between cores, lab, report, season; from memory)"+ownErrors(r)+". Marks: "+within+" smaller than two such tests can show; ? no method on the report, or perhaps not the same soil; < rests on a result below the lab's limit.")
	}
	for _, c := range r.Cautions {
		p.para("", c)
	}
	if full && len(r.Beds) > 1 { // the top has long scrolled away
		var states []string
		for i := range r.Beds {
			states = append(states, bedName(r, &r.Beds[i])+": "+r.Beds[i].State)
		}
		p.line("")
		p.para("In short: ", strings.Join(states, "; ")+". Why stands on top.")
	}
	return p.err
}

// ownErrors says what the grower's own duplicates have replaced.
func ownErrors(r *analysis.Review) string {
	var own, waiting []string
	for _, d := range r.Duplicates {
		if d.Used {
			own = append(own, d.Analyte)
		} else {
			waiting = append(waiting, d.Analyte)
		}
	}
	switch {
	case own != nil:
		return "; for " + strings.Join(own, ", ") + " from your own duplicates"
	case waiting != nil:
		return ", not yet from your own duplicates (too few so far)"
	}
	return ", not yet from your own duplicates"
}

// within marks a change that test error alone could make.
const within = "~"

// plain drops control characters, so that no name can drive the terminal.
func plain(s string) string {
	return strings.Map(func(c rune) rune {
		if c < 32 || c >= 0x7f && c < 0xa0 || c >= 0x202a && c <= 0x202e || c >= 0x2066 && c <= 0x2069 || c == 0x200e || c == 0x200f {
			return -1
		}
		return c
	}, s)
}

func bedName(r *analysis.Review, b *analysis.BedReview) string {
	if strings.HasSuffix(r.Grower, " growers") {
		return plain(b.Grower + "/" + b.Bed)
	}
	return plain(b.Bed)
}

func showBed(p *page, r *analysis.Review, b *analysis.BedReview, s shown) {
	p.line("")
	head := strings.ToUpper(bedName(r, b))
	if b.Area != nil {
		head += ", " + s.area(*b.Area)
	}
	if len(b.Was) > 0 {
		head += ", before: " + plain(strings.Join(b.Was, ", "))
	}
	p.line("%s", strings.Repeat("-", p.width))
	p.para("", head)
	if len(b.Levels) == 0 {
		p.line("No soil test yet.")
	} else {
		showLevels(p, b, s)
		showChanges(p, r, b, s)
		showSeason(p, b, s)
		showStandings(p, b)
	}
	showInputs(p, b, s)
	if b.Took != "" {
		p.para("", "By published compositions, "+plain(b.Took)+" More: carryover account.")
	}
	showReports(p, b)
}

// showReports prints leaf tests and the lab's own advice, as they were printed.
func showReports(p *page, b *analysis.BedReview) {
	list := func(title string, n int, at func(i int) (head, item string)) {
		var heads []string
		items := map[string][]string{}
		for i := range n {
			h, item := at(i)
			if items[h] == nil {
				heads = append(heads, h)
			}
			items[h] = append(items[h], item)
		}
		if heads != nil {
			p.line("")
			p.line("%s", title)
		}
		for _, h := range heads {
			p.para("  ", plain(h+": "+strings.Join(items[h], "; ")+"."))
		}
	}
	join := func(parts ...string) string {
		return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), ", ")
	}
	list("Leaf tests, of dry matter, as the lab printed them", len(b.Leaf), func(i int) (string, string) {
		l := &b.Leaf[i]
		return join(l.When, l.Lab, l.Part), fmt.Sprintf("%s %s%s %s", l.Analyte, l.Qualifier, strconv.FormatFloat(l.Reported.Value, 'f', -1, 64), l.Reported.Unit)
	})
	list("The labs' own advice, as printed", len(b.Advice), func(i int) (string, string) {
		a := &b.Advice[i]
		item := a.Item
		if a.Amount != nil {
			item += " " + strconv.FormatFloat(*a.Amount, 'f', -1, 64) + " " + a.Unit
		}
		if a.Text != "" {
			item += " (" + a.Text + ")"
		}
		return join(a.Date.String(), a.Lab), item
	})
}

// column is one analyte by one method and unit.
type column struct{ analyte, method, unit string }

// columnsOf lists what the worked layer's levels hold, as tables show it.
func columnsOf(levels []analysis.Level) (out []column) {
	for i := range levels {
		l := &levels[i]
		if c := (column{l.Analyte, l.Method, l.Estimate.Unit}); l.Top() && !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	// A value without a method stands in the column of a method that the analyte
	// has elsewhere, marked.
	out = slices.DeleteFunc(out, func(c column) bool { return c.method == "" && home(out, c) != c })
	slices.SortStableFunc(out, func(x, y column) int { return unit.Rank(x.analyte) - unit.Rank(y.analyte) })
	return out
}

// home returns the column a value is shown in.
func home(cols []column, c column) column {
	if c.method != "" {
		return c
	}
	for _, o := range cols {
		if o.method != "" && o.analyte == c.analyte && o.unit == c.unit {
			return o
		}
	}
	return c
}

// cellWidth holds "1,234~" and one space; a column with a longer cell is wider.
const cellWidth = 7

// blocks prints rows of cells under headings, as many columns side by side as
// fit, each as wide as its longest cell and a space; more columns follow in
// further blocks.
func blocks(p *page, title string, cols []column, s shown, rows []tableRow) {
	label := 6
	for _, r := range rows {
		label = max(label, utf8.RuneCountInString(r.label))
	}
	label = min(label, p.width-2*cellWidth)
	widths := make([]int, len(cols))
	for i := range cols {
		widths[i] = cellWidth
		for _, r := range rows {
			widths[i] = max(widths[i], 1+utf8.RuneCountInString(r.cells[i]))
		}
	}
	p.line("")
	if len(cols) > 0 {
		p.para("", title)
	}
	for start := 0; start < len(cols); {
		end, room := start+1, p.width-label-widths[start]
		for end < len(cols) && widths[end] <= room {
			room -= widths[end]
			end++
		}
		var names, methods, units strings.Builder
		for i := start; i < end; i++ {
			_, u := s.soil(0, cols[i].unit)
			names.WriteString(padLeft(shortName(cols[i].analyte), widths[i]))
			methods.WriteString(padLeft(shortMethod(cols[i]), widths[i]))
			units.WriteString(padLeft(shortUnit(u), widths[i]))
		}
		p.line("%s%s", pad("", label), names.String())
		p.line("%s%s", pad("", label), methods.String())
		if u := units.String(); strings.TrimSpace(u) != "" { // pH has none
			p.line("%s%s", pad("", label), u)
		}
		for _, r := range rows {
			var cells strings.Builder
			some := false
			for i := start; i < end; i++ {
				some = some || r.cells[i] != ""
				cells.WriteString(padLeft(r.cells[i], widths[i]))
			}
			if some {
				p.line("%s%s", pad(r.label, label), cells.String())
			}
		}
		start = end
	}
}

// shortUnit fits a unit into a column: meq for meq/100 g, cmolc for cmolc/kg.
func shortUnit(u string) string {
	if u == "lb/acre" {
		return "lb/ac"
	}
	if utf8.RuneCountInString(u) >= cellWidth {
		u, _, _ = strings.Cut(u, "/")
	}
	return u
}

// shortName fits an analyte into a column.
func shortName(analyte string) string {
	switch analyte {
	case "buffer pH":
		return "buf pH"
	case "bulk density":
		return "dens."
	case "base sat":
		return "bases"
	case "Ca sat", "Mg sat", "Na sat":
		return analyte[:2] + " %"
	case "K sat", "H sat":
		return analyte[:1] + " %"
	}
	if utf8.RuneCountInString(analyte) >= cellWidth {
		return string([]rune(analyte)[:cellWidth-2]) + "."
	}
	return analyte
}

type tableRow struct {
	label string
	cells []string
}

// shortMethod fits a method's name into a column; an unnamed one reads "?".
func shortMethod(c column) string {
	if a, ok := unit.ByID(c.analyte); c.method == "" {
		if ok && a.Plain {
			return ""
		}
		return "?"
	}
	switch c.method {
	case "Mehlich-3":
		return "M3"
	case "Mehlich-3 ICP":
		return "M3-ICP"
	case "Mehlich-3 colorimetric":
		return "M3-col"
	case "Mehlich-1":
		return "M1"
	case "modified Morgan":
		return "mMorg"
	case "ammonium acetate", "ammonium acetate pH 7":
		return "AmAc"
	case "Walkley-Black":
		return "W-B"
	case "combustion":
		return "comb."
	case "hot water":
		return "hot w"
	case "KCl extract":
		return "KCl"
	case "CaSO4 extract":
		return "CaSO4"
	case "sum of cations":
		return "sum"
	case "saturated paste":
		return "paste"
	case "calcium phosphate":
		return "CaPhos"
	case "modified Mehlich buffer":
		return "mMehl"
	case "Mehlich buffer":
		return "Mehl"
	case "Adams-Evans":
		return "A-E"
	}
	m := strings.TrimPrefix(c.method, "water ")
	m = strings.TrimPrefix(strings.TrimPrefix(m, "EC "), "other: ")
	if utf8.RuneCountInString(m) > cellWidth-1 {
		m = string([]rune(m)[:cellWidth-2]) + "."
	}
	return m
}

// refs prints footnote numbers: [2,5].
func refs(ids []int) string {
	if len(ids) == 0 {
		return ""
	}
	var t []string
	for _, id := range ids {
		t = append(t, strconv.Itoa(id))
	}
	return " [" + strings.Join(t, ",") + "]"
}

func showLevels(p *page, b *analysis.BedReview, s shown) {
	cols := columnsOf(b.Levels)
	type rowKey struct {
		season int
		timing string
		date   dataset.Date
		when   string
		lab    string
		depth  string
		ground string
		again  int // a cell that is taken starts another row
	}
	var keys []rowKey
	cells := map[rowKey][]string{}
	ids := map[rowKey][]int{}
	var depths []string
	deeper := 0
	for i := range b.Levels {
		l := &b.Levels[i]
		if !l.Top() {
			deeper++
			continue
		}
		if d := s.depth(l.DepthFrom, l.DepthTo); !slices.Contains(depths, d) {
			depths = append(depths, d)
		}
		k := rowKey{l.Season, l.Timing, l.Date, l.When, l.Lab, s.depth(l.DepthFrom, l.DepthTo), l.Ground, 0}
		c := column{l.Analyte, l.Method, l.Estimate.Unit}
		scaled := *l
		scaled.Estimate.Value, _ = s.soil(l.Estimate.Value, l.Estimate.Unit)
		text := tableNumber(&scaled)
		if a, ok := unit.ByID(l.Analyte); l.Method == "" && ok && !a.Plain {
			text += "?"
		}
		n := slices.Index(cols, home(cols, c))
		for cells[k] != nil && cells[k][n] != "" {
			k.again++
		}
		if cells[k] == nil {
			keys = append(keys, k)
			cells[k] = make([]string, len(cols))
		}
		cells[k][n] = text
		for _, id := range l.Doubts {
			if !slices.Contains(ids[k], id) {
				ids[k] = append(ids[k], id)
			}
		}
	}
	slices.SortFunc(keys, func(x, y rowKey) int {
		return cmp.Or(cmp.Compare(x.date, y.date), strings.Compare(x.ground, y.ground), strings.Compare(x.lab, y.lab), strings.Compare(x.depth, y.depth), cmp.Compare(x.again, y.again))
	})
	// A day with several rows says what tells them apart.
	many := func(k rowKey, other func(rowKey) bool) bool {
		return slices.ContainsFunc(keys, func(o rowKey) bool { return o.date == k.date && o.timing == k.timing && other(o) })
	}
	var rows []tableRow
	for _, k := range keys {
		slices.Sort(ids[k])
		day := k.when // as exactly as it is known
		if rest, ok := strings.CutPrefix(day, strconv.Itoa(k.season)+"-"); ok {
			day = rest
		}
		if strings.HasPrefix(day, k.timing+" ") {
			day = "(no day)"
		}
		if k.ground != "" {
			day += " " + plain(k.ground)
		}
		if many(k, func(o rowKey) bool { return o.depth != k.depth }) {
			day += " " + k.depth
		}
		if many(k, func(o rowKey) bool { return o.lab != k.lab }) && k.lab != "" {
			day += " " + plain(k.lab)
		}
		rows = append(rows, tableRow{fmt.Sprintf("%d %s %s%s", k.season, shortTiming(k.timing), day, refs(ids[k])), cells[k]})
	}
	blocks(p, "Levels, sampled "+strings.Join(depths, "; "), cols, s, rows)
	if deeper > 0 {
		p.line("(%d levels of deeper layers: --format json)", deeper)
	}
}

// shortTiming keeps the labels of tables narrow.
func shortTiming(t string) string {
	if t == analysis.MidSeason {
		return "mid"
	}
	return t
}

// tableNumber is the trade's rounding with thousands commas where they fit.
func tableNumber(l *analysis.Level) string {
	t, v := l.Text(), l.Estimate.Value
	if v >= 1000 && l.Qualifier == "" && !strings.Contains(t, ".") && len(t) < cellWidth-1 {
		f, err := strconv.ParseFloat(t, 64)
		if err == nil {
			return commas(f)
		}
	}
	return t
}

func (s shown) signed(c *analysis.Change) string {
	v, _ := s.soil(c.Estimate.Value, c.Estimate.Unit)
	t := analysis.Round(c.Analyte, v)
	if v > 0 && strings.Trim(t, "0.") != "" {
		t = "+" + t
	}
	if c.From.Qualifier != "" || c.To.Qualifier != "" {
		return t + "<"
	}
	switch {
	case c.Suspect:
		t += "?"
	case !c.Seen:
		t += within
	}
	return t
}

func showChanges(p *page, r *analysis.Review, b *analysis.BedReview, s shown) {
	for _, k := range []struct{ kind, title string }{
		{analysis.Drawdown, "Drawdown, spring minus autumn (+ is a fall)"},
		{analysis.Winter, "Winter change, spring minus the autumn before (+ is a rise)"},
		{analysis.Year, "The year's change, test to test of the same timing (+ is a rise)"},
	} {
		var cols []column
		for i := range b.Changes {
			if c := &b.Changes[i]; c.Kind == k.kind {
				if x := (column{c.Analyte, c.Method, c.Estimate.Unit}); !slices.Contains(cols, x) {
					cols = append(cols, x)
				}
			}
		}
		if cols == nil {
			continue
		}
		slices.SortStableFunc(cols, func(x, y column) int { return unit.Rank(x.analyte) - unit.Rank(y.analyte) })
		var rows []tableRow
		at := map[string]int{}
		ids := map[int][]int{}
		for i := range b.Changes {
			c := &b.Changes[i]
			if c.Kind != k.kind {
				continue
			}
			label := strconv.Itoa(c.Season)
			switch {
			case k.kind == analysis.Winter:
				label = fmt.Sprintf("%d-%02d", c.Season-1, c.Season%100)
			case k.kind == analysis.Year:
				label = fmt.Sprintf("%d to %d", c.From.Season, c.To.Season)
			}
			if c.Ground != "" {
				label += " " + plain(c.Ground)
			}
			n, ok := at[label]
			if !ok {
				n = len(rows)
				at[label] = n
				rows = append(rows, tableRow{label, make([]string, len(cols))})
			}
			rows[n].cells[slices.Index(cols, column{c.Analyte, c.Method, c.Estimate.Unit})] = s.signed(c)
			for _, id := range c.Doubts {
				if ofChange(r.Doubts[id-1].Code) && !slices.Contains(ids[n], id) {
					ids[n] = append(ids[n], id)
				}
			}
		}
		for n := range rows {
			rows[n].label += refs(ids[n])
		}
		slices.SortStableFunc(rows, func(x, y tableRow) int { return strings.Compare(x.label, y.label) })
		blocks(p, k.title, cols, s, rows)
	}
}

// ofChange tells the doubts that lie on a change from those of its two tests,
// which stand beside the levels.
func ofChange(code string) bool {
	return slices.Contains([]string{"spread between", "bed widened", "fresh lime", "not the same soil"}, code)
}

// showSeason prints the newest season with both ends, with its ranges, and what
// goes into the next.
func showSeason(p *page, b *analysis.BedReview, s shown) {
	season := 0
	for i := range b.Carryover {
		season = max(season, b.Carryover[i].IntoSeason-1)
	}
	if season == 0 {
		return
	}
	var rows [][]string
	nitrate := false
	methods, told := map[string]int{}, map[[2]string]bool{}
	for i := range b.Carryover {
		if c := &b.Carryover[i]; c.IntoSeason == season+1 && !told[[2]string{c.Analyte, c.Method}] {
			told[[2]string{c.Analyte, c.Method}] = true
			methods[c.Analyte]++
		}
	}
	for i := range b.Carryover {
		c := &b.Carryover[i]
		if c.IntoSeason != season+1 {
			continue
		}
		row := []string{c.Analyte, "", "", ""}
		if methods[c.Analyte] > 1 {
			row[0] += fmt.Sprintf(" (%s)", cmp.Or(shortMethod(column{c.Analyte, c.Method, ""}), c.Method))
		}
		for j := range b.Changes {
			if d := &b.Changes[j]; d.Kind == analysis.Drawdown && d.Season == season && d.Analyte == c.Analyte && d.Method == c.Method {
				row[1] = s.signed(d)
				row[2] = fmt.Sprintf("%s to %s", analysis.Round(c.Analyte, d.Estimate.Low), analysis.Round(c.Analyte, d.Estimate.High))
			}
		}
		a := c.Amount
		row[3] = fmt.Sprintf("%s (%s to %s)", figures2(s.perArea(a.Value)), figures2(s.perArea(a.Low)), figures2(s.perArea(a.High)))
		share := ""
		if o := c.OfSpring; o != nil {
			share = fmt.Sprintf("%.0f %% (%.0f to %.0f)", o.Value, o.Low, o.High)
		}
		rows = append(rows, append(row, share, strings.TrimSpace(refs(c.Doubts))))
		nitrate = nitrate || c.Analyte == "NO3-N"
	}
	p.line("")
	p.para("", fmt.Sprintf("Season %d in full, 90 %% ranges; nutrient carryover into %d is the soil-test amount in the sampled depth, not all of it within a crop's reach", season, season+1))
	table(p, []string{"", "drawdown", "range", "carried, " + s.perAreaUnit(), "of spring level", "doubts"}, rows)
	for i := range b.Carryover {
		if c := &b.Carryover[i]; c.IntoSeason == season+1 && c.Density.Source != "" {
			p.para("", fmt.Sprintf("Bulk density %.2f g/cm3 (%.2f to %.2f), %s.", c.Density.Value, c.Density.Low, c.Density.High, c.Density.Source))
			break
		}
	}
	if nitrate {
		p.para("", "Nitrate carried into winter mostly leaves with the water: do not count on it.")
	}
}

// showStandings prints the newest levels against their bands, and what nitrate,
// salts and cations say by rules of their own.
func showStandings(p *page, b *analysis.BedReview) {
	var bare []string
	head := false
	say := func(text string) {
		if !head {
			p.line("")
			p.line("The newest levels against their bands (targets.toml)")
			head = true
		}
		p.para("  ", plain(text)+".")
	}
	for i := range b.Bands {
		switch x := &b.Bands[i]; {
		case x.Where != "" || x.Typical != nil:
			say(x.Text)
		case x.Method != "":
			bare = append(bare, fmt.Sprintf("%s (%s)", x.Analyte, x.Method))
		}
	}
	if bare != nil {
		say("no band by the method of " + strings.Join(bare, ", "))
	}
	if n := len(b.Nitrate); n > 0 {
		say(fmt.Sprintf("of %s: %s", b.Nitrate[n-1].When, b.Nitrate[n-1].Text))
	}
	told := slices.ContainsFunc(b.Bands, func(x analysis.Standing) bool { return x.Analyte == "EC" && x.Where != "" })
	if n := len(b.Salts); n > 0 && !told {
		say(fmt.Sprintf("of %s: %s", b.Salts[n-1].When, b.Salts[n-1].Text))
	}
	if n := len(b.CEC); n > 0 {
		say(b.CEC[n-1].Text)
	}
}

// figures2 prints two significant figures, a zero that is one included: 6.0.
func figures2(v float64) string {
	if v <= 0 {
		return "0"
	}
	d := 1 - int(math.Floor(math.Log10(v)))
	t := math.Round(v*math.Pow(10, float64(d))) / math.Pow(10, float64(d))
	if d = 1 - int(math.Floor(math.Log10(t)+1e-9)); d <= 0 {
		return commas(t)
	}
	return strconv.FormatFloat(t, 'f', d, 64)
}

// table prints left-aligned columns as wide as their content, two spaces apart.
func table(p *page, head []string, rows [][]string) {
	for i := len(head) - 1; i > 0; i-- { // what is empty throughout takes no room
		if !slices.ContainsFunc(rows, func(r []string) bool { return r[i] != "" }) {
			head = slices.Delete(slices.Clone(head), i, i+1)
			for j := range rows {
				rows[j] = slices.Delete(rows[j], i, i+1)
			}
		}
	}
	widths := make([]int, len(head))
	for _, row := range append([][]string{head}, rows...) {
		for i, c := range row {
			widths[i] = max(widths[i], utf8.RuneCountInString(c))
		}
	}
	for _, row := range append([][]string{head}, rows...) {
		var t strings.Builder
		for i, c := range row {
			t.WriteString(pad(c, widths[i]) + "  ")
		}
		p.line("%s", t.String())
	}
}

// showInputs prints, season by season, what was weighed and what was spread.
func showInputs(p *page, b *analysis.BedReview, s shown) {
	var seasons []int
	see := func(y int) {
		if !slices.Contains(seasons, y) {
			seasons = append(seasons, y)
		}
	}
	for i := range b.Inputs {
		see(b.Inputs[i].Season)
	}
	for i := range b.Harvests {
		see(b.Harvests[i].Season)
	}
	for i := range b.Lost {
		see(b.Lost[i].Season)
	}
	if seasons == nil {
		return
	}
	slices.Sort(seasons)
	p.line("")
	p.line("Weights, and inputs on their dates, by the season they serve")
	for _, y := range seasons {
		var fruit []string
		for i := range b.Harvests {
			if h := &b.Harvests[i]; h.Season == y {
				fruit = append(fruit, fmt.Sprintf("%s %s (%s)", commas(s.weight(h.Weight)), s.weightUnit(), h.Weighed))
			}
		}
		for _, l := range b.Lost {
			if l.Season == y {
				how := l.Date.String()
				if l.How != "" {
					how += ": " + plain(l.How)
				}
				fruit = append(fruit, "fruit lost ("+how+")")
			}
		}
		var in []string
		for i := range b.Inputs {
			if b.Inputs[i].Season == y {
				in = append(in, inputText(&b.Inputs[i], s))
			}
		}
		text := strings.Join(fruit, ", ")
		if text == "" {
			text = "no weight"
		}
		if len(in) > 0 {
			text += "; " + strings.Join(in, "; ")
		}
		p.para(fmt.Sprintf("%d  ", y), text)
	}
}

func inputText(in *analysis.Input, s shown) string {
	t := fmt.Sprintf("%s %s %s", in.When, plain(in.Material), s.amount(*in))
	if in.Times > 1 {
		t += fmt.Sprintf(" every %d days, %d times to %s", *in.Every, in.Times, *in.Until)
	}
	if in.Placed != "" {
		t += ", " + in.Placed
	}
	return t
}

func showDoubts(p *page, r *analysis.Review) {
	if len(r.Doubts) == 0 {
		return
	}
	p.line("")
	p.line("Doubts")
	for _, d := range r.Doubts {
		text := d.Text
		if len(d.Beds) > 0 && len(d.Beds) <= 6 {
			text = strings.Join(d.Beds, ", ") + ": " + text
		} else if len(d.Beds) > 6 {
			text = fmt.Sprintf("%d beds: %s", len(d.Beds), text)
		}
		p.para(fmt.Sprintf("[%d] ", d.ID), plain(text)+".")
	}
}
