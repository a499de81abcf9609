package intake

import (
	"archive/zip"
	"bufio"
	"bytes"
	"cmp"
	"encoding/xml"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"
	"unicode/utf8"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// Sheets of a workbook that hold no rows of a table.
const (
	bookReadme  = "README"  // explains
	bookNotes   = "Notes"   // of all pages
	bookChoices = "choices" // hidden: feeds the drop-downs
)

// fillRows is how many rows of a blank sheet offer drop-downs.
const fillRows = 2000

// Page is one sheet of a workbook that is written.
type Page struct {
	Name  string   // at most 31 letters
	Head  []string // headings, with units
	Notes []string // what a reader must know: stands on the workbook's last sheet
	// Rows holds string, bool (yes or no), int, int32, int64, float64,
	// dataset.Date or time.Time (its day); nil, a nil pointer to one of these and
	// "" are empty cells.
	Rows [][]any
}

// WriteWorkbook writes pages as an XLSX workbook: headings that stay in sight,
// real numbers and days, and a last sheet with the notes. Texts stay texts: what
// starts with = is no formula, and 2-4 stays 2-4 when it is typed again. Equal
// pages give equal bytes.
//
// The error says which page or cell cannot be written.
func WriteWorkbook(pages []Page) ([]byte, error) {
	var out []leaf
	notes := Page{Name: bookNotes, Head: []string{"sheet", "note"}}
	for _, p := range pages {
		for _, n := range p.Notes {
			notes.Rows = append(notes.Rows, []any{p.Name, n})
		}
	}
	if len(notes.Rows) > 0 {
		pages = append(slices.Clone(pages), notes)
	}
	for _, p := range pages {
		out = append(out, leafOf(p))
	}
	return writeBook(out)
}

// leaf is a sheet as it is laid out.
type leaf struct {
	name    string
	columns []column
	rows    [][]any
	hidden  bool
	free    bool // no headings: the columns only say how wide they are
}

type column struct {
	head, note string // the note is shown when the pointer rests on the heading
	needed     bool
	text       bool // what is typed stays as it is typed
	width      float64
	list       string // source of a drop-down: "a,b" in quotes, or cells
}

// leafOf lays out a page; columns fit their first rows, within limits.
func leafOf(p Page) leaf {
	l := leaf{name: p.Name, rows: p.Rows}
	for i, h := range p.Head {
		wide, texts, others := min(utf8.RuneCountInString(h), 16), 0, 0
		for _, row := range p.Rows {
			if i >= len(row) {
				continue
			}
			switch v := row[i].(type) {
			case nil:
			case string:
				if texts++; texts < 200 {
					wide = max(wide, utf8.RuneCountInString(v))
				}
			default:
				others++
				wide = max(wide, 10)
			}
		}
		l.columns = append(l.columns, column{head: h, width: float64(min(wide, 60) + 2), text: texts > 0 && others == 0})
	}
	return l
}

// Cell styles, in the order of styleSheet.
const (
	styleNone = iota
	styleHead
	styleNeeded
	styleDay
	styleText
	styleTitle
)

const styleSheet = `<fonts count="2"><font><sz val="11"/><name val="Calibri"/><family val="2"/></font><font><b/><sz val="11"/><name val="Calibri"/><family val="2"/></font></fonts>` +
	`<fills count="4"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill>` +
	`<fill><patternFill patternType="solid"><fgColor rgb="FFEDEDED"/><bgColor indexed="64"/></patternFill></fill><fill><patternFill patternType="solid"><fgColor rgb="FFFCE4D6"/><bgColor indexed="64"/></patternFill></fill></fills>` +
	`<borders count="2"><border><left/><right/><top/><bottom/><diagonal/></border><border><left/><right/><top/><bottom style="thin"><color rgb="FF7F7F7F"/></bottom><diagonal/></border></borders>` +
	`<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs><cellXfs count="6">` +
	`<xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>` +
	`<xf numFmtId="49" fontId="1" fillId="2" borderId="1" xfId="0" applyNumberFormat="1" applyFont="1" applyFill="1" applyBorder="1" applyAlignment="1"><alignment vertical="top" wrapText="1"/></xf>` +
	`<xf numFmtId="49" fontId="1" fillId="3" borderId="1" xfId="0" applyNumberFormat="1" applyFont="1" applyFill="1" applyBorder="1" applyAlignment="1"><alignment vertical="top" wrapText="1"/></xf>` +
	`<xf numFmtId="164" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/>` +
	`<xf numFmtId="49" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/>` +
	`<xf numFmtId="0" fontId="1" fillId="0" borderId="0" xfId="0" applyFont="1"/></cellXfs>` +
	`<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles>`

const (
	xmlHead   = `<?xml version="1.0" encoding="UTF-8" standalone="yes"?>` + "\n"
	mainNS    = ` xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"`
	docNS     = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
	packNS    = "http://schemas.openxmlformats.org/package/2006/"
	sheetMIME = "application/vnd.openxmlformats-officedocument.spreadsheetml."
)

// archive is the zip archive of a workbook (ISO/IEC 29500 and, for the boxes of
// notes, VML of its Part 4) that is being written, part by part.
type archive struct {
	zip *zip.Writer
	out *bufio.Writer // the part at hand
	err error         // the first
}

// part begins a part. No time is stamped, so that the same workbook has the same
// bytes.
func (a *archive) part(name string) {
	a.flush()
	w, err := a.zip.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate})
	if err != nil {
		a.fail(err)
		w = io.Discard
	}
	a.out = bufio.NewWriterSize(w, 1<<16)
	a.put(xmlHead)
}

