package intake

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"carryover/dataset/unit"
)

// Proposal is what an unknown sheet looks like, with a sheet map that would
// read it once its question marks are answered.
type Proposal struct {
	File     string // as the file is named; "file.xlsx/sheet" for a sheet of a workbook
	Headings []int  // lines of the headings; numbers of columns where the sheet is turned
	Turned   bool   // analytes stand down the side
	Columns  []Column
	Map      string // text of the sheet map
	Open     int    // question marks in it: with 0 ParseMap takes it
	Notes    []string
}

// Column is one column of an unknown sheet.
type Column struct {
	Pos      int // from 1
	Heading  string
	Example  string // first value below it
	As       string // understood as; empty: left out
	Question string // what stays open, or why it is left out
}

// maxProbe is how many lines of an unknown sheet are looked at, and how many of
// them may be the first of its headings.
const (
	maxProbe   = 1000
	maxTop     = 40
	maxHeading = 100 // bytes of a heading; what is longer is a text
)

// Propose looks at an unknown sheet and proposes a sheet map for it. It assumes
// nothing: what the sheet leaves open is a question mark in the map, which
// ParseMap refuses until it is answered. Of a workbook it takes the sheet that
// looks most like soil tests.
//
// The error is a *Faults where the file cannot be read, or none of its first 40
// lines looks like headings.
func Propose(src Source, opt Options) (Proposal, error) {
	opt.Map = nil
	r := newReader(opt)
	fail := func(name string, line int, found, expected, mend string) (Proposal, error) {
		r.faults.add(Fault{File: name, Line: line, Text: say(found, expected, mend)})
		return Proposal{}, r.faults.err()
	}
	sheets, err := r.open(src)
	if err != nil {
		return fail(src.Name, err.line, err.found, err.expected, err.mend)
	}
	var best *probe
	alike := 0 // sheets with the same headings: all are read
	for _, sh := range sheets {
		p, err := r.probe(sh)
		if err != nil && len(sheets) == 1 {
			return fail(sh.name, err.line, err.found, err.expected, err.mend)
		}
		if p != nil && best != nil && slices.Equal(p.head, best.head) {
			alike++
		} else if p != nil && (best == nil || p.score > best.score) {
			best, alike = p, 1
		}
	}
	if best == nil {
		return fail(src.Name, 0, fmt.Sprintf("no headings of soil tests in its first %d lines", maxTop), "a line with headings such as Sample ID, pH, P ppm", "write a sheet map by hand, with headings = and the number of the line")
	}
	best.only = len(sheets) == 1 || alike > 1
	out := best.propose()
	if !slices.ContainsFunc(best.columns, func(c probed) bool { return c.measured }) && !best.long() {
		return fail(best.name, best.line, "headings of soil tests, but no figures below them", "a row for each sample", "")
	}
	out.Notes = append(r.notes, out.Notes...)
	return out, nil
}

// probe is a sheet with what may be its headings.
type probe struct {
	*grid
	r          *reader
	turnedOver bool
	deep       int // rows of headings
	merged     bool
	only       bool // no sheet need be named
	score      int
	columns    []probed
	role       map[string]int // column of each field
}

// probed is one column as it is understood.
type probed struct {
	heading  string
	of       unit.Heading
	measured bool
	field    string // that the column fills; of soil_tests
	rank     int
	why      string // it is left out
}

// probe finds the likeliest headings of a sheet; nil if there are none.
func (r *reader) probe(sh sheet) (*probe, *scanError) {
	if sh.err != nil {
		return nil, sh.err
	}
	if all, ok := sh.lines.(interface{ everyRow() }); ok {
		all.everyRow()
	}
	g := &grid{sheet: sh, more: true}
	if _, err := g.fill(maxProbe); err != nil {
		return nil, err
	}
	known := map[string]probed{}
	upright := r.likeliest(g, known)
	if upright != nil && upright.long() {
		return upright, nil
	}
	if n := len(g.rows); n > 1 && n < maxProbe {
		over := *g
		over.more = false
		if err := over.turn(); err == nil {
			if p := r.likeliest(&over, known); p != nil && (upright == nil || p.score > upright.score) {
				p.turnedOver = true
				return p, nil
			}
		}
	}
	return upright, nil
}

