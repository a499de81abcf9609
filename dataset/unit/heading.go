package unit

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"
)

// Part is one thing a heading says.
type Part struct {
	Text string // as we write it: P2O5, lb/acre, Mehlich-3; empty: not said, or not sure
	From string // the words of the heading that say it, or leave it open
}

// Heading is a column heading of a lab's sheet as far as it can be understood.
// A part is filled only where the heading leaves no doubt; a bare symbol is the
// element, as ParseAnalyte has it.
type Heading struct {
	Text                        string
	Analyte, Form, Unit, Method Part     // Form only where an analyte has several
	DepthFrom, DepthTo          float64  // cm; DepthTo 0: no depth in the heading
	Rest                        []string // words not understood: they may change what the heading means
	Open                        []string // what to ask: "P or P2O5?", "which method?"
	Trap                        string   // what a reader may take wrongly; empty: nothing
	Aside                       string   // what else the column holds: a rating, a ratio, advice; empty: measured values
}

// Clear reports whether the heading says all and nothing more: no open question
// and no word left over.
func (h Heading) Clear() bool { return len(h.Open) == 0 && len(h.Rest) == 0 && h.Aside == "" }

// String writes what was understood as a heading that reads back the same, with
// a question mark for each part that is open.
func (h Heading) String() string {
	a, known := ByID(h.Analyte.Text)
	what, measure, method := a.ID, h.Unit.Text, h.Method.Text
	switch f := h.Form.Text; {
	case !known:
		what = "?"
	case f == "" && len(formsOf(a.ID)) > 1:
		what = openName(a.ID)
	case f != "" && f != what && formOf(f).loose:
		if name := openName(a.ID); name != "?" {
			what = name // nitrate as NO3
		}
		what += " as " + f
	case f != "":
		what = f
	}
	if known && measure == "" && a.Kind != PH {
		measure = "?"
	}
	if known && method == "" && !a.Plain {
		method = "?"
	}
	words := []string{what, measure, method}
	if h.DepthTo > 0 {
		words = append(words, trim(h.DepthFrom)+"-"+trim(h.DepthTo)+" cm")
	}
	return strings.Join(slices.DeleteFunc(words, func(s string) bool { return s == "" }), " ")
}

// openName is a name that leaves the analyte's form open.
func openName(id string) string {
	switch id {
	case "P":
		return "phosphorus"
	case "K":
		return "potash"
	case "S":
		return "sulfur"
	case "NO3-N":
		return "nitrate"
	case "NH4-N":
		return "ammonium"
	}
	return "?"
}

func formOf(name string) Form {
	for _, f := range forms {
		if f.Name == name {
			return f
		}
	}
	return Form{}
}

// sense is what a word or phrase of a heading speaks of.
type sense int

const (
	noise    sense = iota
	ofWhat         // an analyte, and the form if the word tells it
	ofUnit         // text: as we write it
	ofMethod       // text: to be sought among the analyte's methods; form: the analyte it implies
	ofSites        // a share of the exchange sites
	ofOther        // text: why the column holds no measured value
	ofDepth
	ofReader // the instrument that read the extract
	exchange // "exchangeable", which names no extractant
	asForm   // "as", before a form
)

// word is what a phrase means, wherever it stands.
type word struct {
	sense
	text, form string
	soft       bool // says nothing where it does not fit
	joined     bool // only in one word, or joined by _: mg_kg
}

// mention is a phrase found in a heading.
type mention struct {
	word
	from     string
	attached bool // a symbol that belongs to the unit: ppm P, lb N/A
	strong   bool // after "as"
	depth    [2]float64
}

