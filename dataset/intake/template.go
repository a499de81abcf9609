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

The workbook sheets.xlsx and the CSV files hold the same sheets: use whichever
you like. Fill in one row for each record, save, and import it. Fill in what
you have; every sheet may stay empty.

How to fill them
  The first line holds the headings; leave it as it is. A unit in brackets says
  what the figures below it are in. You may write another unit there, such as
  "weight (kg)", or beside a figure. What has no unit is refused, never
  guessed, and so is a figure whose unit contradicts the one beside it.
  Lines that start with # are examples (all invented) and are passed over. So
  no bed's name may start with #.
  Columns marked * below must be filled in; any other cell may stay empty.
  You may leave out columns you do not need, and order them as you like.
  A sheet may write 12.5 or 12,5, as long as it does so throughout.

Dates
  2026-10-28 is a day, 2026-10 or Oct 2026 a month, autumn 2026 a season.
  ~ before a date marks a guess. Dates such as 10/28/2026 are read only if you
  say which comes first, month or day: at the import, with --dates MDY or
  --dates DMY, or once and for all in book.toml: dates = "MDY". Years have four
  digits. What was done or measured cannot lie in the future.

Amounts, areas, water
  40 lb, about 40 lb, 40-50 lb, 1/2 gal, 2 x 50 lb, 3 bags of 50 lb. A guess or
  a range is kept as one: what follows from it gets wider. Measures of your own
  stand in book.toml, and then 3 barrows is an amount like any other:
    [measure]
    barrow = {amount = 6, unit = "cu ft"}
  An area may be 1200 sq ft or 30x40 ft; a depth 0-6 or 1 ft 6 in. What a bed
  was given of water is a depth (0.5 in), 200 gal, or 2 h x 5 gal/min.
  A feed given again and again is one row: 2 lb weekly to 1 Sept, or 7 under
  "every days" and the last day under "until".

Tests
  Copy value, unit and method as the lab prints them. < and > may stand before
  a value: "not detected" is written as < and the lab's limit, <0.2. A test
  without a method is kept, but left out of what needs one.
  Was the bed sampled and something spread on it on one day? Say under "same
  day" of that spreading whether it came before test or after test.

Mending a mistake
  Mend the row where it stands in your sheet, add the new rows below the old
  ones, and import the whole sheet again. What the book has already is skipped.
  Rows that have changed are listed, old beside new, and are kept only if you
  say --correct. Nothing is ever lost: the old ones stay in the history, and
  imports are kept as they came.
  Without the old sheet, "carryover export tests --bed BED --out mend.csv"
  writes rows as they stand; mend them there and import that with --correct.
  Leave its column "row" as it is: it says which row of the book each one is.
  Or write the right row with a further column, "replaces", that names the
  import, the sheet and the line of the row it takes the place of:
    bed,date,weight (lb),weighed,replaces
    Long bed,2026-10-03,1250,scale,3:harvests.csv:7
  replaces line 7 of harvests.csv as it came with import 3 (carryover batches
  lists the imports). Name a row that should not be there in withdraw.csv.

Kept for later
  The review does not use these sheets yet; what you fill in is kept: weather,
  water_tests, tillage, leaf_tests, covers, lists, forecasts.

Any sheet may also have the columns "grower" and "replaces". soil_tests and
beds take "depth from" and "depth to" in place of "depth".
Handle lime, sulfur, ash and raw manure with care: their dust and germs can
harm you. The product's label, your lab and local rules come first.
`
