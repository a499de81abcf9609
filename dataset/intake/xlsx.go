package intake

import (
	"archive/zip"
	"bytes"
	"cmp"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// Limits of a workbook. What goes beyond them is no grower's sheet.
const (
	maxUnzipped = 512 << 20 // bytes of all parts
	maxPart     = 200 << 20 // bytes of one sheet, or of the texts that they share
	maxSmall    = 32 << 20  // bytes of any other part
	maxColumns  = 1000      // to ALL
	maxSheets   = 250
	maxTexts    = 4 << 20 // shared by the sheets
	maxMerged   = 100_000
	maxCell     = 4 * 32767 // bytes of a text: programs hold 32,767 letters
	maxRows     = 1 << 20   // what a spreadsheet program can hold
)

// xlsx is a workbook (ISO/IEC 29500, SpreadsheetML) that is being read. Rows are
// taken from its parts as they are asked for; only the texts that its sheets
// share are held. Styles are read for one thing: what a number stands for.
type xlsx struct {
	parts    map[string]*zip.File // by name in lower case
	texts    []string             // shared by the sheets
	formats  []cellForm           // by cell style
	from1904 bool                 // days are counted from 1904
	shown    bool                 // formulas give what they last showed
	odd      bool                 // a shared text may be a number with a comma
}

// cellForm is what the number of a cell stands for, by its number format.
type cellForm uint8

const (
	asNumber cellForm = iota
	asPercent
	asDay     // year, month, day
	asTime    // with hours
	asMonth   // year and month
	asYear    // the year alone
	asDayOnly // a day or month without its year
	asClock   // hours alone
)

// openWorkbook finds the visible sheets of a workbook that have rows.
func (r *reader) openWorkbook(s Source) ([]sheet, *scanError) {
	x := &xlsx{parts: map[string]*zip.File{}, shown: r.opt.Map != nil && r.opt.Map.shown}
	list, err := x.open(s.Data)
	if err != nil {
		return nil, err
	}
	if x.parts["xl/vbaproject.bin"] != nil {
		r.note("%s: its macros are passed over", s.Name)
	}
	var out []sheet
	var hidden, names []string
	for _, in := range list {
		names = append(names, in.title)
		if in.hidden {
			if in.title != bookChoices {
				hidden = append(hidden, in.title)
			}
			continue
		}
		rows, err := x.survey(in.part)
		if err != nil {
			return nil, damaged(err)
		}
		sh := sheet{name: s.Name + "/" + in.title, title: in.title, between: "cell", size: rows.count, hides: rows.hides}
		peek := rows.start(false)
		head, _, failed := peek.next()
		peek.stop()
		if head == nil && failed == nil {
			continue
		}
		if sh.err = failed; failed == nil {
			sh.first = slices.Clone(head)
			sh.comma, sh.err = r.decimals(sh.name, rows.textCells, false)
		}
		sh.lines = rows.start(sh.comma)
		out = append(out, sh)
	}
	if len(hidden) > 0 {
		r.note("%s: hidden sheets passed over: %s", s.Name, strings.Join(hidden, ", "))
	}
	if len(out) == 0 {
		return nil, &scanError{0, "a workbook without filled sheets that can be seen (" + shorten(strings.Join(names, ", ")) + ")", "a sheet with headings and rows", "fill it in; carryover new writes one with headings"}
	}
	return out, nil
}

// damaged is the fault of a workbook whose inside is not what it should be.
func damaged(err error) *scanError {
	if e, ok := err.(*scanError); ok {
		return e
	}
	return &scanError{0, "a workbook that is damaged (" + err.Error() + ")", "one that opens", "open it, save it again as XLSX and import that"}
}

// beyond is the error of a workbook beyond the limits.
func beyond(found, expected string) error {
	return &scanError{0, found, expected, "save the sheet alone, as CSV"}
}

// xlsxSheet is a sheet as the workbook lists it.
type xlsxSheet struct {
	title, part string
	hidden      bool
}

// open reads everything but the sheets.
func (x *xlsx) open(data []byte) ([]xlsxSheet, *scanError) {
	const again = "open it and save its sheet as XLSX or CSV"
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, damaged(err)
	}
	total := uint64(0)
	for _, f := range z.File {
		if total += f.UncompressedSize64; f.UncompressedSize64 > maxUnzipped || total > maxUnzipped {
			return nil, damaged(beyond("a workbook that unzips to more than 512 MB", "at most that"))
		}
		x.parts[strings.ToLower(strings.TrimPrefix(strings.ReplaceAll(f.Name, `\`, "/"), "/"))] = f
	}
	refuse := func(found string) ([]xlsxSheet, *scanError) {
		return nil, &scanError{0, found, "a sheet (CSV or XLSX)", again}
	}
	switch {
	case x.parts["mimetype"] != nil && x.parts["content.xml"] != nil:
		return refuse("an OpenDocument workbook (ODS)")
	case x.parts["index/document.iwa"] != nil || x.parts["index.zip"] != nil:
		return refuse("a Numbers document")
	case x.parts["xl/workbook.bin"] != nil:
		return refuse("a binary workbook (XLSB)")
	case x.parts["word/document.xml"] != nil:
		return refuse("a text document (DOCX)")
	case x.parts["[content_types].xml"] == nil && x.parts["xl/workbook.xml"] == nil:
		return nil, &scanError{0, "a zip archive", "a sheet (CSV or XLSX)", "unpack it and name the sheets in it"}
	}
	list, err := x.contents()
	if err != nil {
		return nil, damaged(err)
	}
	return list, nil
}

// relation is one line of a part's list of the parts it refers to.
type relation struct {
	ID     string `xml:"Id,attr"`
	Type   string `xml:"Type,attr"`
	Target string `xml:"Target,attr"`
}

// relations reads the list that belongs to a part, with whole names.
func (x *xlsx) relations(part string) ([]relation, error) {
	dir, base := path.Split(part)
	var list struct {
		Relationship []relation
	}
	if err := x.unmarshal(path.Join(dir, "_rels", base+".rels"), &list); err != nil {
		return nil, err
	}
	for i := range list.Relationship {
		r := &list.Relationship[i]
		if !strings.HasPrefix(r.Target, "/") {
			r.Target = path.Join("/", dir, r.Target)
		}
		r.Target = strings.TrimPrefix(r.Target, "/")
	}
	return list.Relationship, nil
}

// is reports whether the relation is of a kind, in either edition of the format.
func (r relation) is(kind string) bool { return strings.HasSuffix(r.Type, "/"+kind) }

// contents reads the workbook part and what it shares between its sheets.
func (x *xlsx) contents() ([]xlsxSheet, error) {
	top, err := x.relations("")
	if err != nil {
		return nil, err
	}
	main := "xl/workbook.xml"
	for _, r := range top {
		if r.is("officeDocument") {
			main = r.Target
		}
	}
	var book struct {
		Pr struct {
			Date1904 bool `xml:"date1904,attr"`
		} `xml:"workbookPr"`
		Sheets []struct {
			Name  string `xml:"name,attr"`
			State string `xml:"state,attr"`
			ID    string `xml:"id,attr"`
		} `xml:"sheets>sheet"`
	}
	if err := x.unmarshal(main, &book); err != nil {
		return nil, err
	}
	parts, err := x.relations(main)
	if err != nil {
		return nil, err
	}
	x.from1904 = book.Pr.Date1904
	byID := map[string]relation{}
	for _, p := range parts {
		byID[p.ID] = p
		switch {
		case p.is("sharedStrings") && x.texts == nil:
			err = x.shareTexts(p.Target)
		case p.is("styles"):
			err = x.styles(p.Target)
		}
		if err != nil {
			return nil, err
		}
	}
	var out []xlsxSheet
	if n := len(book.Sheets); n > maxSheets {
		return nil, beyond(fmt.Sprintf("a workbook of %d sheets", n), fmt.Sprintf("at most %d", maxSheets))
	}
	seen := map[string]bool{}
	for _, s := range book.Sheets {
		p := byID[s.ID]
		if !p.is("worksheet") { // charts and dialogues hold no rows
			continue
		}
		if seen[p.Target] {
			return nil, fmt.Errorf("%s is two sheets", p.Target)
		}
		seen[p.Target] = true
		out = append(out, xlsxSheet{s.Name, p.Target, s.State == "hidden" || s.State == "veryHidden"})
	}
	return out, nil
}

// part opens a part.
func (x *xlsx) part(name string, most uint64) (io.ReadCloser, error) {
	f := x.parts[strings.ToLower(name)]
	if f == nil {
		return nil, fmt.Errorf("no part %q", name)
	}
	if f.UncompressedSize64 > most {
		return nil, beyond(fmt.Sprintf("a workbook whose part %s unzips to %d MB", path.Base(name), f.UncompressedSize64>>20), fmt.Sprintf("at most %d MB", most>>20))
	}
	return f.Open()
}

func (x *xlsx) unmarshal(name string, v any) error {
	in, err := x.part(name, maxSmall)
	if err != nil {
		return err
	}
	defer in.Close()
	text, err := io.ReadAll(in) // to its end, where the checksum is held against it
	if err == nil {
		err = xml.Unmarshal(text, v)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}

// shareTexts reads the texts that cells point to. Readings in another script
// (rPh) are no part of a text.
func (x *xlsx) shareTexts(name string) error {
	in, err := x.part(name, maxPart)
	if err != nil {
		return err
	}
	defer in.Close()
	dec := xml.NewDecoder(in)
	var text []byte
	inText, aside := false, false
	for {
		tok, err := dec.RawToken()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		switch t := tok.(type) {
		case xml.StartElement:
			switch t.Name.Local {
			case "si":
				text = text[:0]
			case "rPh":
				aside = true
			case "t":
				inText = !aside
			}
		case xml.CharData:
			if inText {
				text = append(text, t...)
			}
			if len(text) > maxCell {
				return &scanError{0, "a workbook that holds a text of more than 32,767 letters", "figures and short texts", "shorten it"}
			}
		case xml.EndElement:
			switch t.Name.Local {
			case "si":
				if len(x.texts) >= maxTexts {
					return beyond("a workbook of more than 4 million texts", "at most that")
				}
				s := plainText(text)
				x.texts = append(x.texts, s)
				if !x.odd {
					c, p, o := punctuation(s)
					x.odd = c || o && !p
				}
			case "rPh":
				aside = false
			case "t":
				inText = false
			}
		}
	}
}

// plainText is the text of a cell: trimmed, with the characters the format
// writes as _x000D_ in their place.
func plainText(b []byte) string {
	if bytes.Contains(b, []byte("_x")) {
		out := make([]byte, 0, len(b))
		for len(b) > 0 {
			if len(b) >= 7 && b[0] == '_' && b[1] == 'x' && b[6] == '_' {
				if n, err := strconv.ParseUint(string(b[2:6]), 16, 16); err == nil {
					out, b = utf8.AppendRune(out, rune(n)), b[7:]
					continue
				}
			}
			out, b = append(out, b[0]), b[1:]
		}
		b = out
	}
	return strings.TrimSpace(string(b))
}

// styles reads what the number of each cell style stands for.
func (x *xlsx) styles(name string) error {
	var s struct {
		Formats []struct {
			ID   int    `xml:"numFmtId,attr"`
			Code string `xml:"formatCode,attr"`
		} `xml:"numFmts>numFmt"`
		Cells []struct {
			ID int `xml:"numFmtId,attr"`
		} `xml:"cellXfs>xf"`
	}
	if err := x.unmarshal(name, &s); err != nil {
		return err
	}
	own := map[int]cellForm{}
	for _, f := range s.Formats {
		own[f.ID] = formOf(f.Code)
	}
	for _, c := range s.Cells {
		form, ok := own[c.ID]
		if !ok {
			form = builtIn(c.ID)
		}
		x.formats = append(x.formats, form)
	}
	return nil
}

// builtIn is what the formats mean that have numbers alone.
//
// Source: ISO/IEC 29500-1:2016, 18.8.30 numFmt.
func builtIn(id int) cellForm {
	switch {
	case id == 9 || id == 10:
		return asPercent
	case id == 14 || id == 15, id >= 27 && id <= 31, id == 36, id >= 50 && id <= 54, id == 57, id == 58:
		return asDay
	case id == 16:
		return asDayOnly
	case id == 17:
		return asMonth
	case id == 22:
		return asTime
	case id >= 18 && id <= 21, id >= 32 && id <= 35, id >= 45 && id <= 47, id == 55, id == 56:
		return asClock
	}
	return asNumber
}

// formOf reads a format code such as yyyy-mm-dd, 0.0% or [$-409]mmm\-yy;@.
func formOf(code string) cellForm {
	var year, month, day, clock, percent bool
	last := byte(0) // of y, m, d, h, s: the letter before
	for i := 0; i < len(code); {
		c := code[i] | 0x20
		n := 1
		switch {
		case code[i] == '"':
			n = 1 + max(strings.IndexByte(code[i+1:], '"')+1, 1)
		case code[i] == '\\' || code[i] == '_' || code[i] == '*':
			n = 2
		case code[i] == '[':
			n = 1 + max(strings.IndexByte(code[i:], ']'), 0)
			if in := strings.ToLower(code[i:min(i+2, len(code))]); in == "[h" || in == "[m" || in == "[s" { // [Magenta] is a colour
				if n > 2 && strings.Trim(strings.ToLower(code[i+1:i+n-1]), "hms") == "" {
					clock, last = true, in[1]
				}
			}
		case code[i] == ';':
			i = len(code) // other sections are for other signs
		case code[i] == '%':
			percent = true
		case len(code) >= i+5 && strings.EqualFold(code[i:i+5], "AM/PM"):
			clock, n = true, 5
		case len(code) >= i+3 && strings.EqualFold(code[i:i+3], "A/P"):
			clock, n = true, 3
		case c == 'y' || c == 'm' || c == 'd' || c == 'h' || c == 's':
			for i+n < len(code) && code[i+n]|0x20 == c {
				n++
			}
			switch c {
			case 'y':
				year = true
			case 'd':
				day = day || n <= 2 // dddd is the name of a weekday
			case 'h', 's':
				clock = true
			case 'm':
				next := strings.ToLower(strings.TrimLeft(code[i+n:], `:.0 \`))
				if n <= 2 && (last == 'h' || last == 's' || strings.HasPrefix(next, "s")) {
					clock = true
				} else {
					month = true
				}
			}
			last = c
		case len(code) >= i+7 && strings.EqualFold(code[i:i+7], "General"):
			n = 7
		}
		i += n
	}
	switch {
	case year && month && day && clock:
		return asTime
	case year && month && day, year && day:
		return asDay
	case year && month:
		return asMonth
	case year:
		return asYear
	case month || day:
		return asDayOnly
	case clock:
		return asClock
	case percent:
		return asPercent
	}
	return asNumber
}

// xlsxTable is a sheet as a first look shows it.
type xlsxTable struct {
	*xlsx
	part   string
	count  int    // rows, about
	hides  bool   // rows or columns of it are hidden
	odd    bool   // a text of its own may be a number with a comma
	merged []span // by first row
	window []byte // of the part, as it passes by
	tail   []byte // what follows the rows
	ended  bool
}

// span is a range of merged cells: rows from 1, columns from 0.
type span struct {
	name                     string
	left, top, right, bottom int
	seen                     bool
}

// survey reads a sheet's part through once: the merged cells are named behind
// the rows and must be known before them, and a part that breaks off must not be
// half read.
func (x *xlsx) survey(part string) (*xlsxTable, error) {
	in, err := x.part(part, maxPart)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	t := &xlsxTable{xlsx: x, part: part}
	if _, err := io.Copy(t, in); err != nil {
		return nil, fmt.Errorf("%s: %w", part, err)
	}
	if !t.ended {
		return nil, fmt.Errorf("%s: its rows break off", part)
	}
	dec := xml.NewDecoder(bytes.NewReader(t.tail))
	for {
		tok, err := dec.RawToken()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", part, err)
		}
		if e, ok := tok.(xml.StartElement); ok && e.Name.Local == "mergeCell" {
			for _, a := range e.Attr {
				if len(t.merged) > maxMerged {
					return nil, beyond("a sheet with more than 100,000 merged ranges", "a plain table")
				}
				if m, ok := spanOf(a.Value); ok && a.Name.Local == "ref" {
					t.merged = append(t.merged, m)
				}
			}
		}
	}
	slices.SortStableFunc(t.merged, func(a, b span) int { return cmp.Compare(a.top, b.top) })
	if name := overlapping(t.merged); name != "" {
		return nil, beyond("merged ranges that overlap, such as "+name, "a workbook as a spreadsheet program saves it")
	}
	t.window, t.tail = nil, nil
	return t, nil
}

// overlapping names a merged range that lies over another, which no program
// writes: each row would have to walk them all. The ranges are ordered by their
// first row.
func overlapping(merged []span) string {
	var active []span // no more than there are columns, since none overlap
	for _, m := range merged {
		active = slices.DeleteFunc(active, func(a span) bool { return a.bottom < m.top })
		if slices.ContainsFunc(active, func(a span) bool { return a.left <= m.right && m.left <= a.right }) {
			return m.name
		}
		active = append(active, m)
	}
	return ""
}

// Write looks at the next bytes of the part.
func (t *xlsxTable) Write(p []byte) (int, error) {
	const overlap = 32
	old := min(len(t.window), overlap)
	t.window = append(t.window[:copy(t.window, t.window[len(t.window)-old:])], p...)
	w := t.window
	t.count += bytes.Count(p, []byte("<row"))
	t.odd = t.odd || commaDigits(w)
	t.hides = t.hides || bytes.Contains(w, []byte(` hidden="1"`)) || bytes.Contains(w, []byte(` hidden="true"`))
	if t.ended {
		t.tail = append(t.tail, p...)
	}
	i := bytes.LastIndex(w, []byte("sheetData"))
	if i < 0 {
		return len(p), nil
	}
	end := bytes.IndexByte(w[i:], '>') + i
	closes := end > i && (w[end-1] == '/' || bytes.LastIndexByte(w[:i], '/') == bytes.LastIndexByte(w[:i], '<')+1)
	if closes && end >= old {
		t.ended, t.tail = true, append(t.tail[:0], w[end+1:]...)
	}
	return len(p), nil
}

// commaDigits reports whether a comma stands between digits.
func commaDigits(b []byte) bool {
	for {
		i := bytes.IndexByte(b, ',')
		if i < 0 || i+1 >= len(b) {
			return false
		}
		if i > 0 && b[i-1]-'0' < 10 && b[i+1]-'0' < 10 {
			return true
		}
		b = b[i+1:]
	}
}

// spanOf reads a range such as B4:B7 that has more than one cell.
func spanOf(ref string) (span, bool) {
	a, b, ok := strings.Cut(ref, ":")
	left, top := cellAt(a)
	right, bottom := cellAt(b)
	return span{ref, left, top, right, bottom, false}, ok && left >= 0 && right >= left && top > 0 && bottom >= top && (left < right || top < bottom)
}

// cellAt reads a reference such as AB12: column from 0, row from 1; -1 and 0
// where there is none.
func cellAt(ref string) (col, row int) {
	i := 0
	for ; i < len(ref) && i < 4 && ref[i] >= 'A' && ref[i] <= 'Z'; i++ {
		col = col*26 + int(ref[i]-'A') + 1
	}
	for ; i < len(ref) && ref[i] >= '0' && ref[i] <= '9' && row <= maxRows; i++ {
		row = row*10 + int(ref[i]-'0')
	}
	if i < len(ref) {
		return -1, 0
	}
	return col - 1, row
}

// columnName is the letters of a column, from 0.
func columnName(col int) string {
	if col < 26 {
		return string(rune('A' + col))
	}
	return columnName(col/26-1) + columnName(col%26)
}

// start begins to read the rows.
func (t *xlsxTable) start(comma bool) *xlsxRows {
	return &xlsxRows{xlsxTable: t, comma: comma, merged: slices.Clone(t.merged)}
}

// textCells hands on the cells that are text where one may be a number with a
// comma.
func (t *xlsxTable) textCells(see func(text string, line int)) *scanError {
	if !t.odd && !t.xlsx.odd {
		return nil
	}
	in := t.start(false)
	in.see = see
	for {
		if cells, _, err := in.next(); cells == nil {
			return err
		}
	}
}

// xlsxRows reads the rows of a sheet one by one.
type xlsxRows struct {
	*xlsxTable
	comma  bool // numbers are handed on with a decimal comma, as the sheet's texts have it
	in     io.ReadCloser
	done   bool
	dec    *xml.Decoder
	line   int
	cells  []string
	found  []flaw
	merged []span // not yet passed
	asked  int    // line whose flaws were asked for
	notes  []int  // lines that start with #
	every  bool   // these are rows too
	see    func(text string, line int)
	cell   xlsxCell
}

// xlsxCell is one cell as it is read.
type xlsxCell struct {
	col            int
	kind           string
	style          int
	value, formula []byte
	counted        bool // a formula stands in it
}

func (s *xlsxRows) passed() []int { return s.notes }

func (s *xlsxRows) everyRow() { s.every = true }

func (s *xlsxRows) flaws() []flaw {
	if s.asked == s.line {
		return s.found
	}
	s.asked = s.line
	keep := s.merged[:0]
	for i, m := range s.merged {
		if m.top > s.line {
			keep = append(keep, s.merged[i:]...)
			break
		}
		if m.bottom < s.line {
			continue
		}
		s.found = append(s.found, flaw{m.left, m.right, m.name + " are merged", "one value in each", "unmerge and fill in", m.seen})
		m.seen = true
		keep = append(keep, m)
	}
	s.merged = keep
	return s.found
}

func (s *xlsxRows) next() ([]string, int, *scanError) {
	if s.dec == nil {
		in, err := s.xlsx.part(s.part, maxPart)
		if err != nil {
			return nil, 0, damaged(err)
		}
		s.in, s.dec = in, xml.NewDecoder(in)
	}
	for !s.done {
		more, err := s.row()
		if err != nil || !more {
			s.stop()
			return nil, 0, err
		}
		if !slices.ContainsFunc(s.cells, func(c string) bool { return c != "" }) {
			continue
		}
		if !s.every && strings.HasPrefix(s.cells[0], "#") && (len(s.found) == 0 || s.found[0].from > 0) {
			s.notes = append(s.notes, s.line)
			continue
		}
		return s.cells, s.line, nil
	}
	return nil, 0, nil
}

// stop ends the reading.
func (s *xlsxRows) stop() {
	if s.done = true; s.in != nil {
		s.in.Close()
	}
}

// row reads the next row as it stands, without empty cells at its end. It
// returns false after the last.
func (s *xlsxRows) row() (bool, *scanError) {
	c := &s.cell
	var into *[]byte // what text belongs to
	aside := false   // a reading in another script
	for {
		tok, err := s.dec.RawToken()
		if err != nil {
			return false, damaged(fmt.Errorf("%s: %w", s.part, err))
		}
		switch t := tok.(type) {
		case xml.StartElement:
			switch t.Name.Local {
			case "row":
				s.line++
				c.col, s.cells, s.found = -1, s.cells[:0], s.found[:0]
				for _, a := range t.Attr {
					if n, err := strconv.Atoi(a.Value); a.Name.Local == "r" && (err != nil || n < s.line || n > maxRows) {
						return false, damaged(fmt.Errorf("%s: row %q after row %d", s.part, shorten(a.Value), s.line-1))
					} else if a.Name.Local == "r" {
						s.line = n
					}
				}
			case "c":
				*c = xlsxCell{col: c.col + 1, value: c.value[:0], formula: c.formula[:0]}
				for _, a := range t.Attr {
					switch a.Name.Local {
					case "r":
						if c.col, _ = cellAt(a.Value); c.col < 0 {
							return false, damaged(fmt.Errorf("%s: a cell named %q", s.part, shorten(a.Value)))
						}
					case "t":
						c.kind = a.Value
					case "s":
						c.style, _ = strconv.Atoi(a.Value)
					}
				}
			case "v":
				into = &c.value
			case "f":
				into, c.counted = &c.formula, true
			case "t":
				if !aside && c.kind == "inlineStr" {
					into = &c.value
				}
			case "rPh":
				aside = true
			}
		case xml.CharData:
			if into != nil {
				*into = append(*into, t...)
				if len(*into) > maxCell {
					return false, &scanError{s.line, "a cell of more than 32,767 letters", "a figure or a short text", "shorten it"}
				}
			}
		case xml.EndElement:
			switch t.Name.Local {
			case "v", "f", "t":
				into = nil
			case "rPh":
				aside = false
			case "c":
				if err := s.keep(); err != nil {
					return false, err
				}
			case "row":
				return true, nil
			case "sheetData":
				return false, nil
			}
		}
	}
}

// keep puts the cell in its place in the row.
func (s *xlsxRows) keep() *scanError {
	c := &s.cell
	text, f := s.textOf(c)
	if text == "" && f == nil {
		return nil
	}
	if c.col >= maxColumns {
		return &scanError{s.line, "a cell in column " + columnName(c.col), "at most 1,000 columns (to ALL)", "save the part of the sheet that is meant, in a workbook of its own"}
	}
	for len(s.cells) <= c.col {
		s.cells = append(s.cells, "")
	}
	s.cells[c.col] = text
	if f != nil {
		s.found = append(s.found, *f)
	}
	return nil
}

// textOf returns what a cell shows as a sheet of text would have it: numbers
// without the noise of binary fractions, days as 2026-10-28. What is no plain
// value comes with a flaw.
func (s *xlsxRows) textOf(c *xlsxCell) (string, *flaw) {
	at := func() string { return columnName(c.col) + strconv.Itoa(s.line) }
	text, f := "", (*flaw)(nil)
	is := func(found, expected, mend string) {
		f = &flaw{c.col, c.col, at() + " " + found, expected, mend, false}
	}
	switch c.kind {
	case "s":
		n, err := strconv.Atoi(string(bytes.TrimSpace(c.value)))
		if err != nil || n < 0 || n >= len(s.texts) {
			is("points to a text that is not in the workbook", "a value", "open the workbook and save it again")
			break
		}
		text = s.texts[n]
	case "str", "inlineStr":
		text = plainText(c.value)
	case "b":
		text = map[bool]string{true: "yes", false: "no"}[string(c.value) == "1" || string(c.value) == "true"]
	case "e":
		text = string(c.value)
		is("shows "+text, "a figure or an empty cell", "mend it or clear it")
	case "d":
		text = strings.TrimSuffix(strings.TrimSuffix(string(c.value), "Z"), "T00:00:00")
	default:
		form := asNumber
		if c.style >= 0 && c.style < len(s.formats) {
			form = s.formats[c.style]
		}
		value := bytes.TrimSpace(c.value)
		if len(value) == 0 {
			break
		}
		v, err := strconv.ParseFloat(string(value), 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			is(fmt.Sprintf("holds %q in the place of a number", shorten(string(value))), "a figure", "type it again")
			break
		}
		switch {
		case form == asNumber:
			text = figure(v)
		case form == asPercent:
			text = figure(v*100) + "%"
		default:
			var ok bool
			if text, ok = s.day(v, form); !ok {
				is("shows "+text+", a day without its year", "the figures as they were typed, or a day with its year", "where 6-8 was typed, the program took it for a day: set the cells to text and type it again")
			}
		}
		if s.comma {
			text = strings.Replace(text, ".", ",", 1)
		}
	}
	if c.kind == "s" || c.kind == "inlineStr" || c.kind == "str" {
		if s.see != nil && text != "" {
			s.see(text, s.line)
		}
	}
	if c.counted && f == nil {
		words := "holds a formula"
		var more []string
		if len(c.formula) > 0 {
			more = append(more, "="+shorten(string(bytes.TrimSpace(c.formula))))
		}
		switch {
		case text != "":
			more = append(more, "last shown "+shorten(text))
		case c.kind == "" && len(c.value) == 0 && s.shown:
			is("holds a formula ("+strings.Join(append(more, "never worked out"), ", ")+")", "a figure", "open the workbook and save it, or paste the figure as a value")
			return text, f
		}
		if len(more) > 0 {
			words += " (" + strings.Join(more, ", ") + ")"
		}
		if !s.shown {
			is(words, "a figure", "paste it as a value")
		}
	}
	return text, f
}

// figure writes a number with the 15 digits that a spreadsheet keeps.
func figure(v float64) string {
	s := strconv.FormatFloat(v, 'g', 15, 64)
	if strings.IndexByte(s, 'e') < 0 {
		return s
	}
	if a := math.Abs(v); a >= 1e-9 && a < 1e21 {
		v, _ = strconv.ParseFloat(s, 64)
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return s
}

// day writes a number that stands for a day; false where no year is shown. Days
// of the older count are numbered as if 1900 had been a leap year, so that 61 is
// 1 March 1900.
//
// Source: ISO/IEC 29500-1:2016, 18.17.4.1 Dates and times, serial values.
func (x *xlsx) day(v float64, form cellForm) (string, bool) {
	if v < 0 || v >= 2958466 { // the year 10000
		return figure(v), true
	}
	seconds := math.Round(v * 86400)
	first := time.Date(1899, time.December, 30, 0, 0, 0, 0, time.UTC)
	switch {
	case x.from1904:
		first = time.Date(1904, time.January, 1, 0, 0, 0, 0, time.UTC)
	case v < 60:
		first = first.AddDate(0, 0, 1)
	case v < 61:
		return "1900-02-29", true // there was none: refused like any day that is none
	}
	t := first.AddDate(0, 0, int(seconds/86400)).Add(time.Duration(math.Mod(seconds, 86400)) * time.Second)
	clock := "15:04"
	if t.Second() != 0 {
		clock = "15:04:05"
	}
	switch form {
	case asMonth:
		return t.Format("2006-01"), true
	case asYear:
		return t.Format("2006"), true
	case asDayOnly:
		return t.Format("2-Jan"), false
	case asClock:
		return t.Format(clock), true
	case asTime:
		if t.Hour() != 0 || t.Minute() != 0 || t.Second() != 0 {
			return t.Format("2006-01-02 " + clock), true
		}
	}
	return t.Format("2006-01-02"), true
}

// choose picks the sheets of a workbook that are read without a sheet map: those
// whose name or headings belong to a table. Text is one sheet.
func (r *reader) choose(file string, sheets []sheet) ([]sheet, *scanError) {
	if sheets[0].title == "" {
		return sheets, nil
	}
	var names, left []string
	for _, sh := range sheets {
		names = append(names, sh.title)
	}
	listed := shorten(strings.Join(names, ", "))
	var out []sheet
	for _, sh := range sheets {
		switch {
		case r.belongs(&sh):
			out = append(out, sh)
		case sh.title != bookReadme && sh.title != bookNotes:
			left = append(left, sh.title)
		}
	}
	if len(out) == 0 && len(sheets) == 1 {
		return sheets, nil // its headings are told
	}
	if len(out) == 0 {
		return nil, &scanError{0, "no sheet that belongs to a table (" + listed + ")", "the headings of " + strings.Join(r.sheetNames(), ", "), "name the sheet after its table, or describe it with --map"}
	}
	if len(left) > 0 {
		r.note("%s: sheets passed over, since they belong to no table: %s", file, strings.Join(left, ", "))
	}
	return out, nil
}

// belongs reports whether a sheet is one of ours by its name, or by its first
// row.
func (r *reader) belongs(sh *sheet) bool {
	stem := strings.Trim(fold(sh.title), "0123456789")
	for i := range r.tables {
		t := &r.tables[i]
		if r.opt.Table != "" && fold(r.opt.Table) != fold(t.sheet) && fold(r.opt.Table) != fold(t.name) {
			continue
		}
		if stem == fold(t.sheet) || stem == fold(t.name) || t.fits(sh.first) {
			return true
		}
	}
	return false
}

// plainCells returns the cells of a workbook's row, one for each heading, or nil
// after faults: cells that are read must hold plain values. first: it is the
// first below the headings.
func (r *reader) plainCells(sh *sheet, line int, cells, head []string, first bool) []string {
	good := true
	fault := func(col int, found, expected, mend string) {
		good = false
		name := ""
		if col < len(head) {
			name = head[col]
		}
		r.faults.add(Fault{File: sh.name, Line: line, Column: name, Pos: col + 1, Text: say(found, expected, mend)})
	}
	for _, f := range sh.lines.flaws() {
		for col := f.from; col <= f.to && col < len(head); col++ {
			if r.reads != nil && !r.reads[col] {
				continue
			}
			if good = false; first || !f.below {
				fault(col, f.found, f.expected, f.mend)
			}
			break
		}
	}
	for col := len(head); col < len(cells); col++ {
		if cells[col] != "" {
			fault(col, fmt.Sprintf("%q in column %s", shorten(cells[col]), columnName(col)), "a heading above it", "name the column or clear the cell")
			break
		}
	}
	if !good {
		return nil
	}
	for len(cells) < len(head) {
		cells = append(cells, "")
	}
	return cells[:len(head)]
}

// tellHidden notes that what a sheet hides is read too.
func (r *reader) tellHidden(sh *sheet) {
	if sh.hides {
		r.note("%s: its hidden rows and columns are read like the others", sh.name)
	}
}