// phrases by squashed text.
var phrases = sync.OnceValue(func() map[string]word {
	m := map[string]word{}
	add := func(w word, names ...string) {
		for _, n := range names {
			m[squash(n)] = w
		}
	}
	for squashed, id := range analyteNames {
		if strings.HasSuffix(squashed, "%") {
			continue // the sign is the unit's
		}
		w := word{sense: ofWhat, text: id}
		if a, _ := ByID(id); !a.NeedForm && squashed != "potash" {
			w.form = id
		}
		m[squashed] = w
	}
	for _, f := range forms {
		w := word{sense: ofWhat, text: f.Analyte, form: f.Name}
		m[squash(f.Name)] = w
	}
	for _, a := range analytes { // nitrate nitrogen says it
		if d := squash(a.Name); a.NeedForm && strings.HasSuffix(d, "nitrogen") {
			m[d] = word{sense: ofWhat, text: a.ID, form: a.ID}
		}
	}
	what := func(id, form string, names ...string) { add(word{sense: ofWhat, text: id, form: form}, names...) }
	what("NO3-N", "NO3-N", "nitrate N", "N-NO3")
	what("NH4-N", "NH4-N", "ammonium N", "N-NH4")
	what("NH4-N", "", "ammonium", "ammonia")
	what("S", "SO4-S", "sulfate S", "sulphate S", "sulfate sulfur", "S-SO4")
	what("P", "P", "P-PO4", "PO4-P")
	what("Ca", "Ca", "Ca2")
	what("Mg", "Mg", "Mg2")
	what("N", "N", "N", "nitrogen")
	what("H", "H", "H", "hydrogen")
	what("P", "", "phos", "phosphorous")
	what("pH", "pH", "pH", "pHs")
	what("buffer pH", "buffer pH", "buffer", "buf pH", "pH buffer", "buffer index", "buf", "BpH", "B pH")
	what("acidity", "acidity", "exch acidity", "acidity", "exchangeable H", "exch H", "H+Al", "exchangeable hydrogen")
	what("OC", "OC", "TOC", "total organic carbon", "organic C", "org C")
	what("OM", "OM", "org matter", "organic matter")
	what("CEC", "CEC", "exchange capacity", "total exchange capacity", "TEC", "cation exchange")
	what("EC", "EC", "S salts", "soluble salt", "sol salts", "sol salt", "elec cond", "electrical cond", "salinity")
	what("ENR", "ENR", "est N release", "estimated N release", "nitrogen release")

	by := func(text, implied string, names ...string) {
		add(word{sense: ofMethod, text: text, form: implied}, names...)
	}
	for _, x := range methods {
		for _, n := range append([]string{x.ID}, x.Alias...) {
			implied := ""
			for _, id := range []string{"pH", "EC", "CEC"} {
				if slices.Equal(x.For, []string{id}) && strings.Contains(n, id) && n != "ammonium acetate pH 7" {
					implied = id
				}
			}
			by(n, implied, n)
		}
	}
	for _, n := range []string{"total", "estimated", "calculated", "measured", "water", "H2O", "in water", "paste"} {
		add(word{sense: ofMethod, text: n, soft: true}, n)
	}
	add(word{sense: ofMethod, text: "estimated", soft: true}, "est", "calc")
	by("water", "pH", "pHw", "pH water", "pH H2O")
	by("sum of cations", "CEC", "sum of cations")
	for _, n := range []string{"Bray P1", "Bray P2", "Olsen P", "P1", "P2"} {
		by(n, "P", n)
	}
	for _, n := range []string{"Mehlich buffer", "modified Mehlich buffer", "MMB"} {
		by(n, "buffer pH", n)
	}
	by("Mehlich", "", "Mehlich", "Meh")
	by("Mehlich-3", "", "Meh 3", "Mehl 3", "Mehlich M3")
	for _, x := range elements() { // Mehlich P-III
		for _, n := range []string{"1", "I"} {
			by("Mehlich-1", x, "Mehlich "+x+n)
		}
		for _, n := range []string{"3", "III"} {
			by("Mehlich-3", x, "Mehlich "+x+n)
		}
	}
	for _, strength := range []string{"1 N", "1 M", "1.0 N", "1.0 M", "2 N", "2 M", "neutral 1 N", "neutral"} {
		by("KCl", "", strength+" KCl")
		by("ammonium acetate", "", strength+" ammonium acetate", strength+" NH4OAc")
	}
	by("saturated paste", "", "SME", "saturated media extract", "saturated media", "paste extract")
	by("hot water", "", "HWS", "hot water soluble")

	for _, x := range [][2]string{ // what else a column of a report may hold
		{"a rating", "rating"}, {"a rating", "rank"}, {"a rating", "interpretation"}, {"a rating", "excess lime"}, {"a rating", "free lime"},
		{"a rating", "lime rating"}, {"a rating", "excess lime rating"}, {"a rating", "effervescence"}, {"a rating", "sufficiency"}, {"a rating", "index"},
		{"advice", "recommendation"}, {"advice", "recommendations"}, {"advice", "recommended"}, {"advice", "rec"}, {"advice", "recs"}, {"advice", "suggested"},
		{"advice", "requirement"}, {"advice", "required"}, {"advice", "needed"}, {"advice", "to apply"}, {"advice", "apply"}, {"advice", "lime"},
		{"advice", "target"}, {"advice", "goal"}, {"advice", "optimum"}, {"advice", "lime requirement"}, {"advice", "lime rec"},
		{"crop removal", "removal"}, {"a ratio", "ratio"}, {"a class of texture", "texture"}, {"a class of texture", "textural class"}, {"a class of texture", "texture class"},
		{"a class of texture", "soil texture"},
	} {
		add(word{sense: ofOther, text: x[0]}, x[1])
	}
	add(word{sense: ofSites}, "sat", "satn", "saturation", "base sat", "base saturation", "cation sat", "cation saturation", "bs", "BS%", "% BS", "of CEC", "% CEC")
	what("Na sat", "%", "ESP", "exchangeable sodium percentage")
	add(word{sense: exchange}, "exch", "exchangeable")
	add(word{sense: asForm}, "as")
	add(word{sense: ofReader, text: "ICP"}, "ICP", "ICP-OES", "ICP-AES", "by ICP")
	add(word{sense: ofReader, text: "colorimetric"}, "colorimetric", "colourimetric", "col")
	add(word{}, "soil", "test", "value", "result", "results", "extractable", "available", "avail", "plant available", "by", "in", "of", "the", "and",
		"or", "analysis", "concentration", "conc", "content", "level", "lab", "extract", "extractant", "method", "depth", "top", "nutrient", "element", "read")

	for printed, names := range map[string][]string{
		"ppm": {"ppm"}, "ppb": {"ppb"}, "mg/kg": {"mg/kg", "mg kg-1"}, "ug/g": {"ug/g", "mcg/g"}, "mg/100 g": {"mg/100g"}, "%": {"%", "percent", "pct", "g/100g"},
		"g/kg": {"g/kg", "g kg-1"}, "lb/acre": {"lb/acre"}, "lb/1000 sq ft": {"lb/1000 sq ft", "lb/msf"},
		"kg/ha": {"kg/ha", "kg ha-1"}, "g/m2": {"g/m2"}, "meq/100 g": {"meq/100g", "meq", "me"}, "cmolc/kg": {"cmolc/kg", "cmolc kg-1", "cmol kg-1"},
		"mmolc/kg": {"mmolc/kg", "mmolc kg-1"}, "meq/kg": {"meq/kg"}, "mg/dm3": {"mg/dm3", "mg dm-3"}, "mg/L": {"mg/l", "mg l-1"}, "meq/L": {"meq/l"}, "meq/100 cm3": {"meq/100cm3"},
		"cmolc/dm3": {"cmolc/dm3"}, "dS/m": {"ds/m", "ds m-1"}, "mmho/cm": {"mmho/cm"}, "mS/cm": {"ms/cm"}, "uS/cm": {"us/cm", "umho/cm"}, "mS/m": {"ms/m"},
		"g/cm3": {"g/cm3"}, "kg/m3": {"kg/m3"}, "mg CaCO3/kg/pH": {"mg CaCO3/kg/pH", "ppm CaCO3/pH"}, "pp2m": {"pp2m"},
	} {
		add(word{sense: ofUnit, text: printed}, names...)
	}
	for _, x := range [][2]string{{"mgkg", "mg/kg"}, {"lbac", "lb/acre"}, {"lbacre", "lb/acre"}, {"lbsac", "lb/acre"}, {"lbsacre", "lb/acre"}, {"kgha", "kg/ha"}, {"meq100g", "meq/100 g"}, {"dsm", "dS/m"}} {
		add(word{sense: ofUnit, text: x[1], joined: true}, x[0])
	}
	return m
})

