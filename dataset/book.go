package dataset

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/BurntSushi/toml"

	"carryover/dataset/unit"
)

// Format is the format number of what this program writes. It reads format 1,
// too: there the columns tagged since:"2" are not.
const Format = 2

// Book is an open record book.
type Book struct {
	Dir    string
	Config Config
}

// Config is book.toml.
type Config struct {
	Format    int                `toml:"format"`
	Grower    string             `toml:"grower"`
	Units     string             `toml:"units"`       // us or metric: what is shown
	Latitude  *float64           `toml:"latitude"`    // degrees north
	Elevation *float64           `toml:"elevation_m"` // above the sea
	Dates     string             `toml:"dates"`       // MDY or DMY: how sheets write 10/11/2026; empty: not said
	Invented  bool               `toml:"invented"`    // a demo book: nothing in it is real
	Lab       map[string]Lab     `toml:"lab"`
	Measure   map[string]Measure `toml:"measure"`
}

// Lab is what one lab's reports have in common.
type Lab struct {
	Methods map[string]string `toml:"methods"` // analyte to method
	Units   map[string]string `toml:"units"`   // analyte to unit
	Depth   string            `toml:"depth"`
	Pounds  string            `toml:"pounds"` // rule behind its lb/acre: "2 x ppm" or "by depth"; empty: by the depth
	Order   []string          `toml:"order"`  // analytes as the report lists them
}

// Measure is one of the grower's own: barrow = 6 cu ft.
type Measure struct {
	Amount float64 `toml:"amount"`
	Unit   string  `toml:"unit"`
}

// Options are what a new book is made with.
type Options struct {
	Grower      string
	Units       string // us (also if empty) or metric
	Latitude    *float64
	Elevation   *float64 // m
	Invented    bool
	TargetsTOML string // content of targets.toml; empty: no such file
}

// Create makes a record book in dir, which must be new or an empty folder.
//
// The error wraps ErrNotEmpty if dir holds files already, ErrFormat for an
// option that no book may have.
func Create(dir string, o Options) (*Book, error) {
	entries, err := os.ReadDir(dir)
	switch {
	case err == nil && len(entries) > 0:
		if _, err := os.Stat(filepath.Join(dir, "book.toml")); err == nil {
			return nil, hint(fmt.Errorf("%s: %w: it holds a record book already", dir, ErrNotEmpty), "use it as it is, or name another folder")
		}
		return nil, hint(fmt.Errorf("%s: %w", dir, ErrNotEmpty), "name a new folder")
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%s is no folder: name a new one", dir)
	}
	c := Config{Format: Format, Grower: o.Grower, Units: o.Units, Latitude: o.Latitude, Elevation: o.Elevation, Invented: o.Invented}
	if c.Units == "" {
		c.Units = "us"
	}
	if err := c.check(); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(filepath.Join(dir, "batches"), 0o755); err != nil {
		return nil, err
	}
	if o.TargetsTOML != "" {
		if err := WriteFile(filepath.Join(dir, "targets.toml"), []byte(o.TargetsTOML)); err != nil {
			return nil, err
		}
	}
	b := &Book{Dir: dir, Config: c}
	if err := b.publish(&Records{}, nil); err != nil {
		return nil, err
	}
	// book.toml makes the folder a book, so it comes last.
	if err := WriteFile(filepath.Join(dir, "book.toml"), []byte(c.text())); err != nil {
		return nil, err
	}
	return b, nil
}

// text prints a new book's book.toml, with what may be added.
func (c Config) text() string {
	var b strings.Builder
	line := func(key, value, comment string) { fmt.Fprintf(&b, "%-40s # %s\n", key+" = "+value, comment) }
	number := func(key string, v *float64, comment string) {
		if v != nil {
			line(key, strconv.FormatFloat(*v, 'f', -1, 64), comment)
			return
		}
		line("# "+key, "0", comment)
	}
	if c.Invented {
		b.WriteString("# An invented demo book: no such patch, no such grower, no such lab.\n")
	}
	line("format", strconv.Itoa(c.Format), "of this book; the program minds it")
	line("grower", strconv.Quote(c.Grower), "whose the rows are that name no grower")
	line("units", strconv.Quote(c.Units), "us or metric: what is shown")
	line("# dates", `"MDY"`, "order of dates such as 10/28/2026: MDY or DMY")
	number("latitude", c.Latitude, "degrees north of the equator; south is negative")
	number("elevation_m", c.Elevation, "metres above the sea")
	if c.Invented {
		line("invented", "true", "said on every output")
	}
	return b.String()
}

