package intake

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	utf16 "golang.org/x/text/encoding/unicode"

	"carryover/dataset/unit"
)

// lines is a sheet as it is read: one row of cells after another.
type lines interface {
	// next returns the next row and its number in the file, from 1; nil cells at
	// the end. The cells are good until the next call.
	next() (cells []string, line int, err *scanError)
	// passed lists the numbers of the rows passed over so far because they start
	// with #.
	passed() []int
	// flaws lists the cells of the row last returned that hold no plain value;
	// they matter only where they are read.
	flaws() []flaw
}

// flaw is what a cell of a workbook, or several that are merged, hold in place of
// a plain value.
type flaw struct {
	from, to              int // columns, from 0
	found, expected, mend string
	below                 bool // the row above, if it is one of data, has told it
}

// sheet is one table of cells: a file of text, or one sheet of a workbook.
type sheet struct {
	name    string     // of the file, or "file.xlsx/sheet": goes into the records
	title   string     // of the sheet in its workbook; empty for text
	between string     // what parts cells, for messages: comma, semicolon, tab; "cell" in a workbook
	comma   bool       // decimals are written with a comma
	size    int        // about how many rows it has
	first   []string   // row of a workbook's sheet
	hides   bool       // rows or columns of it are hidden
	err     *scanError // why it cannot be read
	lines   lines
}

// open finds the sheets of a file.
func (r *reader) open(s Source) ([]sheet, *scanError) {
	if found, mend := foreign(s.Data); found != "" {
		return nil, &scanError{0, found, "a sheet (CSV or XLSX)", mend}
	}
	if bytes.HasPrefix(s.Data, []byte("PK\x03\x04")) || bytes.HasPrefix(s.Data, []byte("PK\x05\x06")) { // a zip archive, or an empty one
		return r.openWorkbook(s)
	}
	text, err := r.decode(s)
	if err != nil {
		return nil, err
	}
	if !strings.Contains(text, "\n") { // line ends of an old kind
		text = strings.ReplaceAll(text, "\r", "\n")
	}
	start, sep := separatorOf(text)
	if r.opt.Map != nil && r.opt.Map.separator != 0 {
		sep = r.opt.Map.separator
	}
	from := func() *scanner { return &scanner{text: text, sep: sep, at: start, nextLine: 1 + min(start, 1)} }
	comma, err := r.decimals(s.Name, func(see func(string, int)) *scanError {
		if sep == ',' && strings.IndexByte(text, '"') < 0 || !strings.ContainsAny(text, ",.") {
			return nil
		}
		for in := from(); ; {
			ok, err := in.row()
			if !ok {
				return err
			}
			for _, c := range in.cells {
				see(c, in.line)
			}
		}
	}, sep == ',')
	if err != nil {
		return nil, err
	}
	between := map[byte]string{',': "comma", ';': "semicolon", '\t': "tab"}[sep]
	return []sheet{{name: s.Name, between: between, comma: comma, size: strings.Count(text, "\n"), lines: from()}}, nil
}

// foreign names what is neither text nor a workbook.
func foreign(data []byte) (found, mend string) {
	const again = "open it and save its sheet as XLSX or CSV"
	wide := func(s string) []byte { return bytes.Join(bytes.Split([]byte(s), nil), []byte{0}) }
	switch {
	case len(data) > maxFile:
		return fmt.Sprintf("a file of %d MB", len(data)>>20), fmt.Sprintf("%d MB is the most that is read: part it", maxFile>>20)
	case bytes.HasPrefix(data, []byte("%PDF")):
		return "a PDF", "copy its figures into a sheet; carryover new writes empty ones"
	case bytes.HasPrefix(data, []byte("\xd0\xcf\x11\xe0")) && bytes.Contains(data, wide("EncryptedPackage")):
		return "a workbook behind a password", "open it and save it without the password"
	case bytes.HasPrefix(data, []byte("\xd0\xcf\x11\xe0")):
		return "an old workbook (XLS)", again
	case bytes.HasPrefix(data, []byte("PAR1")):
		return "a Parquet file", "export its rows as CSV"
	case bytes.HasPrefix(data, []byte("{\\rtf")):
		return "a text document (RTF)", "copy its table into a sheet"
	case bytes.HasPrefix(bytes.TrimLeft(data[:min(len(data), 512)], "\ufeff \t\r\n"), []byte("<")):
		return "a web page or XML", again
	}
	return "", ""
}