// tops and unders are the words that units in headings are made of.
var tops = map[string]string{"lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb", "#": "lb", "kg": "kg", "g": "g", "mg": "mg", "ug": "ug", "meq": "meq", "me": "meq",
	"cmol": "cmolc", "cmolc": "cmolc", "mmol": "mmolc", "mmolc": "mmolc", "mmho": "mmho", "mmhos": "mmho", "ms": "ms", "ds": "ds", "us": "us", "umho": "umho", "umhos": "umho"}

var unders = map[string]string{"a": "acre", "ac": "acre", "acre": "acre", "acres": "acre", "ha": "ha", "hectare": "ha", "kg": "kg", "g": "g", "100g": "100g", "100gsoil": "100g",
	"100grams": "100g", "l": "l", "litre": "l", "liter": "l", "dm3": "dm3", "cm3": "cm3", "100cm3": "100cm3", "100cc": "100cm3", "cc": "cm3", "m3": "m3", "cm": "cm", "m": "m", "m2": "m2",
	"1000sqft": "1000sqft", "1000ft2": "1000sqft", "1,000sqft": "1000sqft", "1,000ft2": "1000sqft", "msf": "msf"}

// atom is a run of letters and digits, or one sign.
type atom struct {
	s, figure  string // squashed; a figure as written
	glued      bool   // nothing but _ stands before it
	start, end int
}

