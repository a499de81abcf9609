package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"unicode"

	"github.com/spf13/cobra"

	"carryover/analysis"
	"carryover/dataset"
	"carryover/dataset/intake"
)

func newNew() *cobra.Command {
	var o dataset.Options
	var latitude, elevation float64
	var lab, state string
	cmd := &cobra.Command{
		Use:   "new FOLDER",
		Short: "Start a record book, with blank sheets to fill in",
		Long: `new makes the folder of a record book with one blank workbook, sheets.xlsx, that
has a sheet for each kind of record, headed by units. Fill in what you have (the
sheet beds first) with any spreadsheet program, save it, and import it; go on in
the same workbook next year and import it again. The same sheets lie in the
folder sheets as CSV files, for those who like these better. targets.toml in the
book says where each level is wanted; it is yours to change.`,
		Example: "  carryover new patch --grower \"A. Grower\" --latitude 44.2\n  carryover new patch --units metric",
		Args:    wantArgs(1, 1, "the folder to make"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := oneOf("units", o.Units, "us", "metric"); err != nil {
				return err
			}
			if cmd.Flags().Changed("latitude") {
				o.Latitude = &latitude
			}
			if cmd.Flags().Changed("elevation") {
				o.Elevation = &elevation
			}
			for _, x := range [...][2]string{{"lab", lab}, {"state", state}} {
				if strings.ContainsFunc(x[1], unicode.IsControl) {
					return usagef("--%s %q: expected a name on one line", x[0], x[1])
				}
			}
			var note string
			o.TargetsTOML, note = chosenTargets(lab, state)
			book, err := makeBook(args[0], o)
			if err != nil {
				return err
			}
			if note != "" {
				fmt.Fprintln(cmd.ErrOrStderr(), fill("note: "+note, "      ", 80))
			}
			workbook := filepath.Join(book.Dir, workbookName)
			fmt.Fprintf(cmd.OutOrStdout(), `made the record book %s
next: 1. fill in %s: the sheet beds first, then what you have
         (the same sheets as CSV files, and a README.txt: %s)
      2. carryover import --book %s %s
         again each year: what the book holds already is skipped
      3. carryover review --book %s
`, args[0], workbook, filepath.Join(book.Dir, "sheets"), quoted(args[0]), quoted(workbook), quoted(args[0]))
			return nil
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Grower, "grower", "", "your name, for every record that names no grower")
	f.StringVar(&o.Units, "units", "us", "us or metric, for the sheets and what is shown")
	f.StringVar(&lab, "lab", "", "the lab that tests your soil, to choose bands in targets.toml")
	f.StringVar(&state, "state", "", "the state you grow in, to choose bands in targets.toml")
	f.Float64Var(&latitude, "latitude", 0, "degrees north of the equator (south: negative): seasons and day length")
	f.Float64Var(&elevation, "elevation", 0, "height above the sea, in metres")
	return cmd
}

// workbookName is the blank workbook in the folder of a new book.
const workbookName = "sheets.xlsx"

// makeBook makes a book with its targets and blank sheets.
func makeBook(dir string, o dataset.Options) (*dataset.Book, error) {
	if o.TargetsTOML == "" {
		o.TargetsTOML = analysis.DefaultTargets()
	}
	workbook, err := intake.Workbook(o.Units, nil) // first: nothing is made if it cannot be
	if err != nil {
		return nil, err
	}
	book, err := dataset.Create(dir, o)
	if err != nil {
		return nil, err
	}
	sheets := filepath.Join(book.Dir, "sheets")
	if err := os.MkdirAll(sheets, 0o755); err != nil {
		return nil, err
	}
	for _, t := range intake.Templates(o.Units) {
		if err := dataset.WriteFile(filepath.Join(sheets, t.Name), t.Data); err != nil {
			return nil, err
		}
	}
	return book, dataset.WriteFile(filepath.Join(book.Dir, workbookName), workbook)
}

// quoted puts a path with spaces in quotes, as a shell wants it.
func quoted(path string) string {
	for _, r := range path {
		if r == ' ' || r == '\'' || r == '(' || r == '&' {
			return `"` + path + `"`
		}
	}
	return path
}
