package intake

import (
	"fmt"
	"strings"
)

// Template is a file of an empty set of sheets.
type Template struct {
	Name string
	Data []byte
}

// Templates returns the sheets a grower fills in, with headings in the units of
// "us" or "metric" and a commented example or two, and a README.txt that
// explains every column.
func Templates(units string) []Template {
	var help strings.Builder
	help.WriteString(readmeHead)
	var out []Template
	side := 0
	if units == "metric" {
		side = 1
	}
	for _, t := range tables() {
		var head []string
		help.WriteString("\n" + wrap("", t.sheet+".csv: "+t.says))
		for i := range t.fields {
			f := &t.fields[i]
			if f.more {
				continue
			}
			head = append(head, f.heading(units))
			mark := " "
			if f.need {
				mark = "*"
			}
			help.WriteString(wrap(fmt.Sprintf("  %s %-20s ", mark, f.heading(units)), f.says))
		}
		text := strings.Join(head, ",") + "\n"
		for _, row := range t.eg[side] {
			text += "# " + row + "\n"
		}
		out = append(out, Template{t.sheet + ".csv", []byte(text)})
	}
	return append(out, Template{"README.txt", []byte(help.String())})
}

// wrap sets text after a label, within 79 columns.
func wrap(label, text string) string {
	indent := strings.Repeat(" ", len(label))
	var b strings.Builder
	line := label
	for _, w := range strings.Fields(text) {
		if len(line)+len(w) > 79 && line != indent && line != label {
			b.WriteString(strings.TrimRight(line, " ") + "\n")
			line = indent
		}
		line += w + " "
	}
	return b.String() + strings.TrimRight(line, " ") + "\n"
}

const readmeHead = `The sheets of your record book
==============================

Each sheet is a plain CSV file: open it in any spreadsheet, fill in one row for
each record, save it as CSV (UTF-8), and import it. Fill in what you have;
every sheet may stay empty.

How to fill them
  The first line holds the headings; leave it as it is. A unit in brackets says
  what the figures below it are in. You may write another unit there, such as
  "weight (kg)"; what has no unit is refused, never guessed.
  Lines that start with # are examples (all invented) and are passed over. So
  no bed's name may start with #.
  Columns marked * below must be filled in; any other cell may stay empty.
  You may leave out columns you do not need, and order them as you like.

Dates
  2026-10-28 is a day, 2026-10 or Oct 2026 a month, autumn 2026 a season.
  ~ before a date marks a guess. Dates such as 10/28/2026 are read only if you
  say at the import which comes first: --dates MDY or --dates DMY.

Tests
  Copy value, unit and method as the lab prints them. < and > may stand before
  a value. A test without a method is kept, but left out of what needs one.

Mending a mistake
  Import the right row with a column "replaces" that names the import and the
  line it replaces, as 3:7; or name a row that should not be there in
  withdraw.csv. Nothing is ever lost: imports are kept as they came.

Any sheet may also have the columns "grower" and "replaces". soil_tests and
beds take "depth from" and "depth to" in place of "depth".
Handle lime, sulfur, ash and raw manure with care: their dust and germs can
harm you. The product's label, your lab and local rules come first.
`