func atoms(text string) (out []atom) {
	for i := 0; i < len(text); {
		c, size := utf8.DecodeRuneInString(text[i:])
		if unicode.IsSpace(c) || c == '_' {
			i += size
			continue
		}
		whole := func(name, s string) bool { // what brackets and signs would part
			_, ok := cutPrefixFold(text[i:], name)
			if ok {
				out = append(out, atom{s: s, start: i, end: i + len(name)})
				i += len(name)
			}
			return ok
		}
		if whole("Ca(H2PO4)2", "mcp") || whole("cmol(+)", "cmolc") || whole("cmolc(+)", "cmolc") || whole("cmol+", "cmolc") {
			continue
		}
		j := i + size
		if inWord(c) {
			digits := unicode.IsDigit(c)
			for j < len(text) {
				d, n := utf8.DecodeRuneInString(text[j:])
				if digits && !unicode.IsDigit(d) { // 6in is two words, 0.5 one, 1,000 one
					next, _ := utf8.DecodeRuneInString(text[j+n:])
					if !(strings.ContainsRune(".,", d) && unicode.IsDigit(next)) {
						break
					}
				} else if !digits && !inWord(d) {
					break
				}
				j += n
			}
		}
		a := atom{s: squash(text[i:j]), start: i, end: j}
		before, _ := utf8.DecodeLastRuneInString(text[:i])
		a.glued = before == '_' || len(out) > 0 && out[len(out)-1].end == i
		if unicode.IsDigit(c) {
			a.figure = text[i:j]
		}
		out = append(out, a)
		i = j
	}
	return out
}

func inWord(c rune) bool {
	return unicode.IsLetter(c) || unicode.IsDigit(c) || unicode.Is(unicode.No, c)
}

// ParseHeading reads a column heading of a soil-test sheet, such as "P (ppm)
// Mehlich-3" or "0-8 in NO3-N lb/A". It proposes and never assumes: what the
// heading leaves open is asked in Open and left empty.
func ParseHeading(text string) Heading {
	h := Heading{Text: text}
	h.settle(h.mentions(atoms(text)))
	return h
}

// mentions finds what the heading speaks of, the longest phrase first from each
// word on; what is left over goes to Rest.
func (h *Heading) mentions(as []atom) (out []mention) {
	for i := 0; i < len(as); {
		m, n := phrase(as[i:])
		if u, k := unitAt(as[i:]); k > n {
			m, n = u[0], k
			for _, x := range u[1:] {
				x.from = h.Text[as[i].start:as[i+n-1].end]
				out = append(out, x)
			}
		}
		if d, k := depthAt(as[i:]); k > n {
			m, n = d, k
		}
		if n == 0 {
			if s := h.Text[as[i].start:as[i].end]; strings.IndexFunc(s, inWord) >= 0 {
				h.Rest = append(h.Rest, s)
			}
			i++
			continue
		}
		m.from = h.Text[as[i].start:as[i+n-1].end]
		out = append(out, m)
		i += n
	}
	for i := range out {
		if out[i].sense != ofWhat {
			continue
		}
		for j := i - 1; j >= 0; j-- {
			if out[j].sense == asForm {
				out[i].strong, out[i].attached = true, true
			}
			if out[j].sense == ofUnit {
				out[i].attached = true
			}
			if out[j].sense != noise {
				break
			}
		}
	}
	return out
}

