package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"carryover/analysis"
	"carryover/dataset"
	"carryover/dataset/intake"
)

func newNew() *cobra.Command {
	var o dataset.Options
	var latitude, elevation float64
	cmd := &cobra.Command{
		Use:   "new FOLDER",
		Short: "Start a record book, with blank sheets to fill in",
		Long: `new makes the folder of a record book and, in its folder sheets, one blank CSV
sheet for each kind of record, headed by units. Fill in the sheets you have
(beds.csv first) with any spreadsheet program, save them as CSV, and import
them. targets.toml in the book says where each level is wanted; it is yours to
change.`,
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
			book, err := makeBook(args[0], o)
			if err != nil {
				return err
			}
			sheets := filepath.Join(book.Dir, "sheets")
			fmt.Fprintf(cmd.OutOrStdout(), `made the record book %s
next: 1. fill in %s, then the other sheets you have
         (%s says how)
      2. carryover import --book %s %s
         carryover import --book %s %s
      3. carryover review --book %s
`, args[0], filepath.Join(sheets, "beds.csv"), filepath.Join(sheets, "README.txt"),
				quoted(args[0]), quoted(filepath.Join(sheets, "beds.csv")), quoted(args[0]), quoted(filepath.Join(sheets, "soil_tests.csv")), quoted(args[0]))
			return nil
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Grower, "grower", "", "your name, for every record that names no grower")
	f.StringVar(&o.Units, "units", "us", "us or metric, for the sheets and what is shown")
	f.Float64Var(&latitude, "latitude", 0, "degrees north of the equator (south: negative): seasons and day length")
	f.Float64Var(&elevation, "elevation", 0, "height above the sea, in metres")
	return cmd
}

// makeBook makes a book with its targets and blank sheets.
func makeBook(dir string, o dataset.Options) (*dataset.Book, error) {
	o.TargetsTOML = analysis.DefaultTargets()
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
	return book, nil
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
