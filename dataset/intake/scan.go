package intake

import (
	"fmt"
	"strings"
)

// maxLine is the longest line of a sheet, in bytes. A longer one is a lost
// quote or not a sheet.
const maxLine = 1 << 16

// scanner cuts the text of a sheet into rows of cells: comma-separated values
// with quotes as in RFC 4180, either line ending, and two liberties: empty lines
// and lines that start with # are passed over, and a quote inside an unquoted
// cell stands for itself (12" is twelve inches).
type scanner struct {
	text      string
	sep       byte
	at        int // byte offset of the next line
	nextLine  int // its number, from 1
	line      int // number of the row's first line
	cells     []string
	commented []int // lines that start with #
	every     bool  // these are rows too
}

// scanError is a fault of the file's form.
type scanError struct {
	line                  int
	found, expected, mend string
}

func (e *scanError) Error() string { return say(e.found, e.expected, e.mend) }

func (s *scanner) next() (cells []string, line int, err *scanError) {
	ok, err := s.row()
	if !ok || err != nil {
		return nil, 0, err
	}
	if n := len(s.cells); n > maxColumns {
		return nil, 0, &scanError{s.line, fmt.Sprintf("a row of %d cells", n), "at most 1,000 columns", "save the part of the sheet that is meant as a sheet of its own"}
	}
	return s.cells, s.line, nil
}

func (s *scanner) passed() []int { return s.commented }

func (s *scanner) everyRow() { s.every = true }

func (s *scanner) flaws() []flaw { return nil }

// row reads the next row into s.cells, whose strings are parts of the text. It
// returns false at the end of the text.
func (s *scanner) row() (bool, *scanError) {
	for s.at < len(s.text) {
		end := strings.IndexByte(s.text[s.at:], '\n')
		if end < 0 {
			end = len(s.text) - s.at
		}
		line := s.text[s.at : s.at+end]
		if len(line) > maxLine {
			return false, s.tooLong(s.nextLine)
		}
		if text := strings.TrimSpace(line); text == "" || text[0] == '#' && !s.every {
			if text != "" {
				s.commented = append(s.commented, s.nextLine)
			}
			s.advance(end)
			continue
		}
		s.line, s.cells = s.nextLine, s.cells[:0]
		if strings.IndexByte(line, '"') < 0 {
			s.plain(strings.TrimSuffix(line, "\r"))
			s.advance(end)
		} else if err := s.quoted(); err != nil {
			return false, err
		}
		if s.blank() {
			continue
		}
		if strings.HasPrefix(s.cells[0], "#") && !s.every {
			s.commented = append(s.commented, s.line)
			continue
		}
		return true, nil
	}
	return false, nil
}

func (s *scanner) advance(n int) { s.at, s.nextLine = s.at+n+1, s.nextLine+1 }

func (s *scanner) tooLong(line int) *scanError {
	return &scanError{line, "a line of more than 65,536 bytes", "a row of cells", "look for a quote that is not closed, or save the sheet as CSV again"}
}

// blank reports whether every cell of the row is empty.
func (s *scanner) blank() bool {
	for _, c := range s.cells {
		if c != "" {
			return false
		}
	}
	return true
}

func (s *scanner) plain(line string) {
	for {
		i := strings.IndexByte(line, s.sep)
		if i < 0 {
			s.cells = append(s.cells, strings.TrimSpace(line))
			return
		}
		s.cells = append(s.cells, strings.TrimSpace(line[:i]))
		line = line[i+1:]
	}
}

// quoted reads a row that has quotes in it, over line ends if need be.
func (s *scanner) quoted() *scanError {
	for i := s.at; ; {
		for i < len(s.text) && (s.text[i] == ' ' || s.text[i] == '\t' && s.sep != '\t') {
			i++
		}
		if i >= len(s.text) || s.text[i] != '"' { // an unquoted cell
			n := i
			for n < len(s.text) && s.text[n] != s.sep && s.text[n] != '\n' {
				n++
			}
			s.cells = append(s.cells, strings.TrimSpace(s.text[i:n]))
			i = n
		} else {
			opened, from, doubled := s.nextLine, i+1, false
			for i++; ; i++ {
				if i >= len(s.text) || i-s.at > maxLine {
					return &scanError{opened, "a quote that is opened and never closed", `a second " at the end of the cell`, "close it, or write the quote twice where it belongs to the text"}
				}
				if s.text[i] == '\n' {
					s.nextLine++
				}
				if s.text[i] == '"' {
					if i+1 >= len(s.text) || s.text[i+1] != '"' {
						break
					}
					i, doubled = i+1, true
				}
			}
			cell := s.text[from:i]
			if doubled {
				cell = strings.ReplaceAll(cell, `""`, `"`)
			}
			s.cells = append(s.cells, strings.TrimSpace(cell))
			for i++; i < len(s.text) && (s.text[i] == ' ' || s.text[i] == '\r'); i++ {
			}
			if i < len(s.text) && s.text[i] != s.sep && s.text[i] != '\n' {
				return &scanError{s.nextLine, "text after a closing quote", "a comma or the end of the line", `write a quote inside a quoted cell twice: "the ""long"" bed"`}
			}
		}
		if i >= len(s.text) || s.text[i] == '\n' {
			s.at, s.nextLine = i+1, s.nextLine+1
			return nil
		}
		i++
	}
}