// phrase finds the longest phrase at the head of the atoms.
func phrase(as []atom) (best mention, n int) {
	s, glued := "", true
	for i, a := range as[:min(len(as), 7)] {
		glued = glued && (i == 0 || a.glued && a.s != "")
		if i > 0 && (strings.ContainsAny(a.s, "(),;[]|") || a.figure != "" && as[i-1].figure != "") {
			break
		}
		s += a.s
		w, ok := phrases()[s]
		if ok && i > 0 && (s == "p1" || s == "p2" || w.joined && !glued) {
			ok = false // a P and a number; Mg and kg/ha
		}
		if ok && a.s != "" {
			best, n = mention{word: w}, i+1
		}
	}
	return best, n
}

// unitAt reads a unit that is made of parts, such as lb N/A or meq per 100 g of
// soil; a form within it follows as a mention of its own.
func unitAt(as []atom) (out []mention, n int) {
	top, ok := tops[as[0].s]
	if !ok {
		return nil, 0
	}
	i := 1
	for i < len(as) && as[i].s == "" || i < len(as) && as[i].s == "of" {
		i++
	}
	var inner []mention
	if i < len(as) && as[i].s != "/" && as[i].s != "per" {
		m, k := phrase(as[i:])
		if k == 0 || m.sense != ofWhat || i+k >= len(as) || as[i+k].s != "/" && as[i+k].s != "per" {
			return loosePounds(top)
		}
		m.attached = true
		inner, i = []mention{m}, i+k
	}
	if i+1 >= len(as) {
		return loosePounds(top)
	}
	under := ""
	for k, a := range as[i+1 : min(len(as), i+5)] {
		under += a.s
		if u, ok := unders[under]; ok {
			if w, ok := phrases()[top+"/"+u]; ok {
				out, n = append([]mention{{word: w}}, inner...), i+k+2
			}
		}
	}
	if n == 0 {
		return loosePounds(top)
	}
	return out, n
}

// loosePounds is a weight of pounds on an area that is not said.
func loosePounds(top string) ([]mention, int) {
	if top != "lb" {
		return nil, 0
	}
	return []mention{{word: word{sense: ofUnit}}}, 1
}

// depthAt reads 0-6 in, 15 cm, 8"; a single figure is meant from the surface
// down (common practice, no source). Without a unit it is no depth but for a
// pair of figures, which is asked about.
func depthAt(as []atom) (m mention, n int) {
	m.sense = ofDepth
	a, err := strconv.ParseFloat(as[0].figure, 64)
	if err != nil {
		return m, 0
	}
	i, from, to, pair := 1, 0.0, a, false
	if len(as) > 2 && (as[1].s == "" || as[1].s == "to" || as[1].s == "\u2014") {
		if b, err := strconv.ParseFloat(as[2].figure, 64); err == nil && b > a {
			i, from, to, pair = 3, a, b, true
		}
	}
	scale := 0.0
	if i < len(as) {
		switch as[i].s {
		case "in", "inch", "inches", "\"", "\u2033", "\u201d":
			scale = CmPerInch
		case "cm":
			scale = 1
		case "mm":
			scale = 0.1
		case "ft", "foot", "feet", "'":
			scale = 12 * CmPerInch
		}
	}
	if scale == 0 {
		if pair {
			return m, 3
		}
		return m, 0
	}
	m.depth = [2]float64{from * scale, to * scale}
	return m, i + 1
}

// settle makes one heading of all that was mentioned.
func (h *Heading) settle(ms []mention) {
	h.depth(ms)
	a, ok := h.analyte(ms)
	for _, m := range ms {
		if m.sense == ofOther && !(squash(m.from) == "index" && a.ID == "buffer pH") {
			h.Aside, h.Open = m.text, nil
			h.ask("%q says that this is %s, not a measured value: leave it out?", m.from, m.text)
			return
		}
	}
	for _, s := range h.Rest {
		near := slices.DeleteFunc(Near(s, hints()), func(n string) bool { return !strings.EqualFold(n[:1], s[:1]) })
		if len(s) > 4 && len(near) > 0 {
			h.ask("%q: is it %s?", s, strings.Join(near, " or "))
		}
	}
	if !ok {
		h.trap(ms)
		h.unit(a, ms)
		return
	}
	h.form(a, ms)
	h.unit(a, ms)
	h.method(a, ms)
	h.trap(ms)
}