func (a *archive) flush() {
	if a.out != nil {
		a.fail(a.out.Flush())
	}
}

func (a *archive) fail(err error) { a.err = cmp.Or(a.err, err) }

func (a *archive) put(parts ...string) {
	for _, s := range parts {
		a.out.WriteString(s) // its error comes with Flush
	}
}

// text writes what stands between tags or quotes.
func (a *archive) text(s string) {
	// _x0041_ is how the format writes a character: its own text is marked.
	for {
		i := strings.Index(s, "_x")
		if i < 0 || i+7 > len(s) {
			break
		}
		a.fail(xml.EscapeText(a.out, []byte(s[:i])))
		if _, err := strconv.ParseUint(s[i+2:i+6], 16, 16); err == nil && s[i+6] == '_' {
			a.put("_x005F_x")
		} else {
			a.put("_x")
		}
		s = s[i+2:]
	}
	a.fail(xml.EscapeText(a.out, []byte(s)))
}

// writeBook writes the sheets as a workbook.
func writeBook(leaves []leaf) ([]byte, error) {
	if err := checkNames(leaves); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	a := &archive{zip: zip.NewWriter(&b)}
	noted := make([]bool, len(leaves))
	for i, l := range leaves {
		noted[i] = slices.ContainsFunc(l.columns, func(c column) bool { return c.note != "" })
	}
	a.part("[Content_Types].xml")
	a.put(`<Types xmlns="`, packNS, `content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/>`,
		`<Default Extension="vml" ContentType="application/vnd.openxmlformats-officedocument.vmlDrawing"/><Override PartName="/xl/workbook.xml" ContentType="`, sheetMIME, `sheet.main+xml"/><Override PartName="/xl/styles.xml" ContentType="`, sheetMIME, `styles+xml"/>`)
	for i := range leaves {
		a.put(fmt.Sprintf(`<Override PartName="/xl/worksheets/sheet%d.xml" ContentType="%sworksheet+xml"/>`, i+1, sheetMIME))
		if noted[i] {
			a.put(fmt.Sprintf(`<Override PartName="/xl/comments%d.xml" ContentType="%scomments+xml"/>`, i+1, sheetMIME))
		}
	}
	a.put(`</Types>`)
	a.relations("_rels/.rels", [2]string{"officeDocument", "xl/workbook.xml"})
	a.part("xl/workbook.xml")
	a.put(`<workbook`, mainNS, ` xmlns:r="`, docNS, `"><bookViews><workbookView/></bookViews><sheets>`)
	parts := [][2]string{}
	for i, l := range leaves {
		a.put(`<sheet name="`)
		a.text(l.name)
		a.put(fmt.Sprintf(`" sheetId="%d"`, i+1))
		if l.hidden {
			a.put(` state="hidden"`)
		}
		a.put(fmt.Sprintf(` r:id="rId%d"/>`, i+1))
		parts = append(parts, [2]string{"worksheet", fmt.Sprintf("worksheets/sheet%d.xml", i+1)})
	}
	a.put(`</sheets></workbook>`)
	a.relations("xl/_rels/workbook.xml.rels", append(parts, [2]string{"styles", "styles.xml"})...)
	a.part("xl/styles.xml")
	a.put(`<styleSheet`, mainNS, `><numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy\-mm\-dd"/></numFmts>`, styleSheet, `</styleSheet>`)
	for i := range leaves {
		a.sheet(&leaves[i], i+1, noted[i])
	}
	a.flush()
	a.fail(a.zip.Close())
	return b.Bytes(), a.err
}

