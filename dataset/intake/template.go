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
  say which comes first, month or day: at the import, with --dates MDY or
  --dates DMY, or once and for all in book.toml: dates = "MDY". Years have four
  digits. What was done or measured cannot lie in the future.

Tests
  Copy value, unit and method as the lab prints them. < and > may stand before
  a value: "not detected" is written as < and the lab's limit, <0.2. A test
  without a method is kept, but left out of what needs one.

Mending a mistake
  Write the right row with a further column, "replaces", that names the import,
  the sheet and the line of the row it takes the place of, and import that:
    bed,date,weight (lb),weighed,replaces
    Long bed,2026-10-03,1250,scale,3:harvests.csv:7
  replaces line 7 of harvests.csv as it came with import 3 (carryover batches
  lists the imports). A line that you change in a sheet and import again is
  refused, with the text to put under "replaces", since the book cannot know
  whether you mend or add. Leave the lines you imported as they are, write new
  rows below them, and import the whole sheet: what the book has is skipped.
  Name a row that should not be there in withdraw.csv. Nothing is ever lost:
  imports are kept as they came.

Kept for later
  The review does not use these sheets yet; what you fill in is kept: weather,
  water_tests, tillage, leaf_tests, covers, lists, forecasts.

Any sheet may also have the columns "grower" and "replaces". soil_tests and
beds take "depth from" and "depth to" in place of "depth".
Handle lime, sulfur, ash and raw manure with care: their dust and germs can
harm you. The product's label, your lab and local rules come first.
`