func (h *Heading) ask(format string, args ...any) {
	h.Open = append(h.Open, fmt.Sprintf(format, args...))
}

func (h *Heading) depth(ms []mention) {
	for _, m := range ms {
		switch {
		case m.sense != ofDepth:
		case m.depth[1] == 0:
			h.ask("%s: inches or centimetres?", m.from)
		case h.DepthTo == 0:
			h.DepthFrom, h.DepthTo = m.depth[0], m.depth[1]
		case h.DepthFrom != m.depth[0] || h.DepthTo != m.depth[1]:
			h.DepthFrom, h.DepthTo = 0, 0
			h.ask("which depth?")
		}
	}
}

// analyte decides what was measured.
func (h *Heading) analyte(ms []mention) (a Analyte, ok bool) {
	sites, percent, charged := false, false, false
	var ids []string
	from := map[string]string{}
	say := func(id, words string) {
		if !slices.Contains(ids, id) {
			ids = append(ids, id)
			from[id] = words
		}
	}
	for _, m := range ms {
		switch m.sense {
		case ofSites:
			sites = true
			from[""] = m.from
		case ofUnit:
			percent = percent || m.text == "%"
			charged = charged || strings.Contains(m.text, "meq") || strings.Contains(m.text, "mol")
		case ofWhat:
			say(m.text, m.from)
		}
	}
	direct := len(ids)
	for _, m := range ms { // Bray P1, ECe and the like, unless the heading names another
		if m.sense == ofMethod && m.form != "" && (direct == 0 || m.form == "buffer pH") {
			say(m.form, m.from)
		}
	}
	drop := func(id string) { ids = slices.DeleteFunc(ids, func(x string) bool { return x == id }) }
	has := func(id string) bool { return slices.Contains(ids, id) }
	if has("N") && len(ids) > 1 && (has("NO3-N") || has("NH4-N") || has("total N") || has("ENR")) {
		drop("N")
	}
	if has("CEC") && len(ids) == 2 && percent {
		drop("CEC")
		sites = true
	}
	if has("buffer pH") && has("acidity") {
		drop("buffer pH")
	}
	if has("buffer pH") {
		drop("pH")
	}
	if len(ids) == 0 && sites {
		say("base sat", from[""])
		sites = false
	}
	if len(ids) == 0 || len(ids) == 1 && has("pH") { // a buffer's name says what was read
		for _, m := range ms {
			if m.sense == ofMethod && buffers(m.text) {
				ids, from["buffer pH"] = []string{"buffer pH"}, m.from
			}
		}
	}
	if len(ids) == 1 {
		id := ids[0]
		switch {
		case sites:
			if _, ok := ByID(id + " sat"); !ok && !strings.HasSuffix(id, " sat") {
				h.Analyte.From = from[id]
				h.ask("%s on the exchange sites is not kept: leave it out?", from[id])
				return a, false
			}
			if !strings.HasSuffix(id, " sat") {
				from[id+" sat"] = from[id]
				id += " sat"
			}
		case id == "H" && charged:
			from["acidity"], id = from[id], "acidity"
		case carbonate(id, ms):
			h.Analyte.From = from[id]
			h.ask("%s: carbonate in the soil, or %s printed as it?", from[id], id)
			return a, false
		case percent && h.bare(ms):
			if _, ok := ByID(id + " sat"); ok {
				h.Trap = fmt.Sprintf("%q reads as %s's share of the exchange sites, not as %% of the soil", h.Text, id)
				from[id+" sat"] = from[id]
				id += " sat"
			}
		}
		if a, ok = ByID(id); ok {
			h.Analyte = Part{id, from[id]}
			return a, true
		}
		if id == "N" {
			h.ask("N: nitrate-N, ammonium-N or total N?")
			h.Analyte.From = from[id]
			return a, false
		}
		h.Analyte.From = from[id]
		h.ask("%s: what was measured?", from[id])
		return a, false
	}
	if len(ids) == 0 {
		h.ask("what was measured?")
		return a, false
	}
	var words []string
	for _, id := range ids {
		words = append(words, from[id])
	}
	h.ask("which of them: %s?", strings.Join(words, ", "))
	return a, false
}

