// Package intake reads what growers keep into the rows of package dataset: long
// sheets (CSV, one table in each file), files of somebody else's through a sheet
// map, and it writes the empty sheets. One mechanism serves all of them: a table
// names its columns, a row binds cells to them, and one function makes the
// record; so a map, a sheet and a template cannot disagree.
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
// heading starts with #. Cells are parted by commas, quoted as in RFC 4180, in
// UTF-8 with or without a byte order mark, with either line ending.
//
// # Sheet maps
//
// A sheet map is a TOML text that says how the columns of a file that is not
// ours become rows. Every [[rows]] block makes records of one table from each
// line; [rows.set] says where each field comes from, under the names of the
// sheet's headings without their units. An example:
//
//	format = 1                    # of the map
//	title = "County lab, yearly export"
//	source = "where the file comes from; free text"
//	separator = ";"               # "," if not said; ";" or "tab"
//	missing = ["*", "n/a"]        # cells that mean "no value"
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
// What a lab found too little of to measure is written "<0.2", with the limit the
// lab states; a word such as ND for it may stand under missing only where the
// limit is not known, and then gives no record.
//
// A list of origins is tried in order; the first that gives a value is taken.
// Conditions look at the bare cell: is (one of), not (none of), has (one of the
// parts of a cell such as "2, 5"); a list of conditions holds when all do. A
// bare year is a date if timing says the season. Equal records of beds,
// soil_tests, materials, water_tests and leaf_tests always become one.
// Analyte columns may stand in soil_tests, water_tests and leaf_tests.
package intake