func (r *reader) likeliest(g *grid, known map[string]probed) (best *probe) {
	for i := 0; i < min(len(g.rows), maxTop); i++ {
		for deep := 1; deep <= 3 && i+deep <= len(g.rows) && !mostlyFigures(g.rows[i+deep-1]); deep++ {
			for _, m := range []*Map{{}, {shape: shape{merged: true}}} {
				if m.merged && deep == 1 || len(g.rows[i]) > maxColumns {
					continue
				}
				p := &probe{r: r, deep: deep, merged: m.merged}
				p.read(g.joined(m, i, i+deep), g.rows[i+deep-1], known)
				p.score -= deep - 1 // a line more must tell more
				if i+deep < len(g.rows) {
					p.score -= p.units(g.rows[i+deep])
				}
				if p.score > 0 && (best == nil || p.score > best.score) {
					own := *g
					own.head, own.line, own.at = g.joined(m, i, i+deep), g.nums[i], i+deep
					if g.turned == nil {
						own.above, own.aboveNums = g.rows[:i], g.nums[:i]
					}
					p.grid, best = &own, p
				}
			}
		}
	}
	return best
}

// mostlyFigures tells rows of values from headings.
func mostlyFigures(cells []string) bool {
	filled, figures := 0, 0
	for _, c := range cells {
		if c != "" {
			filled++
		}
		if _, _, err := unit.ParseNumber(c); err == nil {
			figures++
		}
	}
	return 2*figures >= filled
}

// read understands each heading and scores them together. lower is the lowest of
// the rows that were joined.
func (p *probe) read(head, lower []string, known map[string]probed) {
	p.role = map[string]int{}
	look := func(h string) probed {
		c, met := known[h]
		if !met {
			c = understand(h)
			known[h] = c
		}
		return c
	}
	measured, last := 0, ""
	for i, h := range head {
		c := look(h)
		if p.merged && c.measured && !c.clear() && i < len(lower) { // what stands to the left of a heading may not belong to it
			if own := look(lower[i]); own.measured && own.clear() {
				c.of = own.of
			}
		}
		if c.measured && c.heading == last { // values and their ratings under one merged heading
			c = probed{heading: h, why: "the same heading again"}
		}
		last = h
		p.columns = append(p.columns, c)
		switch {
		case c.measured:
			measured++
			p.score += 3 - min(2, len(c.of.Rest))
			if c.of.Analyte.Text == "" {
				p.score--
			}
			for _, part := range []unit.Part{c.of.Unit, c.of.Method} {
				if part.Text != "" {
					p.score++
				}
			}
		case c.field != "":
			p.score += 2
			if k, taken := p.role[c.field]; !taken || p.columns[k].rank < c.rank {
				p.role[c.field] = i
			}
		case c.why != "":
			p.score += 2
		case len(h) > 40:
			p.score--
		default:
			if _, _, err := unit.ParseNumber(h); err == nil {
				p.score -= 2
			}
		}
	}
	if measured < 2 && !p.long() {
		p.score = 0
	}
}

// long reports whether the sheet has a row for each analyte.
func (p *probe) long() bool {
	_, test := p.role["analyte"]
	_, result := p.role["value"]
	return test && result
}

// units counts the measured columns under which a row gives nothing but a unit:
// it belongs to the headings.
func (p *probe) units(row []string) (n int) {
	for i, c := range p.columns {
		if c.measured && i < len(row) && row[i] != "" {
			if h := headingOf(shorten(row[i])); h.Unit.Text != "" && h.Analyte.Text == "" && len(h.Rest) == 0 {
				n++
			}
		}
	}
	return n
}

// clear reports whether nothing in the heading but unit or method stays open.
func (c *probed) clear() bool { return len(questions(c.of))+len(c.of.Rest) == 0 }

// understand reads one heading.
func understand(h string) probed {
	c := probed{heading: h}
	if _, _, err := unit.ParseNumber(h); err == nil || h == "" || len(h) > maxHeading {
		return c
	}
	if c.field, c.rank = roleOf(h); c.rank > 1 {
		return c
	}
	c.of = headingOf(h)
	switch guess := slices.ContainsFunc(c.of.Open, func(q string) bool {
		return strings.HasPrefix(q, "which of them") || strings.Contains(q, ": is it ")
	}); {
	case c.of.Aside != "":
		c.why = c.of.Aside
	case c.of.Analyte.Text != "", c.of.Analyte.From != "", guess:
		c.measured, c.field = true, ""
	}
	return c
}

