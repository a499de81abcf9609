package intake

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"
)

// lines is a sheet as it is read: one row of cells after another.
type lines interface {
	// next returns the next row and its number in the file, from 1; nil cells at
	// the end. The cells are good until the next call.
	next() (cells []string, line int, err *scanError)
	// passed lists the numbers of the rows passed over so far because they start
	// with #.
	passed() []int
}

// sheet is one table of cells: a file of text, or one sheet of a workbook.
type sheet struct {
	name    string // of the file, or "file.xlsx/sheet": goes into the records
	title   string // of the sheet in its workbook; empty for text
	between string // what parts cells, for messages: comma, semicolon, tab; "cell" in a workbook
	comma   bool   // decimals are written with a comma
	size    int    // about how many rows it has
	lines   lines
}

// open finds the sheets of a file.
func (r *reader) open(s Source) ([]sheet, *scanError) {
	if found, mend := foreign(s.Data); found != "" {
		return nil, &scanError{0, found, "a CSV sheet", mend}
	}
	data := bytes.TrimPrefix(s.Data, []byte("\xef\xbb\xbf"))
	if i := invalid(data); i >= 0 {
		return nil, &scanError{1 + bytes.Count(data[:i], []byte("\n")), "a letter that is not UTF-8", "plain text in UTF-8", `save the sheet again as "CSV UTF-8"`}
	}
	text := string(data)
	if !strings.Contains(text, "\n") { // line ends of an old kind
		text = strings.ReplaceAll(text, "\r", "\n")
	}
	sep := separatorOf(text)
	if r.opt.Map != nil && r.opt.Map.separator != 0 {
		sep = r.opt.Map.separator
	}
	between := map[byte]string{',': "comma", ';': "semicolon", '\t': "tab"}[sep]
	return []sheet{{name: s.Name, between: between, size: strings.Count(text, "\n"), lines: &scanner{text: text, sep: sep, at: 0, nextLine: 1}}}, nil
}

// separatorOf tells what parts the cells: the mark that stands most often in
// the first row outside quotes, a comma where none does.
func separatorOf(text string) byte {
	var n [3]int
	marks := [...]byte{',', ';', '\t'}
	quoted, seen := false, false
	for len(text) > 0 {
		line, rest, _ := strings.Cut(text, "\n")
		text = rest
		if t := strings.TrimSpace(line); !quoted && (t == "" || t[0] == '#') {
			continue
		}
		for i := range len(line) {
			switch c := line[i]; {
			case c == '"':
				quoted = !quoted
			case quoted:
			default:
				for k, m := range marks {
					if c == m {
						n[k]++
					}
				}
			}
		}
		if seen = true; !quoted {
			break
		}
	}
	best := 0
	for k := range n {
		if seen && n[k] > n[best] {
			best = k
		}
	}
	return marks[best]
}

// foreign names what is not a sheet of text.
func foreign(data []byte) (found, mend string) {
	switch {
	case len(data) > maxFile:
		return fmt.Sprintf("a file of %d MB", len(data)>>20), "256 MB is the most that is read: part it"
	case bytes.HasPrefix(data, []byte("%PDF")):
		return "a PDF", "copy its figures into a sheet; carryover new writes empty ones"
	case bytes.HasPrefix(data, []byte("PK\x03\x04")):
		return "a workbook", "save the sheet as CSV"
	case bytes.HasPrefix(data, []byte("\xd0\xcf\x11\xe0")):
		return "an old workbook", "save the sheet as CSV"
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")):
		return "text in UTF-16", `save the sheet again as "CSV UTF-8"`
	case bytes.HasPrefix(data, []byte("PAR1")):
		return "a Parquet file", "export its rows as CSV"
	case bytes.IndexByte(data[:min(len(data), 1<<16)], 0) >= 0:
		return "a file that is not text", "save the sheet as CSV"
	}
	return "", ""
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
