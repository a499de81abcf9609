package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"carryover/analysis"
	"carryover/dataset"
)

// openBook opens the book the user means.
func openBook(cmd *cobra.Command) (*dataset.Book, error) {
	dir, _ := cmd.Flags().GetString("book")
	if dir == "" {
		dir = os.Getenv("CARRYOVER_BOOK")
	}
	if dir != "" {
		return dataset.Open(dir)
	}
	here, err := os.Getwd()
	if err != nil {
		return nil, err
	}
	return dataset.Find(here)
}

// looking holds the flags of commands that look at the book.
type looking struct {
	beds   []string
	season int
	asOf   string
	units  string
}

func (l *looking) addFlags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringArrayVar(&l.beds, "bed", nil, "only this bed (may be given again)")
	f.IntVar(&l.season, "season", 0, "look back from the end of this season (its harvest year)")
	f.StringVar(&l.asOf, "as-of", "", "look back from this day, as 2026-11-07 (default: the last record)")
	f.StringVar(&l.units, "units", "", "us or metric (default: as the book says)")
}

// load opens the book and works the review out.
func (l *looking) load(cmd *cobra.Command) (*analysis.Review, shown, error) {
	book, err := openBook(cmd)
	if err != nil {
		return nil, shown{}, err
	}
	return l.review(book)
}

func (l *looking) review(book *dataset.Book) (*analysis.Review, shown, error) {
	o, units, rec, err := l.options(book)
	if err != nil {
		return nil, units, err
	}
	r, err := analysis.NewReview(book, rec, o)
	return r, units, err
}

// options reads what the analyses of a book rest on.
func (l *looking) options(book *dataset.Book) (analysis.Options, shown, *dataset.Records, error) {
	o := analysis.Options{Book: bookName(book.Dir), Invented: book.Config.Invented, South: south(book)}
	o.Select.Beds = l.beds
	units, err := unitsOf(l.units, book)
	fail := func(err error) (analysis.Options, shown, *dataset.Records, error) { return o, units, nil, err }
	if err != nil {
		return fail(err)
	}
	if o.AsOf, err = l.day(o.South); err != nil {
		return fail(err)
	}
	text, err := os.ReadFile(filepath.Join(book.Dir, "targets.toml"))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fail(err)
	}
	if err == nil {
		if o.Targets, err = analysis.ParseTargets(string(text)); err != nil {
			return fail(err)
		}
	}
	rec, err := book.Records()
	if err != nil {
		return fail(err)
	}
	if err := knownBeds(rec, l.beds); err != nil {
		return fail(err)
	}
	o.US = units.us
	return o, units, rec, nil
}

// bookName is the name of the book's folder, wherever one stands.
func bookName(dir string) string {
	if abs, err := filepath.Abs(dir); err == nil {
		dir = abs
	}
	return filepath.Base(dir)
}

func south(b *dataset.Book) bool { return b.Config.Latitude != nil && *b.Config.Latitude < 0 }

// day returns the day to look back from, nil for the last record's.
func (l *looking) day(south bool) (*dataset.Date, error) {
	switch {
	case l.asOf != "" && l.season != 0:
		return nil, usagef("--as-of and --season both say from when to look back: give one")
	case l.asOf != "":
		d, err := dataset.ParseISO(l.asOf)
		if err != nil {
			return nil, usagef("--as-of: %v", err)
		}
		return &d, nil
	case l.season != 0:
		if l.season < 1800 || l.season > 2200 {
			return nil, usagef("--season %d: expected a year such as 2026", l.season)
		}
		d := dataset.DateOf(l.season, 12, 31)
		if south {
			d = dataset.DateOf(l.season, 6, 30)
		}
		return &d, nil
	}
	return nil, nil
}

// knownBeds refuses a bed that the book does not hold.
func knownBeds(rec *dataset.Records, beds []string) error {
	for _, want := range beds {
		if err := dataset.KnownBed(rec, want); err != nil {
			return err
		}
	}
	return nil
}

// unitsOf returns the units to show.
func unitsOf(flag string, b *dataset.Book) (shown, error) {
	u := flag
	if u == "" {
		u = b.Config.Units
	}
	switch u {
	case "us", "":
		return shown{us: true}, nil
	case "metric":
		return shown{}, nil
	}
	return shown{}, usagef("--units %q: write us or metric", flag)
}

// saving holds the flags of commands that may write a file.
type saving struct {
	out   string
	force bool
}

func (s *saving) addFlags(cmd *cobra.Command, what string) {
	cmd.Flags().StringVar(&s.out, "out", "", what)
	cmd.Flags().BoolVar(&s.force, "force", false, "overwrite the file if it is there already")
}

// free says whether the file may be written.
func (s *saving) free() error {
	if s.out == "" || s.force {
		return nil
	}
	if _, err := os.Lstat(s.out); err == nil {
		return fmt.Errorf("%s is there already: choose another name, or overwrite it with --force", s.out)
	}
	return nil
}

// write sends what show writes to the file, whole or not at all, or to
// standard output.
func (s *saving) write(cmd *cobra.Command, show func(io.Writer) error) error {
	var b bytes.Buffer
	if err := show(&b); err != nil {
		return err
	}
	if s.out == "" {
		_, err := cmd.OutOrStdout().Write(b.Bytes())
		return err
	}
	if err := s.free(); err != nil {
		return err
	}
	if err := dataset.WriteFile(s.out, b.Bytes()); err != nil {
		return err
	}
	fmt.Fprintln(cmd.ErrOrStderr(), "wrote "+s.out)
	return nil
}

// width returns how wide to print: the terminal's width between 60 and 120
// columns, or 80 where there is none.
func width(w io.Writer) int {
	if f, ok := w.(*os.File); ok {
		if n, _, err := term.GetSize(int(f.Fd())); err == nil {
			return min(max(n, 60), 120)
		}
	}
	return 80
}

// oneOf checks a flag's value.
func oneOf(flag, value string, allowed ...string) error {
	for _, a := range allowed {
		if value == a {
			return nil
		}
	}
	return usagef("--%s %q: write %s", flag, value, strings.Join(allowed, " or "))
}
