package intake

import (
	"cmp"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// ReadFiles reads the named files. It expands * and ? itself, since not every
// shell does. A file is named by its base name where that is plain, else by its
// path with slashes.
//
// The error is a *Faults: folders, devices, files that are missing (with near
// names) or larger than 100 MB.
func ReadFiles(paths []string) ([]Source, error) {
	var faults Faults
	fail := func(name, found, expected, mend string) {
		faults.add(Fault{File: name, Text: say(found, expected, mend)})
	}
	var names []string
	seen := map[string]bool{}
	for _, p := range paths {
		matches := []string{p}
		if _, err := os.Lstat(p); err != nil && strings.ContainsAny(p, "*?[") {
			found, err := filepath.Glob(p)
			if err != nil || len(found) == 0 {
				fail(p, "no such file", "one or more sheets", "look at the folder's name and the ending (.csv, .xlsx)")
				continue
			}
			matches = found
		}
		for _, m := range matches {
			if m = filepath.Clean(m); !seen[m] {
				seen[m] = true
				names = append(names, m)
			}
		}
	}
	bases := map[string]int{}
	for _, n := range names {
		bases[filepath.Base(n)]++
	}
	var out []Source
	for _, n := range names {
		shown := filepath.ToSlash(n)
		if bases[filepath.Base(n)] == 1 {
			shown = filepath.Base(n)
		}
		info, err := os.Stat(n)
		switch {
		case os.IsNotExist(err):
			fail(shown, "no such file", "", cmp.Or(nearFiles(n), "look at its name and folder"))
			continue
		case err != nil:
			fail(shown, "cannot be read ("+plain(err)+")", "", "")
			continue
		case info.IsDir():
			fail(shown, "a folder", "files", "name the files in it, as "+filepath.ToSlash(filepath.Join(n, "*.csv")))
			continue
		case !info.Mode().IsRegular():
			fail(shown, "not a plain file", "a sheet (CSV or XLSX)", "")
			continue
		case info.Size() > maxFile:
			fail(shown, fmt.Sprintf("a file of %d MB", info.Size()>>20), fmt.Sprintf("at most %d MB", maxFile>>20), "part it")
			continue
		}
		data, err := readAll(n)
		if err != nil {
			fail(shown, "cannot be read ("+plain(err)+")", "", "")
			continue
		}
		out = append(out, Source{Name: shown, Data: data})
	}
	if err := faults.err(); err != nil {
		return nil, err
	}
	return out, nil
}

// readAll reads no more than Read would take, even if the file grows.
func readAll(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, maxFile+1))
}

func plain(err error) string {
	if p, ok := err.(*os.PathError); ok {
		return p.Err.Error()
	}
	return err.Error()
}

func nearFiles(name string) string {
	entries, err := os.ReadDir(filepath.Dir(name))
	if err != nil {
		return "there is no folder " + filepath.ToSlash(filepath.Dir(name))
	}
	var names []string
	for _, e := range entries {
		if !e.IsDir() {
			names = append(names, e.Name())
		}
	}
	return didYouMean(filepath.Base(name), names)
}