var (
	foreignPhrase = regexp.MustCompile(`(?i)mati[eè]re organique|materia org[aá]nica|organische substanz`)
	foreignWord   = regexp.MustCompile(`\pL+`)
)

// english are words of German, French and Spanish headings, and what they say;
// from memory.
var english = map[string]string{
	"tampon": "buffer", "puffer": "buffer", "eau": "water", "wasser": "water", "agua": "water", "wert": "value", "humus": "organic matter", "humusgehalt": "organic matter",
	"phosphor": "phosphorus", "phosphore": "phosphorus", "fósforo": "phosphorus", "fosforo": "phosphorus", "kalium": "potassium", "potasio": "potassium", "kali": "potash",
	"magnésium": "magnesium", "magnesio": "magnesium", "kalzium": "calcium", "calcio": "calcium", "bor": "boron", "bore": "boron", "boro": "boron", "zink": "zinc", "cinc": "zinc",
	"kupfer": "copper", "cuivre": "copper", "cobre": "copper", "mangan": "manganese", "manganèse": "manganese", "manganeso": "manganese", "eisen": "iron", "fer": "iron", "hierro": "iron",
	"schwefel": "sulfur", "soufre": "sulfur", "azufre": "sulfur",
}

// headingOf reads a heading as unit.ParseHeading does, and words of other
// languages too. M.O. is organic matter in French, so it is asked about, not
// taken for molybdenum.
func headingOf(text string) unit.Heading {
	h := unit.ParseHeading(foreignWord.ReplaceAllStringFunc(foreignPhrase.ReplaceAllString(text, "organic matter"), func(w string) string {
		if said, ok := english[strings.ToLower(w)]; ok {
			return said
		}
		return w
	}))
	h.Text = text
	if h.Analyte.Text == "Mo" && !strings.EqualFold(h.Analyte.From, "molybdenum") && (h.Unit.Text == "%" || strings.Contains(h.Analyte.From, ".")) {
		h.Analyte.Text, h.Form, h.Method = "", unit.Part{}, unit.Part{}
		h.Open = []string{fmt.Sprintf("%s: organic matter or molybdenum?", h.Analyte.From)}
	}
	return h
}

// roleOf tells which field of soil_tests a heading names, and how surely. The
// words are common practice, no source.
func roleOf(h string) (field string, rank int) {
	w := strings.Join(strings.FieldsFunc(strings.ToLower(h), func(c rune) bool { return !unicode.IsLetter(c) && c != '#' }), " ")
	w = strings.NewReplacer("#", "no", "number", "no", "identification", "id", "laboratory", "lab", "customer", "client", "your", "client").Replace(w)
	ranked := func(field string, rank int, names ...string) (string, int) {
		if slices.Contains(names, w) {
			return field, rank
		}
		return "", 0
	}
	if has := strings.Fields(w); slices.ContainsFunc(has, func(s string) bool {
		return slices.Contains([]string{"depth", "tiefe", "profondeur", "profundidad"}, s)
	}) && len(has) < 5 {
		switch {
		case slices.ContainsFunc(has, func(s string) bool {
			return slices.Contains([]string{"top", "upper", "from", "start", "begin", "beginning"}, s)
		}):
			return "depth from", 9
		case slices.ContainsFunc(has, func(s string) bool { return slices.Contains([]string{"bottom", "lower", "to", "end", "ending"}, s) }):
			return "depth to", 9
		}
		return "depth", 9
	}
	for _, x := range []struct {
		field string
		rank  int
		names []string
	}{
		{"bed", 9, []string{"bed", "bed name", "bed id", "bed no"}},
		{"bed", 8, []string{"plot", "plot name", "plot id", "plot no", "field", "field name", "field id", "field no", "garden", "block", "patch", "client sample id", "client id", "client sample", "grower sample id"}},
		{"bed", 8, []string{"schlag", "feld", "beet", "parzelle", "champ", "parcelle", "parcela", "lote"}},
		{"bed", 7, []string{"sample id", "sample name", "sample description", "sample", "sample ident", "sample identification", "probe", "probenbezeichnung", "echantillon", "échantillon", "muestra"}},
		{"bed", 6, []string{"location", "description", "area", "zone", "place"}},
		{"bed", 4, []string{"id", "name"}},
		{"bed", 1, []string{"no"}},
		{"site", 5, []string{"site", "site name", "farm", "farm name"}},
		{"date", 9, []string{"date sampled", "sample date", "sampling date", "sampled", "sampled on", "date collected", "collected", "collection date", "date taken", "date of sampling",
			"probenahme", "probenahmedatum", "probe am", "date de prélèvement", "fecha de muestreo"}},
		{"date", 5, []string{"date", "datum", "fecha"}},
		{"received", 5, []string{"date received", "received", "date reported", "reported", "report date", "date analyzed", "date analysed", "analyzed", "analysed", "date tested", "tested", "date completed", "completed", "date printed"}},
		{"lab", 9, []string{"lab", "lab name"}},
		{"report", 9, []string{"report", "report no", "report id"}},
		{"report", 6, []string{"lab no", "lab id", "lab sample id", "lab sample no", "order", "order no", "job", "job no", "submission", "work order", "accession", "batch", "batch no"}},
		{"part", 9, []string{"plant part", "part", "part sampled", "sampled part", "tissue", "plant tissue", "leaf", "leaf part", "petiole"}},
		{"sample", 5, []string{"sample no", "rep", "replicate", "subsample", "sub sample", "half", "sub plot"}},
		{"cores", 9, []string{"cores", "no of cores", "no cores", "probes", "core count"}},
		{"timing", 5, []string{"timing", "season"}},
		{"note", 5, []string{"comment", "comments", "remark", "remarks", "note", "notes"}},
		{"grower", 5, []string{"grower", "client", "client name", "grower name", "owner", "account", "account no"}},
		{"analyte", 9, []string{"analyte", "test", "test name", "parameter", "determination", "determinand", "element", "nutrient", "analysis", "constituent"}},
		{"value", 9, []string{"result", "results", "value", "test result", "reading", "finding", "reported value", "reported result"}},
		{"unit", 9, []string{"unit", "units", "uom", "unit of measure", "reporting unit", "reporting units"}},
		{"method", 9, []string{"method", "methods", "procedure", "extractant", "extraction", "test method", "method name"}},
	} {
		if field, rank = ranked(x.field, x.rank, x.names...); rank > 0 {
			return field, rank
		}
	}
	return "", 0
}

