package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"carryover/dataset"
	"carryover/dataset/intake"
	"carryover/fixtures"
	"carryover/plots"
)

func newDemo() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "demo [FOLDER]",
		Short: "Make an invented record book, review it and draw its chart",
		Long: `demo makes a record book of an invented patch (four beds, eight seasons, with
the untidiness of real records), prints its review and draws its drawdown chart.
The folder is demo-book unless you name another. A demo book that is there
already is shown as it is.`,
		Args: wantArgs(0, 1, "one folder at most"),
		RunE: func(cmd *cobra.Command, args []string) error {
			dir := "demo-book"
			if len(args) > 0 {
				dir = args[0]
			}
			book, err := demoBook(dir)
			if err != nil {
				return err
			}
			var look looking
			r, s, err := look.review(book)
			if err != nil {
				return err
			}
			if err := showReview(cmd.OutOrStdout(), r, s, width(cmd.OutOrStdout()), false); err != nil {
				return err
			}
			charts := filepath.Join(book.Dir, "charts")
			if err := os.MkdirAll(charts, 0o755); err != nil {
				return err
			}
			note := cmd.ErrOrStderr()
			fmt.Fprintf(note, "\nrecord book (invented): %s\n", dir)
			for _, name := range []string{"drawdown.svg", "drawdown.png"} {
				files, err := plots.Save(filepath.Join(charts, name), drawdownChart(r, s, nil), plots.Options{})
				if err != nil {
					return err
				}
				for _, f := range files {
					fmt.Fprintf(note, "chart: %s\n", f)
				}
			}
			fmt.Fprintf(note, "look around: carryover review --book %s --bed %s, carryover batches --book %s\n", quoted(dir), r.Beds[0].Bed, quoted(dir))
			return nil
		},
	}
	return cmd
}

// demoBook opens the demo book in dir, or makes it batch by batch, as a grower
// would have over the years.
func demoBook(dir string) (*dataset.Book, error) {
	book, err := dataset.Open(dir)
	if err == nil {
		if !book.Config.Invented {
			return nil, fmt.Errorf("%s is a record book of its own: name another folder for the demo", dir)
		}
		return book, nil
	}
	if !errors.Is(err, dataset.ErrNoBook) {
		return nil, err
	}
	// Made beside its place and renamed: an interrupted demo leaves no half book.
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return nil, fmt.Errorf("%s: %w\nhint: name another folder for the demo", dir, dataset.ErrNotEmpty)
	}
	parent := filepath.Dir(filepath.Clean(dir))
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return nil, err
	}
	tmp, err := os.MkdirTemp(parent, ".demo-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(tmp)
	making := filepath.Join(tmp, "book")
	latitude, elevation := fixtures.DemoLatitude, fixtures.DemoElevation
	book, err = makeBook(making, dataset.Options{Grower: fixtures.DemoGrower, Units: "us", Latitude: &latitude, Elevation: &elevation, Invented: true})
	if err != nil {
		return nil, err
	}
	for _, b := range fixtures.DemoBatches() {
		when, err := time.Parse(time.RFC3339, b.When)
		if err != nil {
			return nil, fmt.Errorf("demo batch %s: %w", b.Name, err)
		}
		var src []intake.Source
		for _, f := range b.Files {
			src = append(src, intake.Source{Name: f.Name, Data: f.Data})
		}
		o := intake.Options{Today: dataset.Date(when.Unix() / 86400)}
		if err := importInto(book, src, o, dataset.Batch{Now: when}, io.Discard, io.Discard); err != nil {
			return nil, fmt.Errorf("demo batch %s: %w", b.Name, err)
		}
	}
	if err := os.Remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) { // an empty folder of that name
		return nil, err
	}
	if err := os.Rename(making, dir); err != nil {
		return nil, err
	}
	return dataset.Open(dir)
}
