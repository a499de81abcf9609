package dataset

import (
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/klauspost/compress/zstd"
)

// guard walks the footer and the page headers of a Parquet file before the
// decoder sees them: a wrong count or length there makes a decoder panic or
// ask for gigabytes. It allows what the book writes: flat columns, zstd.
//
// Source: Apache Parquet format 2.x, parquet.thrift (field numbers); Thrift
// compact protocol.
func guard(data []byte, rows int) error {
	const magic = "PAR1"
	n := len(data)
	if n < 12 || string(data[:4]) != magic || string(data[n-4:]) != magic {
		return errors.New("not a Parquet file")
	}
	footer := int64(n) - 8 - int64(binary.LittleEndian.Uint32(data[n-8:]))
	if footer < 4 {
		return errors.New("the Parquet footer is longer than the file")
	}
	w := &thrift{data: data[footer : n-8]}
	meta := w.structure(0)
	if w.bad {
		return errors.New("the Parquet footer cannot be read")
	}
	total := int64(0)
	for _, g := range meta.get(4).list { // row groups
		groupRows := g.get(3).num
		if total += groupRows; groupRows < 0 || total > int64(rows) {
			return fmt.Errorf("the Parquet footer counts more than the %d rows expected", rows)
		}
		for _, c := range g.get(1).list { // column chunks
			if err := guardChunk(data[:footer], c.get(3), groupRows); err != nil {
				return err
			}
		}
	}
	if total != int64(rows) || meta.get(3).num != total {
		return fmt.Errorf("the Parquet file holds %d rows, expected %d", total, rows)
	}
	return nil
}

// maxPage bounds one page; the book's own pages end at 256 kB of values, or
// at what one dictionary needs.
const maxPage = 1 << 28

func guardChunk(data []byte, c thriftValue, rows int64) error {
	first, size, values := c.get(9).num, c.get(7).num, c.get(5).num // first data page
	start, dict := first, c.get(11).num
	if dict > 0 && dict < first {
		start = dict
	}
	if codec := c.get(4).num; codec != 6 {
		return fmt.Errorf("a column is compressed by codec %d, not zstd", codec)
	}
	if start < 4 || size < 0 || start > int64(len(data)) || size > int64(len(data))-start || values != rows {
		return errors.New("a column lies outside the file, or its count is not that of the rows")
	}
	end := start + size
	data = data[start:end]
	for seen := int64(0); len(data) > 0; {
		at := end - int64(len(data))
		w := &thrift{data: data}
		h := w.structure(0)
		if w.bad {
			return errors.New("a page header cannot be read")
		}
		data = data[w.at:]
		plain, packed := h.get(2).num, h.get(3).num
		if packed < 0 || packed > int64(len(data)) || plain < 0 || plain > maxPage {
			return errors.New("a page is longer than its column")
		}
		page := data[:packed]
		data = data[packed:]
		levels := int64(0)
		switch kind := h.get(1).num; kind {
		case 2: // dictionary
			if n := h.get(7).get(1).num; n < 0 || n > plain {
				return errors.New("a dictionary counts more values than it holds")
			}
			if at != dict || at >= first {
				return errors.New("a dictionary is not where the footer has it")
			}
			if e := h.get(7).get(2).num; e != 0 { // else its values are taken for counts of others
				return fmt.Errorf("a dictionary in encoding %d, not plain", e)
			}
		case 3: // data, version 2
			v := h.get(8)
			if seen == 0 && v.get(1).num > 0 && at != first {
				return errors.New("the first page is not where the footer has it")
			}
			seen += v.get(1).num
			def, rep := v.get(5).num, v.get(6).num
			if v.get(1).num < 0 || seen > values || v.get(3).num != v.get(1).num || def < 0 || rep != 0 || def > packed || def > plain {
				return errors.New("a page counts more values than its column")
			}
			levels = def
		default:
			return fmt.Errorf("a page of kind %d", kind)
		}
		if v := h.get(8); h.get(1).num == 3 && len(v.list) < 6 || !unpacksTo(page[levels:], plain-levels) {
			return errors.New("a page is not the length it claims")
		}
		if len(data) == 0 && seen != values {
			return errors.New("a column holds fewer values than it claims")
		}
	}
	return nil
}