// below lists what stands in a column under the headings, as far as the sheet
// was looked at.
func (p *probe) below(col int) (out []string) {
	for i := p.at; i < len(p.rows); i++ {
		if cells := p.rows[i]; col < len(cells) && cells[col] != "" {
			out = append(out, cells[col])
		}
	}
	return out
}

// distinct keeps the first of equal texts.
func distinct(list []string) (out []string) {
	seen := map[string]bool{}
	for _, s := range list {
		if !seen[s] {
			seen[s] = true
			out = append(out, s)
		}
	}
	return out
}

func (r *reader) tableNamed(name string) *table {
	for i := range r.tables {
		if r.tables[i].name == name {
			return &r.tables[i]
		}
	}
	return nil
}

func hasDigit(s string) bool { return strings.ContainsAny(s, "0123456789") }

// isUnit reports whether a word beside a figure is its unit.
func (c *probed) isUnit(w string) bool {
	if a, known := unit.ByID(c.of.Analyte.Text); known {
		return soilUnit(a, unit.Form{Factor: 1}, w) == nil
	}
	return unit.ParseHeading(shorten(w)).Unit.Text != ""
}

// isNothing reports whether a text says that there is no value, whatever the lab.
func isNothing(text string) bool {
	return slices.Contains([]string{"n/a", "na", "-", "--", "---", "*", "**", ".", "none", "nt", "not tested", "not requested", "not analyzed", "not analysed", "missing", "null", "nan", "#n/a"},
		strings.ToLower(text)) || strings.Trim(text, "? ") == ""
}

// isRating reports whether a word rates a figure; common practice, no source.
func isRating(word string) bool {
	return slices.Contains([]string{"vl", "l", "ml", "m", "mh", "h", "vh", "b", "n", "a", "o", "e", "d", "s", "low", "very low", "medium", "high", "very high", "optimum", "adequate",
		"excess", "excessive", "deficient", "sufficient", "normal", "good", "ok", "critical", "above optimum", "below optimum", "marginal"}, strings.ToLower(word))
}

// isNoSample reports whether a text stands where a sample's name does and names
// none.
func isNoSample(text string) bool {
	return slices.Contains([]string{"average", "averages", "mean", "median", "total", "sum", "maximum", "minimum", "max", "min", "optimum", "target", "blank", "check", "control",
		"standard", "standard deviation"}, strings.ToLower(text))
}