// decode turns the bytes of a text file into text. UTF-8 needs no word; all else
// is said in a note.
func (r *reader) decode(s Source) (string, *scanError) {
	data, asked := s.Data, ""
	if r.opt.Map != nil {
		asked = r.opt.Map.encoding
	}
	binary := func(found string) (string, *scanError) {
		return "", &scanError{0, found, "a sheet (CSV or XLSX)", "open it with the program it belongs to and save its sheet as CSV"}
	}
	var as encoding.Encoding
	name := ""
	switch low, high := halves(data); {
	case bytes.HasPrefix(data, []byte("\xff\xfe")), asked == "" && high > low, asked == "utf-16le":
		as, name = utf16.UTF16(utf16.LittleEndian, utf16.IgnoreBOM), "UTF-16"
	case bytes.HasPrefix(data, []byte("\xfe\xff")), asked == "" && low > high, asked == "utf-16be":
		as, name = utf16.UTF16(utf16.BigEndian, utf16.IgnoreBOM), "UTF-16"
	case asked == "windows-1252":
		as = charmap.Windows1252
	}
	if as == nil {
		data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
		i := invalid(data)
		if i < 0 {
			if bytes.IndexByte(data, 0) >= 0 {
				return binary("a file that is not text")
			}
			return string(data), nil
		}
		if bytes.IndexByte(data, 0) >= 0 {
			return binary("a file that is not text")
		}
		if asked != "" || !latin(data) {
			return "", &scanError{1 + bytes.Count(data[:i], []byte("\n")), "a letter that is not UTF-8", "plain text in UTF-8", `save the sheet again as "CSV UTF-8"`}
		}
		as = charmap.Windows1252
	}
	out, err := as.NewDecoder().Bytes(data)
	if err != nil || name != "" && bytes.ContainsRune(out, utf8.RuneError) {
		return binary("text in UTF-16 that is damaged")
	}
	text := strings.TrimPrefix(string(out), "\ufeff")
	if strings.IndexByte(text, 0) >= 0 {
		return binary("a file that is not text")
	}
	if name != "" {
		r.note("%s: read as %s", s.Name, name)
	} else if asked == "" {
		at := strings.IndexFunc(text, func(c rune) bool { return c >= utf8.RuneSelf })
		c, _ := utf8.DecodeRuneInString(text[at:])
		r.note("%s: read as Windows-1252 (Latin-1), since it is not UTF-8: check %c in line %d", s.Name, c, 1+strings.Count(text[:at], "\n"))
	}
	return text, nil
}

// halves counts which byte of each pair is zero in text of two bytes a letter:
// the first (big-endian) or the second. Both are 0 where it is not clear.
func halves(data []byte) (first, second int) {
	head := data[:min(len(data), 4096)&^1]
	for i := 0; i < len(head); i += 2 {
		if head[i] == 0 {
			first++
		}
		if head[i+1] == 0 {
			second++
		}
	}
	if len(data)%2 != 0 || first > 0 && second > 0 || 3*(first+second) < len(head)/2 {
		return 0, 0
	}
	return first, second
}

// latin reports whether bytes that are not UTF-8 read sensibly as Windows-1252:
// letters in words, and signs that sheets hold. Text of other code pages shows
// capitals inside words, or signs that nobody types.
func latin(data []byte) bool {
	var before rune
	sign := false // before is a sign that follows a letter
	for i := 0; i < len(data); i++ {
		c := rune(data[i])
		if c >= utf8.RuneSelf {
			if _, n := utf8.DecodeRune(data[i:]); n > 1 {
				return false // UTF-8 here and not there
			}
			c = charmap.Windows1252.DecodeByte(data[i])
			switch letter := unicode.IsLetter(c); {
			case c == utf8.RuneError, c == 'ƒ', unicode.IsLower(before) && unicode.IsUpper(c), unicode.IsLetter(before) && (c == '‚' || c == '„'):
				return false
			case !letter && !strings.ContainsRune("°±²³µ·½¼¾×€£¢§©®«»‘’“”‚„–—…‰†‡•™ªº´¹\u00a0", c):
				return false
			case !letter && c != '’' && unicode.IsLetter(before):
				sign, before = true, c
				continue
			}
		} else if c < ' ' && c != '\t' && c != '\n' && c != '\r' {
			return false
		}
		if sign && unicode.IsLetter(c) {
			return false
		}
		before, sign = c, false
	}
	return true
}

// invalid returns where text stops being UTF-8, or -1.
func invalid(data []byte) int {
	if utf8.Valid(data) {
		return -1
	}
	for i := 0; i < len(data); {
		c, n := utf8.DecodeRune(data[i:])
		if c == utf8.RuneError && n < 2 {
			return i
		}
		i += n
	}
	return -1
}