func (c Config) check() error {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("book.toml: %w: %s", ErrFormat, fmt.Sprintf(format, args...))
	}
	switch {
	case c.Format > Format:
		return hint(bad("it has format %d, this program reads up to %d", c.Format, Format), "use a newer carryover")
	case c.Format < 1:
		return bad("format = %d, expected 1 to %d", c.Format, Format)
	case c.Units != "us" && c.Units != "metric":
		return bad(`units = %q, expected "us" or "metric"`, c.Units)
	case c.Dates != "" && c.Dates != "MDY" && c.Dates != "DMY":
		return bad(`dates = %q, expected "MDY" or "DMY"`, c.Dates)
	case c.Latitude != nil && !(*c.Latitude >= -90 && *c.Latitude <= 90):
		return bad("latitude = %v, expected -90 to 90", *c.Latitude)
	case strings.ContainsFunc(c.Grower, unicode.IsControl):
		return bad("grower = %q, expected a name on one line", c.Grower)
	case c.Elevation != nil && !(*c.Elevation >= -500 && *c.Elevation <= 9000):
		return bad("elevation_m = %v, expected -500 to 9000", *c.Elevation)
	}
	for _, name := range slices.Sorted(maps.Keys(c.Measure)) {
		if m := c.Measure[name]; !(m.Amount > 0) || math.IsInf(m.Amount, 0) || m.Unit == "" {
			return bad("measure.%s = %v %q, expected an amount above 0 and its unit", name, m.Amount, m.Unit)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(c.Lab)) {
		if err := unit.CheckPounds(c.Lab[name].Pounds); err != nil {
			return bad("lab.%s.pounds = %v", strconv.Quote(name), err)
		}
	}
	return nil
}

// Open opens the record book in dir.
//
// The error wraps ErrNoBook if dir holds none, and ErrFormat if book.toml is
// wrong or of a newer program.
func Open(dir string) (*Book, error) {
	path := filepath.Join(dir, "book.toml")
	text, err := os.ReadFile(path)
	if info, serr := os.Stat(dir); errors.Is(err, fs.ErrNotExist) || err != nil && serr == nil && !info.IsDir() {
		return nil, fmt.Errorf("%s: %w", dir, ErrNoBook)
	}
	if err != nil {
		return nil, err
	}
	b := &Book{Dir: dir}
	md, err := toml.Decode(string(text), &b.Config)
	if err != nil {
		// A newer format may hold what this program cannot decode: say that first.
		var only struct {
			Format int `toml:"format"`
		}
		if _, again := toml.Decode(string(text), &only); again == nil && only.Format > Format {
			return nil, Config{Format: only.Format}.check()
		}
		var pe toml.ParseError
		if errors.As(err, &pe) {
			return nil, fmt.Errorf("%s:%d: %w: %s", path, pe.Position.Line, ErrFormat, pe.Message)
		}
		return nil, fmt.Errorf("%s: %w: %v", path, ErrFormat, err)
	}
	if err := b.Config.check(); err != nil {
		return nil, err
	}
	if keys := md.Undecoded(); len(keys) > 0 {
		return nil, fmt.Errorf("%s:%d: %w: key %q is not known", path, lineOf(string(text), keys[0].String()), ErrFormat, keys[0])
	}
	return b, nil
}

// lineOf finds the line on which the last part of a key stands.
func lineOf(text, key string) int {
	name := key[strings.LastIndexByte(key, '.')+1:]
	for i, l := range strings.Split(text, "\n") {
		if k := strings.TrimLeft(strings.TrimSpace(l), `["'`); strings.HasPrefix(k, name) {
			return i + 1
		}
	}
	return 1
}

var formatLine = regexp.MustCompile(`(?m)^\s*format\s*=`)

// Find opens the book in start or in the nearest folder above it. The error
// wraps ErrNoBook.
func Find(start string) (*Book, error) {
	for dir := start; ; {
		// Other programs have a book.toml too, without a format number.
		text, err := os.ReadFile(filepath.Join(dir, "book.toml"))
		if err == nil && formatLine.Match(text) {
			return Open(dir)
		}
		up := filepath.Dir(dir)
		if up == dir {
			return nil, fmt.Errorf("%w, nor in a folder above", ErrNoBook)
		}
		dir = up
	}
}

// WriteFile writes a file whole or not at all: under a hidden name, synced,
// then renamed into place.
func WriteFile(path string, data []byte) (err error) {
	dir, name := filepath.Split(path)
	if dir == "" {
		dir = "."
	}
	f, err := os.CreateTemp(dir, "."+name+"-")
	if err != nil {
		return fmt.Errorf("cannot write %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
			err = fmt.Errorf("cannot write %s: %w", path, err)
		}
	}()
	if _, err = f.Write(data); err != nil {
		return err
	}
	if err = f.Chmod(0o644); err != nil && !errors.Is(err, errors.ErrUnsupported) {
		return err
	}
	if err = f.Sync(); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	if err = rename(f.Name(), path); err != nil {
		return err
	}
	return syncDir(dir)
}