// bare reports whether a heading gives an element and % and nothing that would
// make it a share of the soil.
func (h *Heading) bare(ms []mention) bool {
	for _, m := range ms {
		if m.sense == ofMethod || m.sense == ofWhat && m.form != m.text {
			return false
		}
	}
	return true
}

// carbonate reports whether a heading names calcium or magnesium by its
// carbonate alone, which may be the soil's own lime.
func carbonate(id string, ms []mention) bool {
	found := false
	for _, m := range ms {
		if m.sense == ofWhat && m.text == id {
			if m.strong || m.attached || m.form != id+"CO3" {
				return false
			}
			found = true
		}
	}
	return found
}

// hints lists the names that a misspelt word may mean.
var hints = sync.OnceValue(func() []string {
	out := analyteWords()
	for _, m := range methods {
		out = append(out, m.ID)
	}
	return append(out, "Mehlich", "nitrate", "sulfate", "phosphate", "organic", "buffer", "saturation", "exchange", "soluble")
})

// buffers reports whether a method's name is that of a buffer alone.
func buffers(name string) bool {
	for _, m := range methods {
		if slices.Equal(m.For, []string{"buffer pH"}) && slices.ContainsFunc(append([]string{m.ID}, m.Alias...), func(n string) bool { return squash(n) == squash(name) }) {
			return true
		}
	}
	return false
}

// form decides the form of an analyte that is printed in several.
func (h *Heading) form(a Analyte, ms []mention) {
	all := formsOf(a.ID)
	if len(all) == 1 {
		return
	}
	var sure []mention
	var weak, loose mention
	seen := 0
	for _, m := range ms {
		if m.sense == ofWhat && m.text == a.ID {
			seen++
		}
	}
	for _, m := range ms {
		if m.sense != ofWhat || m.text != a.ID && m.text != "N" {
			continue
		}
		f := m.form
		if m.text == "N" {
			f = a.ID
		}
		switch {
		case f == "":
			loose = m
		case formOf(f).loose && !(m.strong || m.attached && seen > 1):
			loose = m
		case f == a.ID && !m.attached && m.text != "N" && len(f) < 3:
			weak, weak.form = m, f
		default:
			m.form = f
			sure = append(sure, m)
		}
	}
	// P1 and Olsen P are of the element.
	if weak.form == "" && loose.form == "" && len(sure) == 0 && seen == 0 {
		h.Form = Part{a.ID, h.Analyte.From}
		return
	}
	if len(sure) == 0 && weak.form != "" && loose.form == "" { // S (SO4) leaves it open
		sure = append(sure, weak)
	}
	for _, m := range sure[min(1, len(sure)):] {
		if formOf(m.form).Factor != formOf(sure[0].form).Factor {
			h.Form.From = sure[0].from + ", " + m.from
			h.ask("%s or %s?", sure[0].form, m.form)
			return
		}
		if m.form != a.ID {
			sure[0] = m
		}
	}
	if len(sure) == 0 {
		other := loose.form
		for _, f := range forms {
			if other == "" && f.Analyte == a.ID && f.Factor != 1 {
				other = f.Name
			}
		}
		h.Form.From = loose.from
		h.ask("%s or %s?", a.ID, other)
		return
	}
	h.Form = Part{sure[0].form, sure[0].from}
}

