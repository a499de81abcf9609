// Package intake reads what growers keep into the rows of package dataset: long
// sheets (CSV, one table in each file, or a workbook with a sheet for each),
// files of somebody else's through a sheet map, and it writes the empty sheets.
// One mechanism serves all of them: a table names its columns, a row binds cells
// to them, and one function makes the record; so a map, a sheet and a template
// cannot disagree.
//
// Reading goes in four steps:
//
//  1. [ReadFiles] finds the files and refuses what is not one.
//  2. The text is cut into rows of cells; line numbers are those of the file.
//  3. Headings, or the map, bind cells to the fields of a table.
//  4. Each row is checked and turned into SI by package unit. What is wrong is
//     one line in [Faults]: place, found, expected, how to mend.
//
// Where Options.Beds says which beds the book describes, a bed that neither they
// nor the sheets describe is a fault like any other, told once for each file.
//
// Nothing is assumed in silence. A figure without a unit is a fault; what was
// understood beyond the plain text of a cell stands in [Result].Notes.
//
// # Sheets
//
// Headings are matched without regard to case, spaces, hyphens and underscores.
// A measured column carries its unit in brackets, "weight (lb)", or in each cell.
// Lines that are empty or start with # are passed over, as are columns whose
// heading starts with #. Cells are parted by commas, semicolons or tabs, whichever
// gives most of the first lines the same number of cells, and quoted as in RFC
// 4180; a first line sep=; says it outright. Text is UTF-8, or UTF-16 as its bytes
// show; what is neither and reads sensibly as Windows-1252 is read so, with a
// note. Decimals have a comma where a figure of the sheet can be read no other
// way (12,5), which a note tells; a sheet with both ways is refused, and one that
// leaves it open (1,234) asks for Options.Decimal.
//
// # Workbooks
//
// An XLSX file is a file for each of its sheets that can be seen, named
// "file.xlsx/sheet". Without a map those are read whose name or headings belong to
// a table; a note names the others. Numbers come with the 15 digits that programs
// keep, days as 2026-10-28, a month without a day as 2026-10, percentages as 4.6%.
// In columns that are read, a formula, an error, merged cells and a day shown
// without its year are faults. Text boxes, charts, macros and colours are passed
// over. A workbook that does not unzip to its checksums is never read in part.
//
// [Workbook] writes the blank one, [WriteWorkbook] any other.
//
// # Sheet maps
//
// A sheet map is a TOML text that says how the columns of a file that is not
// ours become rows. Every [[rows]] block makes records of one table from each
// line; [rows.set] says where each field comes from, under the names of the
// sheet's headings without their units. [Propose] drafts one. A lab's sheet with
// a column for each analyte needs little:
//
//	format = 1                    # of the map
//	title = "Riverbend, autumn report"
//	dates = "MDY"                 # how 10/28/2026 is meant; century = 2000 for 10/28/26
//	heading_rows = 2              # units stand in a row of their own
//	until = "Comments"            # where the samples end; "" is an empty line
//	missing = ["N/A", "-"]        # cells that mean "no value"
//	ratings = ["VL", "L", "M", "H", "VH"] # words beside a figure: 118 VH
//	below = ["U"]                 # marks that mean "less than": 0.2 U
//
//	[[rows]]
//	table = "soil_tests"
//	columns = ["pH 1:1", "OM %", "P ppm", "Avail. K ppm = K ppm ammonium acetate"]
//	[rows.set]
//	bed = {column = "Sample ID", match = '^(\w+)-', lookup = {BARN = "Barn"}}
//	date = {after = "Date sampled:"}
//	depth = "0-6 in"
//	lab = "Riverbend"
//	method = ["Mehlich-3", "LOI"] # each stands for the columns it can measure
//
// columns is a list of headings that say it all themselves, or of "heading =
// meaning"; or it is a table, [rows.columns], with a line for each heading: true,
// its meaning, or {is = meaning, unit_column = "units"}. A meaning is read as a
// heading is, by [unit.ParseHeading]: analyte, unit, method, depth, in any order.
// What it leaves open the sheet's own heading may say, then unit and method under
// [rows.set], each for the columns it fits, then the profile of the lab in
// book.toml. A column that several of the methods under [rows.set] fit is a fault
// until its own stands on it, but that one of the analyte's own (hot water for B)
// goes before general extractants. A unit that nobody says, not even the cell, is
// a fault; a method that nobody says is told in a note, "no method" says that none
// is to be had, and "other: NAME" at the end of a meaning names a lab's own.
// Meaning, heading and cell must not contradict each other, and words of a heading
// that are not understood ask for the method. In water_tests, leaf_tests and
// materials a meaning is a name and a unit, in advice ("lime ton/acre") too, where
// a cell of words goes into its text.
//
// A sheet with a row for each analyte sets analyte and value from columns; what
// it calls an analyte is read as a heading, but for the names listed:
//
//	[rows.names]
//	"Phosphorus M3" = "P Mehlich-3"
//	Texture = false               # rows that are left out
//
// The whole grammar at work:
//
//	format = 1
//	title = "County lab, yearly export"
//	source = "where the file comes from; free text"
//	separator = ";"               # "," or "tab"; else as the lines show
//	missing = ["*", "n/a"]
//	dates = "DMY"                 # DMY or MDY for dates such as 28/10/2026; else YMD
//
//	[[rows]]
//	table = "beds"
//	once = true                   # one record, from the first line that applies
//	[rows.set]
//	bed = "Long bed"              # a plain text is a constant
//	from = "2020-04-01"
//	area = "1250 sq ft"           # a figure may carry its unit
//
//	[[rows]]
//	table = "amendments"
//	collapse = true               # records that are equal become one
//	when = [{column = "lime_date", not = ["*"]}, {column = "remarks", has = ["2"]}]
//	[rows.set]
//	bed = {column = "plot", prefix = "plot "}
//	date = {column = "lime_date"}
//	material = "ground limestone"
//	amount = {column = "lime", unit = "t/ha"}
//
//	[[rows]]
//	table = "soil_tests"
//	[rows.set]
//	bed = {column = "plot", prefix = "plot "}
//	date = [{column = "sampled"}, {column = "year", unless = {column = "year", is = ["before"]}}]
//	timing = {value = "autumn", when = {column = "sampled", is = ["*"]}}
//	date_basis = {value = "month", when = {column = "remarks", has = ["2"]}}
//	depth = {column = "depth", unit = "cm"}
//	sample = {column = "half", lookup = {"1" = "upper", "2" = "lower"}}
//	lab = "County lab"
//
//	[[rows.analyte]]              # one record for each column that has a value
//	column = "ph_water"
//	analyte = "pH"
//	method = "water 1:2.5"
//
//	[[rows.analyte]]
//	column = "p_mg_kg"
//	analyte = "P"
//	form = "P2O5"                 # as printed, if it is not the element
//	unit = "mg/kg"
//	method = "Olsen"
//	when = {column = "remarks", not = ["7"]}
//
// A column is named by its heading; by its place, 5 or "#5" or "#E"; or, of
// several equal headings, as "Rating #2". An origin is a constant or a table with
// one of: column; columns = [...], whose texts are joined by a space or by join;
// cell = "B4" and after = "Sampled:" (the rest of that cell, or the next filled
// one to its right), which stand above the headings; name_of = "file" or "sheet".
// Where a line between the rows starts with the text of after, what it says holds
// from there on. down = true lets an empty cell of a column take what stands
// above it. match takes the part of it that the group of a regular expression
// fits, lookup puts another text in its place, prefix stands before it. A list of
// origins is tried in order; the first that gives a value is taken. Conditions
// look at the bare cell: is (one of), not (none of), has (one of the parts of a
// cell such as "2, 5"), match; a list of conditions holds when all do.
//
// The headings are the first line that holds every column the map names, or the
// line headings = 4 or [4, 5], or the line that holds headings_with = "Sample
// ID"; of two rows or more (heading_rows = 2) the cells of a column are joined by
// spaces, and merged = true lets an empty cell of an upper row take what stands
// to its left. skip = [{column = "Sample ID", is = ["Average"]}] passes over
// lines that fit one of its conditions, comments = false reads lines that start
// with #. turn = true lets rows and columns change places first: a record's line
// is then the number of its column. Of a workbook, sheet = "Results" or a list
// names the sheets, else those are read that have the columns; formulas = "as
// shown" takes what formula cells last showed. encoding = "windows-1252" and
// decimal = "comma" settle what the file leaves open.
//
// What a lab found too little of to measure is written "<0.2", with the limit the
// lab states; a word such as ND for it may stand under missing only where the
// limit is not known, and then gives no record. A bare year is a date if timing
// says the season. Equal records of beds, soil_tests, materials, water_tests and
// leaf_tests always become one.
//
// # Lab profiles
//
// Where a soil test names its lab, in a sheet or by a map, blanks of its unit,
// method and depth are filled from the lab's entry in book.toml (Options.Labs),
// and a note says which and how many. What a sheet states is never overwritten.
package intake
