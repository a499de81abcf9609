// Package dataset keeps the record book: soil tests, amendments, harvests and
// what belongs to them, in Parquet tables that any program can read.
//
// # The folder
//
//	book/
//	  book.toml                   site, units to show, lab profiles, own measures
//	  targets.toml                levels wanted, each with method and source
//	  batches/000123-<hash>/      one import: manifest.json, tables, sources
//	  records/<hash>/             what holds now, resolved and sorted: read this
//
// Names that begin with a dot are ours and passing. Whatever else lies in
// batches/ is never read as data; Verify names it.
//
// # How a batch is written
//
//  1. Under the lock, leftovers of a crash are swept and the rows that hold now
//     are read.
//  2. Rows the book holds already are left out and counted. A row that took the
//     place of one of an earlier import refuses the batch, or, if the batch
//     corrects, takes it out of the records by a correction. Rows that
//     contradict each other, name an undescribed bed or correct a missing row
//     refuse the batch. All this can be asked before, as a preview.
//  3. Tables, sources (zstd) and manifest.json are written in a hidden folder;
//     each file, then the folder, is synced to the disk.
//  4. One rename shows the batch. Its name ends with the first 12 hex digits of
//     the manifest's SHA-256; the manifest holds length, SHA-256 and CRC-32C of
//     every other file. The folder batches/ is synced: the batch is in the book.
//  5. records/ is written anew beside the old one and exchanged with it, so that
//     a glob over records/*/soil_tests.parquet finds one file at any time (where
//     the system cannot exchange two folders: for a moment none, never two). A
//     program that has listed the folder and opens the file a moment later may
//     find it gone, exchanged in between: let it list and open again.
//
// A batch is never edited. A correction is a row of a later batch; an undo is a
// batch without tables whose manifest says what it undoes. So every row that was
// ever imported can still be read, and the corrections tell what came of it.
//
// # Formats
//
// This program writes format 2 and reads 1 and 2. Each manifest has the number
// of its own files: old batches stay as they were written, new ones stand beside
// them, and a program of format 1 refuses the first of those by its manifest.
// The number in book.toml is that of the program which made the book, and never
// changes: the file is the grower's. records/ of format 1 hold until the next
// import.
//
// Format 2 added the columns so marked below, waterings as events, and
// corrections of one of several rows of a line.
//
// A reader lists batches/, hashes the list with the grower of book.toml and so
// knows the one name records/ may have; missing, out of date or damaged records are resolved from the
// batches again. A file's length and CRC-32C are checked before Parquet sees a
// byte of it.
//
// # The tables
//
// Each is one Parquet file: flat columns, zstd, data page 2, a row group for
// about a million rows that never splits a bed. text is a UTF-8 string, real a
// DOUBLE, whole an INT32, day an INT32 of days since 1970-01-01 marked DATE.
// A batch keeps the grower a sheet named, empty where it named none; records/
// have the grower of book.toml in that place. Units are SI; what a sheet said stands in the reported columns. A null (column
// "null means"; - : never null) is never a zero. Every order ends with batch,
// line, file. batch is the batch's own number. A column that comes with a later
// format number can be null, and the files of earlier formats lack it.
//
// # beds
//
// What a bed is, from a day on. Order: grower, bed, from.
//
//	column                type  unit          null means              filled by
//	grower                text  -             -                       sheet, else book.toml
//	bed                   text  -             -                       sheet
//	from                  day   day           -                       sheet: this row holds from here on
//	from_basis            text  -             -                       import: day, month, season, assumed
//	was                   text  -             it was no other bed     sheet: former name or names, A; B
//	area_m2               real  m2            not measured            sheet
//	depth_from_cm         real  cm            not stated              sheet: usual sampled depth
//	depth_to_cm           real  cm            not stated              sheet
//	bulk_density_g_cm3    real  g/cm3         not known               sheet
//	bulk_density_source   text  -             not stated              sheet: measured, estimated, assumed
//	native_ph             real  pH            not known               sheet: before anyone worked it
//	native_om_pct         real  % by mass     not known               sheet: before anyone worked it
//	texture               text  -             not known               sheet
//	note                  text  -             none                    sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
//
// # soil_tests
//
// One analyte of one composite sample's report. Order: grower, bed, analyte,
// date, depth_from_cm, depth_to_cm, method.
//
//	column                type  unit          null means              filled by
//	grower                text  -             -                       sheet, else book.toml
//	bed                   text  -             -                       sheet
//	analyte               text  -             -                       sheet: pH, P, K, OM ...
//	date                  day   day           -                       sheet
//	date_basis            text  -             -                       import: day, month, season, assumed
//	timing                text  -             by its date             sheet: spring, autumn, mid-season
//	lab                   text  -             not stated              sheet
//	report                text  -             not stated              sheet
//	site                  text  -             not stated              sheet
//	sample                text  -             the only one            sheet: tells samples of a day apart
//	depth_from_cm         real  cm            not stated              sheet
//	depth_to_cm           real  cm            not stated              sheet
//	cores                 whole count         not stated              sheet
//	value                 real  unit          -                       import: SI
//	unit                  text  -             -                       import
//	qualifier             text  -             measured as it stands   sheet: < or >
//	method                text  -             not stated: kept apart  sheet
//	basis                 text  -             does not apply          import: mass, volume
//	conversion            text  -             none was needed         import: how the value came about
//	reported_value        real  reported_unit -                       sheet, as printed
//	reported_unit         text  -             -                       sheet, as printed
//	reported_form         text  -             the element             sheet: as printed, P2O5 and the like
//	reported_method       text  -             not stated              sheet, as printed
//	note                  text  -             none                    sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
//
// # materials
//
// One line of a material's label or analysis. Order: grower, material, from,
// component.
//
//	column                type  unit          null means              filled by
//	grower                text  -             -                       sheet, else book.toml
//	material              text  -             -                       sheet
//	kind                  text  -             not stated              sheet: fertilizer, lime, compost ...
//	from                  day   day           always so               sheet: from this day on
//	component             text  -             -                       sheet: N, P, K, Ca, CCE, moisture ...
//	value                 real  unit          -                       import: SI
//	unit                  text  -             -                       import
//	basis                 text  -             as the label says       sheet: label, as-is, dry
//	origin                text  -             not stated              sheet: label, lab, typical
//	reported_value        real  reported_unit -                       sheet, as printed
//	reported_unit         text  -             -                       sheet, as printed
//	reported_form         text  -             the element             sheet: as printed, P2O5 and the like
//	note                  text  -             none                    sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
//
// # amendments
//
// One spreading, or a run of equal ones. Order: grower, bed, date, material.
//
//	column                type  unit          null means              filled by
//	grower                text  -             -                       sheet, else book.toml
//	bed                   text  -             -                       sheet
//	date                  day   day           -                       sheet
//	date_basis            text  -             -                       import: day, month, season, assumed
//	material              text  -             -                       sheet
//	amount                real  unit          how much is not known   import: SI
//	unit                  text  -             no amount               import: kg, kg/ha, L, L/ha, m3, cm
//	amount_low            real  unit          the amount stands alone sheet: least it may be; format 2
//	amount_high           real  unit          the amount stands alone sheet: most it may be; format 2
//	qualifier             text  -             weighed or measured     sheet: about
//	reported_amount       real  reported_unit how much is not known   sheet, as written
//	reported_unit         text  -             no amount               sheet, as written
//	placed                text  -             not stated              sheet: surface, worked in, watered in, foliar
//	mixed_depth_cm        real  cm            not stated              sheet
//	every_days            whole days          once                    sheet: repeated until until
//	until                 day   day           once                    sheet: last day of the repeats
//	same_day              text  -             does not matter, or not said sheet: before test, after test of that day; format 2
//	note                  text  -             none                    sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
//
// # plantings
//
// One crop on one bed in one season. Order: grower, bed, season, crop.
//
//	column                type  unit          null means              filled by
//	grower                text  -             -                       sheet, else book.toml
//	bed                   text  -             -                       sheet
//	season                whole harvest year  -                       sheet
//	crop                  text  -             -                       sheet
//	plants                whole count         not stated              sheet
//	set_out               day   day           not stated              sheet
//	pollinated            day   day           not stated              sheet
//	feeding_ended         day   day           not stated              sheet
//	feeds_complete        text  -             not stated              sheet: yes if every feed is written down, no
//	vines_cleared         day   day           not stated              sheet
//	vines_hauled_pct      real  %             not stated              sheet: share taken off the bed
//	fruit_lost            day   day           not lost                sheet
//	lost_how              text  -             not lost                sheet
//	note                  text  -             none                    sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
//
// # harvests
//
// One weighed fruit, or a crop taken off. Order: grower, bed, date, crop, plant.
//
//	column                type  unit          null means              filled by
//	grower                text  -             -                       sheet, else book.toml
//	bed                   text  -             -                       sheet
//	date                  day   day           -                       sheet
//	date_basis            text  -             -                       import: day, month, season, assumed
//	crop                  text  -             the main crop           sheet
//	plant                 text  -             not stated              sheet: which plant
//	weight_kg             real  kg            -                       import
//	weighed               text  -             -                       sheet: scale, taped, guessed
//	reported_weight       real  reported_unit -                       sheet, as written
//	reported_unit         text  -             -                       sheet, as printed
//	note                  text  -             none                    sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
//
// # covers
//
// One cover crop. Order: grower, bed, sown, species.
//
//	column                type  unit          null means              filled by
//	grower                text  -             -                       sheet, else book.toml
//	bed                   text  -             -                       sheet
//	sown                  day   day           -                       sheet
//	sown_basis            text  -             -                       import: day, month, season, assumed
//	species               text  -             -                       sheet
//	ended                 day   day           not ended, or not stated sheet
//	height_cm             real  cm            not measured            sheet
//	biomass_kg_ha         real  kg/ha dry     not measured            sheet
//	note                  text  -             none                    sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
//
// # weather
//
// One day, month or monthly normal at a site, or one watering of a bed, of which
// a day may have several. Order: grower, bed, site, date, period.
//
//	column                type  unit          null means              filled by
//	grower                text  -             -                       sheet, else book.toml
//	bed                   text  -             the row is of a site    sheet: irrigation only
//	site                  text  -             the row is of a bed, or the book has one site sheet
//	date                  day   day           -                       sheet: first day of the period
//	period                text  -             -                       sheet: day, month, normal
//	rain_mm               real  mm            not recorded            sheet
//	irrigation_mm         real  mm            not recorded            sheet
//	irrigation_l          real  L             not recorded            sheet: on the bed, its depth not known; format 2
//	temp_max_c            real  deg C         not recorded            sheet
//	temp_min_c            real  deg C         not recorded            sheet
//	humidity_pct          real  %             not recorded            sheet
//	wind_m_s              real  m/s           not recorded            sheet
//	sun_hours             real  h a day       not recorded            sheet
//	note                  text  -             none                    sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
//
// # water_tests
//
// One analyte of an irrigation-water report. Order: grower, water, analyte, date.
//
//	column                type  unit          null means              filled by
//	grower                text  -             -                       sheet, else book.toml
//	water                 text  -             -                       sheet: well, tap, pond ...
//	date                  day   day           -                       sheet
//	date_basis            text  -             -                       import: day, month, season, assumed
//	lab                   text  -             not stated              sheet
//	analyte               text  -             -                       sheet: pH, P, K, OM ...
//	value                 real  unit          -                       import: SI
//	unit                  text  -             -                       import
//	qualifier             text  -             measured as it stands   sheet: < or >
//	reported_value        real  reported_unit -                       sheet, as printed
//	reported_unit         text  -             -                       sheet, as printed
//	reported_form         text  -             the element             sheet: as printed, P2O5 and the like
//	note                  text  -             none                    sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
//
// # tillage
//
// One working of the soil. Order: grower, bed, date, tool.
//
//	column                type  unit          null means              filled by
//	grower                text  -             -                       sheet, else book.toml
//	bed                   text  -             -                       sheet
//	date                  day   day           -                       sheet
//	date_basis            text  -             -                       import: day, month, season, assumed
//	tool                  text  -             -                       sheet
//	depth_cm              real  cm            not stated              sheet
//	note                  text  -             none                    sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
//
// # leaf_tests
//
// One analyte of a plant-tissue report. Order: grower, bed, analyte, date, part.
//
//	column                type  unit          null means              filled by
//	grower                text  -             -                       sheet, else book.toml
//	bed                   text  -             -                       sheet
//	analyte               text  -             -                       sheet: pH, P, K, OM ...
//	date                  day   day           -                       sheet
//	date_basis            text  -             -                       import: day, month, season, assumed
//	lab                   text  -             not stated              sheet
//	part                  text  -             not stated              sheet: which leaf or petiole
//	value                 real  unit          -                       import: SI
//	unit                  text  -             -                       import: of dry matter
//	qualifier             text  -             measured as it stands   sheet: < or >
//	reported_value        real  reported_unit -                       sheet, as printed
//	reported_unit         text  -             -                       sheet, as printed
//	note                  text  -             none                    sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
//
// # advice
//
// One line of the lab's own recommendation. Order: grower, bed, date, item.
//
//	column                type  unit          null means              filled by
//	grower                text  -             -                       sheet, else book.toml
//	bed                   text  -             -                       sheet
//	date                  day   day           -                       sheet
//	date_basis            text  -             -                       import: day, month, season, assumed
//	lab                   text  -             not stated              sheet
//	report                text  -             not stated              sheet
//	item                  text  -             -                       sheet: nutrient or material
//	amount                real  unit          words only              sheet, as printed
//	unit                  text  -             no amount               sheet, as printed
//	text                  text  -             figures only            sheet, as printed
//	note                  text  -             none                    sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
//
// # lists
//
// One line of what was listed to spread. Order: grower, bed, listed_on, season,
// timing, material.
//
//	column                type  unit          null means              filled by
//	grower                text  -             -                       sheet, else book.toml
//	bed                   text  -             -                       sheet
//	listed_on             day   day           -                       sheet, or the list itself
//	season                whole harvest year  -                       sheet
//	timing                text  -             -                       sheet: autumn, spring
//	material              text  -             -                       sheet
//	amount                real  unit          -                       import: SI
//	unit                  text  -             -                       import
//	reported_amount       real  reported_unit -                       sheet, as written
//	reported_unit         text  -             -                       sheet, as printed
//	note                  text  -             none                    sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
//
// # forecasts
//
// One forecast, kept to be scored. Order: grower, bed, analyte, made_on, season,
// timing.
//
//	column                type  unit          null means              filled by
//	grower                text  -             -                       sheet, else book.toml
//	bed                   text  -             -                       sheet
//	analyte               text  -             -                       sheet: pH, P, K, OM ...
//	made_on               day   day           -                       the forecast
//	season                whole harvest year  -                       the forecast: season of the test foretold
//	timing                text  -             -                       the forecast: spring, autumn
//	method                text  -             not stated              the forecast
//	value                 real  unit          -                       the forecast
//	low                   real  unit          -                       the forecast
//	high                  real  unit          -                       the forecast
//	level                 real  share         -                       the forecast: 0.9 for a 90 % range
//	unit                  text  -             -                       import
//	basis                 text  -             does not apply          import: mass, volume
//	note                  text  -             none                    sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
//
// # corrections
//
// Rows taken out of what earlier batches hold. Order: of_batch, table, of_line.
//
//	column                type  unit          null means              filled by
//	table                 text  -             -                       sheet
//	of_batch              whole number        -                       sheet: batch of the rows taken out
//	of_file               text  -             the only file with that line sheet
//	of_line               whole from 1        -                       sheet
//	analyte               text  -             every analyte of the line sheet
//	of_row                text  -             every row of the line   import: which of several rows of a line; format 2
//	action                text  -             -                       sheet: replace, withdraw
//	reason                text  -             none given              sheet; import: changed in the sheet
//	batch                 whole number        -                       import
//	file                  text  -             -                       import: as the grower named it
//	line                  whole from 1        -                       import
package dataset