// unit decides the unit.
func (h *Heading) unit(a Analyte, ms []mention) {
	r := SoilReading{Analyte: a, Form: Form{Name: a.ID, Analyte: a.ID, Factor: 1}, Value: 1.5, DepthTo: 15} // a stand-in
	for _, m := range ms {
		if m.sense == ofMethod {
			if id, err := ParseMethod(m.text, a); err == nil && r.Method != paste {
				r.Method = id
			}
		}
	}
	trial := func(text string) (SoilValue, error) {
		r.Unit = text
		return soilIn(r, squash(text))
	}
	same := func(x, y string) bool { // ppm and mg/kg
		v, err := trial(x)
		w, again := trial(y)
		return x == y || x != "" && y != "" && err == nil && again == nil && v.Value == w.Value && v.Unit == w.Unit
	}
	var found []mention
	for _, m := range ms {
		if m.sense == ofUnit && !slices.ContainsFunc(found, func(x mention) bool { return same(x.text, m.text) }) {
			found = append(found, m)
		}
	}
	if strings.HasSuffix(a.ID, " sat") && len(found) == 0 {
		for _, m := range ms {
			if m.sense == ofWhat && (m.form == "%" || strings.Contains(m.from, "%")) {
				h.Unit = Part{"%", m.from}
				return
			}
		}
	}
	switch {
	case len(found) == 0:
		switch units := soilUnits(a); {
		case a.Kind == PH || a.ID == "":
		case strings.HasSuffix(a.ID, " sat"):
			h.ask("unit: %%?")
		default:
			h.ask("unit: %s?", strings.Join(units[:min(3, len(units))], ", "))
		}
	case len(found) > 1:
		h.Unit.From = found[0].from
		h.ask("unit: %s or %s?", found[0].from, found[1].from)
	case found[0].text == "":
		h.Unit.From = found[0].from
		h.ask("%s: per acre or per 1000 sq ft?", found[0].from)
	default:
		m := found[0]
		if _, err := trial(m.text); a.ID != "" && About(err) == "unit" {
			h.Unit.From = m.from
			h.ask("%s cannot measure %s: which unit?", m.from, a.ID)
			return
		}
		h.Unit = Part{m.text, m.from}
	}
}

// method decides the procedure.
func (h *Heading) method(a Analyte, ms []mention) {
	reader, used := "", true
	for _, m := range ms {
		if m.sense == ofReader {
			reader, used = m.text, a.ID != "P" // other elements read alike
		}
	}
	defer func() {
		if !used {
			h.Rest = append(h.Rest, reader)
		}
	}()
	var id, from string
	for _, m := range ms {
		if m.sense != ofMethod {
			continue
		}
		got, err := ParseMethod(m.text, a)
		if err == nil && reader != "" {
			if x, e := ParseMethod(got+" "+reader, a); e == nil {
				got, used = x, true
			}
		}
		switch {
		case err != nil && (m.soft || a.Plain):
			h.Rest = append(h.Rest, m.from)
		case err != nil && m.text == "Mehlich":
			h.Method.From = m.from
			h.ask("Mehlich-1 or Mehlich-3?")
			return
		case err != nil:
			h.Method.From = m.from
			h.ask("%s does not measure %s: which method?", m.from, a.ID)
			return
		case id == "" || strings.HasPrefix(got, id) || strings.HasPrefix(id, "water 1:") && !strings.HasPrefix(got, "water"):
			id, from = got, m.from
		case strings.HasPrefix(id, got) || strings.HasPrefix(got, "water 1:") && !strings.HasPrefix(id, "water"):
		default:
			h.Method.From = from + ", " + m.from
			h.ask("method: %s or %s?", id, got)
			return
		}
	}
	if id != "" {
		h.Method = Part{id, from}
		return
	}
	if a.Plain {
		return
	}
	for _, m := range ms {
		if m.sense == exchange {
			h.Method.From = m.from
			h.ask("which method? %q often means ammonium acetate", m.from)
			return
		}
	}
	h.ask("which method?")
}

// trap names what is easily taken wrongly.
func (h *Heading) trap(ms []mention) {
	for _, m := range ms {
		switch {
		case m.sense == ofUnit && strings.HasSuffix(squash(m.from), "n/a"):
			h.Trap = fmt.Sprintf("%q reads as pounds of N per acre, not as \"not available\"", m.from)
		case h.Trap != "":
		case m.sense == ofMethod && (squash(m.from) == "p1" || squash(m.from) == "p2"):
			h.Trap = fmt.Sprintf("%q is a Bray test of phosphorus, not a sample's number", m.from)
		case m.sense == ofWhat && (m.form == "P2O5" || m.form == "K2O") && h.Unit.Text == "lb/acre":
			h.Trap = fmt.Sprintf("%s in lb/acre may be what the lab recommends to spread, not what it found", m.form)
		case m.sense == ofWhat && squash(m.from) == "limeindex":
			h.Trap = "a lime index may be the buffer pH times ten"
		}
	}
}