// separatorOf tells what parts the cells: the mark that gives most of the first
// lines one and the same number of cells, as headings and rows have; a comma
// where none does. start is where the rows begin, past a line that names the
// mark (sep=;).
func separatorOf(text string) (start int, sep byte) {
	if first, _, _ := strings.Cut(text, "\n"); len(first) >= 5 && len(strings.TrimRight(first, "\r")) == 5 && strings.EqualFold(first[:4], "sep=") && strings.IndexByte(",;\t", first[4]) >= 0 {
		return len(first) + 1, first[4]
	}
	marks := [...]byte{'\t', ';', ','} // rare inside cells first
	var rows [len(marks)]map[int]int   // how many lines have so many marks
	for k := range rows {
		rows[k] = map[int]int{}
	}
	var n [len(marks)]int
	quoted, seen := false, 0
	for at := 0; at < len(text) && seen < 100; {
		end := len(text)
		if i := strings.IndexByte(text[at:], '\n'); i >= 0 {
			end = at + i
		}
		line := text[at:end]
		at = end + 1
		if t := strings.TrimSpace(line); !quoted && (t == "" || t[0] == '#') {
			continue
		}
		for i := range min(len(line), maxLine) {
			switch c := line[i]; {
			case c == '"':
				quoted = !quoted
			case quoted:
			default:
				if k := slices.Index(marks[:], c); k >= 0 {
					n[k]++
				}
			}
		}
		if !quoted {
			for k := range n {
				if n[k] > 0 {
					rows[k][n[k]]++
				}
			}
			n, seen = [len(marks)]int{}, seen+1
		}
	}
	best := 0
	sep = ','
	for k, m := range marks {
		most := 0
		for _, lines := range rows[k] {
			most = max(most, lines)
		}
		if most > best {
			best, sep = most, m
		}
	}
	return 0, sep
}

// place is a figure and the line where it stands.
type place struct {
	text string
	line int
}

// decimals tells whether a sheet writes decimals with a comma. cells hands it
// every cell that is text, with its line. Options.Decimal or the sheet map settle
// it, else figures that can be read one way only; where all are open it asks.
// parted: commas part the cells, so that without proof a comma stands before
// thousands.
func (r *reader) decimals(name string, cells func(see func(text string, line int)) *scanError, parted bool) (comma bool, err *scanError) {
	asked := r.opt.Decimal
	if r.opt.Map != nil && r.opt.Map.decimal != "" {
		asked = r.opt.Map.decimal
	}
	if asked != "" {
		return asked == "comma", nil
	}
	var withComma, withPoint, open place
	keep := func(p *place, text string, line int) {
		if p.line == 0 {
			*p = place{strings.Clone(text), line}
		}
	}
	if err := cells(func(text string, line int) {
		c, p, o := punctuation(text)
		switch {
		case c:
			keep(&withComma, text, line)
		case p:
			keep(&withPoint, text, line)
		case o:
			keep(&open, text, line)
		}
	}); err != nil {
		return false, nil // the reading proper tells it
	}
	switch {
	case withComma.line > 0 && withPoint.line > 0 && parted:
		return false, nil // "7,12" in quotes is a list; a number written so is refused where it is read
	case withComma.line > 0 && withPoint.line > 0:
		first, then, one, other := withComma, withPoint, "comma", "point"
		if then.line < first.line {
			first, then, one, other = then, first, other, one
		}
		return false, &scanError{then.line, fmt.Sprintf("%q has a decimal %s, %q in line %d a decimal %s", then.text, other, first.text, first.line, one),
			"one way in the whole sheet", "mend one of them, or say --decimal comma or --decimal point"}
	case withComma.line > 0:
		r.note("%s: decimals are read with a comma, as line %d shows: %s", name, withComma.line, withComma.text)
		return true, nil
	case withPoint.line == 0 && open.line > 0 && !parted:
		return false, &scanError{open.line, fmt.Sprintf("%q, which may be a decimal or thousands", open.text), "a figure in the sheet that shows which, as 12,5 or 12.5", "say --decimal comma or --decimal point"}
	}
	return false, nil
}

// punctuation is unit.Punctuation, quick about what has no mark or is plain.
func punctuation(text string) (comma, point, ambiguous bool) {
	i := strings.IndexAny(text, ",.")
	if i < 0 || len(text) > 40 || strings.IndexByte("0123456789<>~-+.,ac\xe2", text[0]) < 0 { // the last are about, ca. and signs such as ≤
		return
	}
	if i > 0 && strings.Trim(text[:i], "0123456789") == "" && strings.Trim(text[i+1:], "0123456789") == "" && len(text)-i != 4 && len(text) > i+1 {
		return text[i] == ',', text[i] == '.', false
	}
	return unit.Punctuation(text)
}

// lower looks below a first row that no table knows for what may be the
// headings: those of a table, or a second row of them.
func (r *reader) lower(sh *sheet, line int, head []string) string {
	filled := func(cells []string) (n int, figures bool) {
		for _, c := range cells {
			if c != "" {
				n++
				figures = figures || strings.ContainsAny(c[:1], "0123456789<>")
			}
		}
		return n, figures
	}
	for n := range 20 {
		cells, at, err := sh.lines.next()
		if err != nil || cells == nil {
			break
		}
		for i := range r.tables {
			if r.tables[i].fits(cells) {
				return fmt.Sprintf("; the headings of %s stand in line %d: take out the lines above", r.tables[i].sheet, at)
			}
		}
		above, _ := filled(head)
		if here, figures := filled(cells); n == 0 && above > 1 && here > 1 && !figures {
			return fmt.Sprintf("; lines %d and %d both look like headings: a map reads them with headings = [%[1]d, %[2]d]", line, at)
		}
	}
	return ""
}