// relations writes the list of parts that a part refers to: kind and target.
func (a *archive) relations(name string, list ...[2]string) {
	a.part(name)
	a.put(`<Relationships xmlns="`, packNS, `relationships">`)
	for i, r := range list {
		a.put(fmt.Sprintf(`<Relationship Id="rId%d" Type="%s/%s" Target="%s"/>`, i+1, docNS, r[0], r[1]))
	}
	a.put(`</Relationships>`)
}

// checkNames refuses what no spreadsheet program takes as a sheet's name.
func checkNames(leaves []leaf) error {
	seen := map[string]bool{}
	for _, l := range leaves {
		n := len(utf16.Encode([]rune(l.name)))
		switch {
		case n == 0 || n > 31 || strings.ContainsAny(l.name, `[]:*?/\`) || strings.HasPrefix(l.name, "'") || strings.HasSuffix(l.name, "'"):
			return fmt.Errorf("sheet %q: expected a name of 1 to 31 letters without any of []:*?/\\", l.name)
		case seen[strings.ToLower(l.name)]:
			return fmt.Errorf("sheet %q: named twice", l.name)
		}
		seen[strings.ToLower(l.name)] = true
	}
	if len(leaves) == 0 {
		return fmt.Errorf("a workbook without sheets")
	}
	return nil
}

// sheet writes a sheet and, where its headings have notes, the parts that hold
// these.
func (a *archive) sheet(l *leaf, n int, noted bool) {
	a.part(fmt.Sprintf("xl/worksheets/sheet%d.xml", n))
	a.put(`<worksheet`, mainNS, ` xmlns:r="`, docNS, `"><sheetPr><pageSetUpPr fitToPage="1"/></sheetPr><sheetViews><sheetView`)
	if n == 1 {
		a.put(` tabSelected="1"`)
	}
	a.put(` workbookViewId="0">`)
	if !l.free {
		a.put(`<pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/><selection pane="bottomLeft" activeCell="A2" sqref="A2"/>`)
	}
	a.put(`</sheetView></sheetViews>`)
	for i, c := range l.columns {
		if i == 0 {
			a.put(`<cols>`)
		}
		style := styleNone
		if c.text {
			style = styleText
		}
		a.put(fmt.Sprintf(`<col min="%d" max="%d" width="%g" style="%d" customWidth="1"/>`, i+1, i+1, c.width, style))
		if i == len(l.columns)-1 {
			a.put(`</cols>`)
		}
	}
	a.put(`<sheetData>`)
	a.rows(l)
	a.put(`</sheetData>`)
	lists := 0
	for _, c := range l.columns {
		if c.list != "" {
			lists++
		}
	}
	if lists > 0 {
		// No list refuses what it lacks: the import says better what is wrong.
		a.put(fmt.Sprintf(`<dataValidations count="%d">`, lists))
		for i, c := range l.columns {
			if c.list != "" {
				a.put(fmt.Sprintf(`<dataValidation type="list" allowBlank="1" sqref="%s2:%[1]s%d"><formula1>`, columnName(i), fillRows))
				a.text(c.list)
				a.put(`</formula1></dataValidation>`)
			}
		}
		a.put(`</dataValidations>`)
	}
	a.put(`<pageSetup orientation="landscape" fitToHeight="0"/>`)
	if n := len(l.columns); n > 0 { // a report 0042 is no mistake
		a.put(fmt.Sprintf(`<ignoredErrors><ignoredError sqref="A1:%s%d" numberStoredAsText="1"/></ignoredErrors>`, columnName(n-1), maxRows))
	}
	if noted {
		a.put(`<legacyDrawing r:id="rId2"/>`)
	}
	a.put(`</worksheet>`)
	if noted {
		a.relations(fmt.Sprintf("xl/worksheets/_rels/sheet%d.xml.rels", n), [2]string{"comments", fmt.Sprintf("../comments%d.xml", n)}, [2]string{"vmlDrawing", fmt.Sprintf("../drawings/vmlDrawing%d.vml", n)})
		a.notes(l, n)
	}
}

// rows writes headings and rows.
func (a *archive) rows(l *leaf) {
	line := 0
	begin := func() {
		line++
		a.put(`<row r="`, strconv.Itoa(line), `">`)
	}
	var names []string
	for i := range l.columns {
		names = append(names, columnName(i))
	}
	if !l.free {
		begin()
		for i, c := range l.columns {
			style := styleHead
			if c.needed {
				style = styleNeeded
			}
			a.string(names[i], line, style, c.head)
		}
		a.put(`</row>`)
	}
	for i, row := range l.rows {
		if len(row) != len(l.columns) || line >= maxRows {
			a.fail(fmt.Errorf("sheet %q, row %d: %d cells under %d headings, or more than %d rows", l.name, i+1, len(row), len(l.columns), maxRows))
			return
		}
		begin()
		for k, v := range row {
			if err := a.cell(names[k], line, v, l.free); err != nil {
				a.fail(fmt.Errorf("sheet %q, row %d, column %s: %w", l.name, i+1, cmp.Or(l.columns[k].head, names[k]), err))
				return
			}
		}
		a.put(`</row>`)
	}
}

func (a *archive) open(col string, line, style int) {
	a.put(`<c r="`, col, strconv.Itoa(line), `"`)
	if style > 0 {
		a.put(` s="`, strconv.Itoa(style), `"`)
	}
}

func (a *archive) string(col string, line, style int, s string) {
	a.open(col, line, style)
	a.put(` t="inlineStr"><is><t xml:space="preserve">`)
	a.text(s)
	a.put(`</t></is></c>`)
}

// title is text in bold.
type title string

// cell writes a value; free text is not marked as typed text.
func (a *archive) cell(col string, line int, v any, free bool) error {
	number := func(style int, s string) error {
		a.open(col, line, style)
		a.put(`><v>`, s, `</v></c>`)
		return nil
	}
	switch v := v.(type) {
	case nil:
		return nil
	case string:
		style := styleText
		if free {
			style = styleNone
		}
		if len(utf16.Encode([]rune(v))) > 32767 {
			return fmt.Errorf("a text of more than 32,767 letters")
		}
		if v != "" {
			a.string(col, line, style, v)
		}
		return nil
	case title:
		a.string(col, line, styleTitle, string(v))
		return nil
	case bool:
		return a.cell(col, line, map[bool]string{true: "yes", false: "no"}[v], free)
	case int:
		return number(styleNone, strconv.Itoa(v))
	case int32:
		return number(styleNone, strconv.Itoa(int(v)))
	case int64:
		return number(styleNone, strconv.FormatInt(v, 10))
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("%v is no number", v)
		}
		return number(styleNone, strconv.FormatFloat(v+0, 'g', -1, 64)) // +0: no minus zero
	case dataset.Date:
		return a.cell(col, line, v.Time(), free)
	case time.Time:
		day := int(v.Unix()/86400) + 25569 // from 30 December 1899
		if day < 61 {                      // before March 1900 the count is wrong
			return a.cell(col, line, v.Format("2006-01-02"), free)
		}
		return number(styleDay, strconv.Itoa(day))
	case *string:
		if v == nil {
			return nil
		}
		return a.cell(col, line, *v, free)
	case *float64:
		if v == nil {
			return nil
		}
		return a.cell(col, line, *v, free)
	case *int32:
		if v == nil {
			return nil
		}
		return a.cell(col, line, *v, free)
	case *dataset.Date:
		if v == nil {
			return nil
		}
		return a.cell(col, line, *v, free)
	}
	return fmt.Errorf("a %T cannot be written", v)
}

// notes writes the notes on a sheet's headings and the boxes that show them.
func (a *archive) notes(l *leaf, n int) {
	a.part(fmt.Sprintf("xl/comments%d.xml", n))
	a.put(`<comments`, mainNS, `><authors><author>carryover</author></authors><commentList>`)
	for i, c := range l.columns {
		if c.note != "" {
			a.put(`<comment ref="`, columnName(i), `1" authorId="0"><text><t xml:space="preserve">`)
			a.text(c.note)
			a.put(`</t></text></comment>`)
		}
	}
	a.put(`</commentList></comments>`)
	a.part(fmt.Sprintf("xl/drawings/vmlDrawing%d.vml", n))
	a.put(`<xml xmlns:v="urn:schemas-microsoft-com:vml" xmlns:o="urn:schemas-microsoft-com:office:office" xmlns:x="urn:schemas-microsoft-com:office:excel">`,
		fmt.Sprintf(`<o:shapelayout v:ext="edit"><o:idmap v:ext="edit" data="%d"/></o:shapelayout>`, n),
		`<v:shapetype id="_x0000_t202" coordsize="21600,21600" o:spt="202" path="m,l,21600r21600,l21600,xe"><v:stroke joinstyle="miter"/><v:path gradientshapeok="t" o:connecttype="rect"/></v:shapetype>`)
	for i, c := range l.columns {
		if c.note == "" {
			continue
		}
		deep := 2 + (len(c.note)/34+strings.Count(c.note, "\n"))*4/5 // rows that the box covers
		a.put(fmt.Sprintf(`<v:shape id="_x0000_s%d" type="#_x0000_t202" style="position:absolute;visibility:hidden" fillcolor="#ffffe1" o:insetmode="auto">`, n*1024+i+1),
			`<v:fill color2="#ffffe1"/><v:shadow on="t" color="black" obscured="t"/><v:path o:connecttype="none"/><v:textbox style="mso-direction-alt:auto"><div style="text-align:left"></div></v:textbox>`,
			fmt.Sprintf(`<x:ClientData ObjectType="Note"><x:MoveWithCells/><x:SizeWithCells/><x:Anchor>%d, 15, 0, 10, %d, 15, %d, 4</x:Anchor><x:AutoFill>False</x:AutoFill><x:Row>0</x:Row><x:Column>%d</x:Column></x:ClientData></v:shape>`, i+1, i+4, deep, i))
	}
	a.put(`</xml>`)
}

// Workbook returns a workbook to fill in: a sheet for each table under the
// headings of the CSV templates in the units of "us" or "metric", with a note on
// every heading, drop-downs, and a first sheet that explains. beds are the names
// the drop-downs offer; nil: those on the sheet beds.
func Workbook(units string, beds []string) ([]byte, error) {
	side := 0
	if units == "metric" {
		side = 1
	}
	all := tables()
	choices, lists := choicesOf(beds)
	leaves := []leaf{readmeLeaf(all, units)}
	for i := range all {
		leaves = append(leaves, blank(&all[i], units, side, lists))
	}
	return writeBook(append(leaves, choices))
}

// blank lays out the empty sheet of a table.
func blank(t *table, units string, side int, lists map[string]string) leaf {
	l := leaf{name: t.sheet}
	for i := range t.fields {
		f := &t.fields[i]
		if f.more {
			continue
		}
		c := column{head: f.heading(units), note: f.says, needed: f.need, text: asText(f)}
		c.width = float64(min(max(len(c.head), 9), 20) + 3)
		if f.need {
			c.note += "; must be filled in"
		}
		for _, eg := range t.eg[side] {
			// The examples' texts hold no quotes.
			if cells := strings.Split(eg, ","); len(l.columns) < len(cells) && cells[len(l.columns)] != "" && f.name != "note" {
				c.note += "\nFor example (invented): " + cells[len(l.columns)]
				break
			}
		}
		c.note = strings.TrimLeft(c.note, "; \n")
		switch {
		case len(f.choices) > 0:
			words := slices.DeleteFunc(slices.Clone(f.choices), func(s string) bool { return strings.Contains(s, "=") })
			c.list = `"` + strings.Join(words, ",") + `"`
		case f.name == "bed" && t.name != "beds":
			c.list = lists["bed"]
		case f.name == "material" && t.name != "materials":
			c.list = "materials!$A$2:$A$500"
		default:
			c.list = lists[t.name+"."+f.name]
		}
		l.columns = append(l.columns, c)
	}
	return l
}

// choicesOf lays out the hidden sheet behind the drop-downs, and tells where
// each list stands.
func choicesOf(beds []string) (leaf, map[string]string) {
	all := map[string][]string{
		"soil_tests.unit":  {"ppm", "mg/kg", "lb/acre", "lb/1000 sq ft", "kg/ha", "meq/100 g", "cmolc/kg", "mg/dm3", "%", "dS/m", "mmho/cm"},
		"water_tests.unit": {"mg/L", "ppm", "meq/L", "dS/m"},
		"leaf_tests.unit":  {"%", "ppm", "mg/kg", "g/kg"},
		"materials.unit":   {"%", "ppm", "lb/cu yd", "kg/m3", "dS/m"},
	}
	for _, t := range []string{"amendments", "advice", "lists"} {
		all[t+".unit"] = unit.Names(unit.Mass, unit.MassPerArea, unit.Liquid, unit.LiquidPerArea, unit.Volume, unit.Length)
	}
	for _, a := range unit.Analytes() {
		all["soil_tests.analyte"] = append(all["soil_tests.analyte"], a.ID)
	}
	for _, m := range unit.Methods() {
		all["soil_tests.method"] = append(all["soil_tests.method"], m.ID)
	}
	lists := map[string]string{"bed": "beds!$A$2:$A$200"}
	if len(beds) > 0 {
		all["bed"] = beds
	}
	l := leaf{name: bookChoices, hidden: true}
	for i, key := range slices.Sorted(maps.Keys(all)) {
		l.columns = append(l.columns, column{head: key, width: 20, text: true})
		lists[key] = fmt.Sprintf("%s!$%s$2:$%[2]s$%d", bookChoices, columnName(i), len(all[key])+1)
		for k, word := range all[key] {
			if k >= len(l.rows) {
				l.rows = append(l.rows, make([]any, len(all)))
			}
			l.rows[k][i] = word
		}
	}
	return l, lists
}

// asText reports whether a column keeps what is typed as it is typed, so that a
// depth 2-4 does not turn into a day and a report 0042 keeps its zeros. Days are
// left to the program: it knows how its user writes them, and shows a month that
// is typed without a day as a month.
func asText(f *field) bool {
	switch f.name {
	case "value", "amount", "cores", "plants", "season", "every days", "native ph", "low", "high", "level", "batch", "line",
		"date", "from", "until", "set out", "pollinated", "feeding ended", "vines cleared", "fruit lost", "ended", "listed on", "made on":
		return false
	}
	return f.name == "depth" || !f.past && len(f.qs) == 0 && len(f.choices) == 0
}

// readmeLeaf lays out the first sheet.
func readmeLeaf(all []table, units string) leaf {
	l := leaf{name: bookReadme, free: true, columns: []column{{width: 26}, {width: 100}}}
	for i, line := range strings.Split(bookText, "\n") {
		if i == 0 {
			l.rows = append(l.rows, []any{title(line), nil})
		} else {
			l.rows = append(l.rows, []any{line, nil})
		}
	}
	for i := range all {
		t := &all[i]
		l.rows = append(l.rows, []any{nil, nil}, []any{title(t.sheet), t.says})
		for k := range t.fields {
			if f := &t.fields[k]; !f.more {
				says := f.says
				if f.need {
					says = strings.TrimPrefix(says+"; must be filled in", "; ")
				}
				l.rows = append(l.rows, []any{f.heading(units), says})
			}
		}
	}
	return l
}

const bookText = `The workbook of your record book

Fill in one row for each record, save, and import this workbook as it is: carryover import sheets.xlsx
Fill in what you have; every sheet may stay empty.
Start with the sheet beds. Leave the headings in the first line as they are: a unit in brackets says what the figures below it are in.
Columns with a tinted heading must be filled in. Rest the pointer on a heading to read what belongs there, with an invented example.
The lists that drop down only offer: what they lack may be typed. Rows that start with # are passed over.
A cell holds a figure or words, never a formula, and cells are not merged.

2026-10-28 is a day, 2026-10 a month, autumn 2026 a season. ~ before a date marks a guess.
Copy value, unit and method as the lab prints them. < and > may stand before a value: "not detected" is < and the lab's limit, <0.2.

Add new rows below the old ones each year and import the whole workbook again: what the book holds already is skipped.
To mend a figure, change it where it stands and import with --correct: the old one stays in the book's history.

Handle lime, sulfur, ash and raw manure with care: their dust and germs can harm you.
The product's label, your lab and local rules come first.`