// unpacksTo tells whether one zstd frame can unpack to size bytes, without
// unpacking it: a raw or repeated block says its size, a compressed one has at
// most 128 KiB.
//
// Source: RFC 8878, section 3.1.1.2.
func unpacksTo(frame []byte, size int64) bool {
	if len(frame) == 0 {
		return size == 0
	}
	var h zstd.Header
	if err := h.Decode(frame); err != nil || h.Skippable || h.HasFCS && h.FrameContentSize != uint64(size) || h.HeaderSize > len(frame) {
		return false
	}
	frame = frame[h.HeaderSize:]
	low, high := int64(0), int64(0)
	for {
		if len(frame) < 3 {
			return false
		}
		b := int(frame[0]) | int(frame[1])<<8 | int(frame[2])<<16
		n, packed := b>>3, b>>3
		switch b >> 1 & 3 {
		case 0: // raw
			low, high = low+int64(n), high+int64(n)
		case 1: // one byte repeated
			packed = 1
			low, high = low+int64(n), high+int64(n)
		case 2:
			high += 128 << 10
		default:
			return false
		}
		if packed > len(frame)-3 {
			return false
		}
		frame = frame[3+packed:]
		if b&1 == 1 {
			break
		}
	}
	if h.HasCheckSum {
		if len(frame) < 4 {
			return false
		}
		frame = frame[4:]
	}
	return len(frame) == 0 && low <= size && size <= high
}

// thrift reads the compact protocol; every list is bounded by the bytes left.
type thrift struct {
	data []byte
	at   int
	bad  bool
}

// thriftValue is a number, or a list, or a structure (a list with ids).
type thriftValue struct {
	id   int16
	num  int64
	list []thriftValue
}

func (v thriftValue) get(id int16) thriftValue {
	for _, f := range v.list {
		if f.id == id {
			return f
		}
	}
	return thriftValue{}
}

func (t *thrift) byte() byte {
	if t.bad || t.at >= len(t.data) {
		t.bad = true
		return 0
	}
	t.at++
	return t.data[t.at-1]
}

func (t *thrift) uvarint() uint64 {
	v, n := binary.Uvarint(t.data[t.at:])
	if n <= 0 {
		t.bad = true
		return 0
	}
	t.at += n
	return v
}

func (t *thrift) varint() int64 {
	u := t.uvarint()
	return int64(u>>1) ^ -int64(u&1)
}

func (t *thrift) skip(n uint64) {
	if n > uint64(len(t.data)-t.at) {
		t.bad = true
		return
	}
	t.at += int(n)
}

func (t *thrift) structure(depth int) (v thriftValue) {
	v.list = make([]thriftValue, 0, 8)
	id := int16(0)
	for !t.bad {
		b := t.byte()
		if b == 0 {
			break
		}
		if delta := int16(b >> 4); delta != 0 {
			id += delta
		} else {
			id = int16(t.varint())
		}
		kind := b & 15
		var f thriftValue
		if kind == 1 || kind == 2 { // a boolean field lies in its kind: true, false
			f.num = int64(2 - kind)
		} else {
			f = t.value(kind, depth+1)
		}
		f.id = id
		v.list = append(v.list, f)
	}
	return v
}

func (t *thrift) value(kind byte, depth int) (v thriftValue) {
	if depth > 12 {
		t.bad = true
	}
	if t.bad {
		return v
	}
	switch kind {
	case 1, 2, 3: // booleans in a list, bytes
		v.num = int64(t.byte())
	case 4, 5, 6:
		v.num = t.varint()
	case 7:
		t.skip(8)
	case 8:
		t.skip(t.uvarint())
	case 9, 10:
		b := t.byte()
		n := uint64(b >> 4)
		if n == 15 {
			n = t.uvarint()
		}
		if n > uint64(len(t.data)-t.at) {
			t.bad = true
			return v
		}
		for i := uint64(0); i < n && !t.bad; i++ {
			v.list = append(v.list, t.value(b&15, depth+1))
		}
	case 12:
		v = t.structure(depth)
	default:
		t.bad = true
	}
	return v
}
