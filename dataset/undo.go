package dataset

import (
	"fmt"
	"slices"
	"time"
)

// BatchInfo is one line of the log.
type BatchInfo struct {
	Number  int
	Time    time.Time
	Program string
	State   string   // live, undone, or "undo of 3"
	Files   []string // as the grower named them
	Rows    map[string]int
	Skipped map[string]int
	Undoes  int    // the batch this one undoes; 0: it is an import
	MapName string // the sheet map; empty: none
	Dir     string // in batches/
}

// Batches lists the log, oldest first.
func (b *Book) Batches() ([]BatchInfo, error) {
	l, err := b.readLog()
	if err != nil {
		return nil, err
	}
	list := make([]BatchInfo, 0, len(l.names))
	for i, m := range l.manifests {
		x := BatchInfo{Number: m.Number, Program: m.Program, State: "live", Rows: map[string]int{}, Skipped: m.Skipped, Undoes: m.Undoes, Dir: l.names[i]}
		if m.Time != nil {
			x.Time = *m.Time
		}
		if m.Kind == kindUndo {
			x.State = fmt.Sprintf("undo of %d", m.Undoes)
		}
		if l.dead[i] {
			x.State = "undone"
		}
		if m.Map != nil {
			x.MapName = m.Map.Name
		}
		for _, s := range m.Sources {
			x.Files = append(x.Files, s.Original)
		}
		for _, t := range m.Tables {
			x.Rows[t.Table] = t.Rows
		}
		list = append(list, x)
	}
	return list, nil
}

// Undo takes batch n out of the records by a marker, which is a batch of its
// own; undoing the marker brings the batch back. Number and Dir of the result
// are those of the marker.
//
// The error wraps ErrNoBatch for an unknown number, and ErrUndo with the reason
// if the batch is undone already, or if later batches rest on it.
func (b *Book) Undo(n int, program string, now time.Time) (Result, error) {
	unlock, err := b.lock(lockWait)
	if err != nil {
		return Result{}, err
	}
	defer unlock()
	if err := b.sweep(); err != nil {
		return Result{}, err
	}
	l, err := b.readLog()
	if err != nil {
		return Result{}, err
	}
	if n < 1 || n > len(l.names) {
		return Result{}, fmt.Errorf("%w: %d: the book has batches 1 to %d", ErrNoBatch, n, len(l.names))
	}
	if l.dead[n-1] {
		err := fmt.Errorf("%w: batch %d is undone already", ErrUndo, n)
		for i, m := range l.manifests {
			if m.Undoes == n && !l.dead[i] {
				err = hint(err, "to bring it back, undo batch %d", m.Number)
			}
		}
		return Result{}, err
	}
	now = now.UTC().Truncate(time.Second)
	m := &manifest{Format: Format, Kind: kindUndo, Number: len(l.names) + 1, Undoes: n, Program: program, Time: &now, Tables: []fileEntry{}}
	after := &batchLog{names: l.names, manifests: append(slices.Clip(l.manifests), m)}
	if err := after.judge(); err != nil {
		return Result{}, err
	}
	rec, loose, err := b.resolve(after)
	if err != nil {
		return Result{}, err
	}
	if why := standing(rec, loose, l, after, n); why != nil {
		return Result{}, fmt.Errorf("%w: batch %d: %w", ErrUndo, n, why)
	}
	name, err := b.write(m, &Records{}, nil)
	if err != nil {
		return Result{}, err
	}
	return Result{Number: m.Number, Dir: name, Warning: b.republish(rec, append(l.names, name))}, nil
}

// standing refuses a state that no import could have made: a correction of
// rows that are gone, rows that contradict each other, a bed that nothing
// describes, or rows that come back beside their own later re-import.
func standing(rec *Records, loose []Correction, was, is *batchLog, n int) error {
	if len(loose) > 0 {
		c := loose[0]
		if c.OfBatch == int32(n) {
			return fmt.Errorf("batch %d corrects rows of it: undo batch %d first", c.Batch, c.Batch)
		}
		return fmt.Errorf("%v would correct a row of batch %d that is gone", c.Source, c.OfBatch)
	}
	for _, t := range tables() {
		same := t.identity()
		for _, key := range []func(*Records, int) (rowKey, bool){t.subject(), func(r *Records, i int) (rowKey, bool) { return same(r, i), true }} {
			if key == nil {
				continue
			}
			seen := map[rowKey]int{}
			for i := range t.len(rec) {
				k, ok := key(rec, i)
				if !ok {
					continue
				}
				j, ok := seen[k]
				seen[k] = i
				if !ok {
					continue
				}
				x, y := *t.source(rec, j), *t.source(rec, i)
				if x.Batch > y.Batch {
					x, y = y, x
				}
				// Equal events are one only if the later came when the earlier was out.
				back := x.Batch <= int32(len(was.dead)) && was.dead[x.Batch-1] && !is.dead[x.Batch-1] && y.Batch > int32(n)
				if !t.isEvent(rec, i) || back {
					return fmt.Errorf("%v and %v would both stand: undo batch %d first", x, y, y.Batch)
				}
			}
		}
	}
	lost := &UnknownBedError{}
	if findUnknownBeds(rec, bedNames(rec), lost); lost.Total > 0 {
		r := lost.Rows[0]
		return fmt.Errorf("%v is of bed %q, which nothing else describes: undo batch %d first, or describe the bed in a new import", r.At, r.Bed, r.At.Batch)
	}
	return nil
}
