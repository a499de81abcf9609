package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"carryover/dataset"
	"carryover/dataset/intake"
)

func newImport() *cobra.Command {
	var o intake.Options
	var mapFile string
	cmd := &cobra.Command{
		Use:   "import FILE...",
		Short: "Take sheets (CSV) into the record book",
		Long: `import takes the sheets into the book as one batch: all of them, or none if
anything is at fault. Every fault is listed with its file, line and column.
Rows that the book holds already are skipped and counted.

A sheet that "carryover new" wrote is known by its name or its headings. Any
other sheet needs a sheet map (--map), a small text file that says which column
is what.`,
		Example: "  carryover import sheets/beds.csv sheets/soil_tests.csv\n  carryover import --map lab.toml lab-2026.csv",
		Args:    wantArgs(1, -1, "the file to import"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if o.Dates != "" {
				o.Dates = strings.ToUpper(o.Dates)
				if err := oneOf("dates", o.Dates, "MDY", "DMY"); err != nil {
					return err
				}
			}
			book, err := openBook(cmd)
			if err != nil {
				return err
			}
			src, err := intake.ReadFiles(args)
			if err != nil {
				return err
			}
			b := dataset.Batch{}
			if mapFile != "" {
				if b.Map, err = os.ReadFile(mapFile); err != nil {
					return err
				}
				b.MapName = filepath.Base(mapFile)
				if o.Map, err = intake.ParseMap(b.MapName, b.Map); err != nil {
					return err
				}
			}
			return importInto(book, src, o, b, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&mapFile, "map", "", "sheet map (TOML) that says which column is what")
	f.StringVar(&o.Table, "table", "", "the table all files belong to, if names and headings do not tell")
	f.StringVar(&o.Dates, "dates", "", "order of dates such as 10/28/2026: MDY or DMY")
	return cmd
}

// importInto reads the sources and commits them as one batch.
func importInto(book *dataset.Book, src []intake.Source, o intake.Options, b dataset.Batch, stdout, stderr io.Writer) error {
	o.South, o.Units = south(book), book.Config.Units
	if o.Dates == "" {
		o.Dates = book.Config.Dates
	}
	rec, err := book.Records()
	if err != nil {
		return err
	}
	o.Beds = rec.BedNames()
	if o.Today == 0 {
		o.Today = today()
	}
	in, err := intake.Read(src, o)
	if err != nil {
		return err
	}
	b.Records, b.Program = &in.Records, "carryover "+programVersion()
	if b.Now.IsZero() {
		b.Now = now()
	}
	for _, s := range src {
		b.Sources = append(b.Sources, dataset.SourceFile{Name: s.Name, Data: s.Data})
	}
	done, err := book.Commit(b)
	if err != nil {
		return err
	}
	var parts []string
	skipped := in.Collapsed
	for _, t := range dataset.TableNames() {
		if n := done.Rows[t]; n > 0 {
			parts = append(parts, fmt.Sprintf("%s %s", plural(n, "row"), t))
		}
		skipped += done.Skipped[t]
	}
	fmt.Fprintf(stdout, "batch %d: %s\n", done.Number, strings.Join(parts, ", "))
	if skipped > 0 {
		fmt.Fprintf(stdout, "%s skipped: the same facts again\n", plural(skipped, "row"))
	}
	for _, n := range in.Notes {
		fmt.Fprintln(stderr, "note: "+n)
	}
	if done.Warning != "" {
		fmt.Fprintln(stderr, "warning: "+done.Warning)
	}
	return nil
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	end := "s"
	if strings.HasSuffix(what, "ch") {
		end = "es"
	}
	return fmt.Sprintf("%s %s%s", commas(float64(n)), what, end)
}
