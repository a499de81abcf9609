package dataset

import (
	"fmt"
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
		x := BatchInfo{Number: m.Number, Program: m.Program, State: "live", Rows: map[string]int{}, Skipped: m.Skipped, Dir: l.names[i]}
		if m.Time != nil {
			x.Time = *m.Time
		}
		if m.Kind == kindUndo {
			x.State = fmt.Sprintf("undo of %d", m.Undoes)
		}
		if l.dead[i] {
			x.State = "undone"
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
// own; undoing the marker brings the batch back. It returns the marker's
// number.
//
// The error wraps ErrNoBatch for an unknown number, and ErrUndo if the batch is
// undone already or a later batch corrects rows of it.
func (b *Book) Undo(n int, program string, now time.Time) (marker int, err error) {
	unlock, err := b.lock(lockWait)
	if err != nil {
		return 0, err
	}
	defer unlock()
	if err := b.sweep(); err != nil {
		return 0, err
	}
	l, err := b.readLog()
	if err != nil {
		return 0, err
	}
	if n < 1 || n > len(l.names) {
		return 0, fmt.Errorf("%w: %d: the book has batches 1 to %d", ErrNoBatch, n, len(l.names))
	}
	if l.dead[n-1] {
		return 0, fmt.Errorf("%w: batch %d is undone already: to bring it back, undo the batch that undid it", ErrUndo, n)
	}
	now = now.UTC()
	m := &manifest{Format: Format, Kind: kindUndo, Number: len(l.names) + 1, Undoes: n, Program: program, Time: &now, Tables: []fileEntry{}}
	after := &batchLog{names: l.names, manifests: append(l.manifests, m), dead: make([]bool, len(l.names)+1)}
	for i := len(after.manifests) - 1; i >= 0; i-- {
		if x := after.manifests[i]; x.Kind == kindUndo && !after.dead[i] {
			after.dead[x.Undoes-1] = true
		}
	}
	rec, err := b.resolve(after)
	if err != nil {
		return 0, err
	}
	if err := standing(rec, after); err != nil {
		return 0, fmt.Errorf("%w: batch %d: %v", ErrUndo, n, err)
	}
	name, err := b.write(m, &Records{}, nil)
	if err != nil {
		return 0, err
	}
	_ = b.publish(rec, append(l.names, name)) // else the next reader mends it
	return m.Number, nil
}

// standing refuses a state in which a correction stands without the batch it
// corrects, or in which a batch's rows contradict another's.
func standing(rec *Records, l *batchLog) error {
	for i := range rec.Corrections {
		c := &rec.Corrections[i]
		if of := int(c.OfBatch); of < 1 || of > len(l.dead) || l.dead[of-1] {
			return fmt.Errorf("batch %d corrects rows of it: undo batch %d first", c.Batch, c.Batch)
		}
	}
	for _, t := range tables() {
		key := t.subject()
		if key == nil {
			continue
		}
		seen := map[rowKey]int{}
		for i := range t.len(rec) {
			k := key(rec, i)
			if j, ok := seen[k]; ok {
				return fmt.Errorf("%v and %v would contradict each other: %s", *t.source(rec, i), *t.source(rec, j), t.say(rec, i))
			}
			seen[k] = i
		}
	}
	return nil
}
