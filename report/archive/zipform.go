package archive

import (
	"archive/zip"
	"bufio"
	"bytes"
	"cmp"
	"encoding/binary"
	"io"
	"slices"
)

// A ZIP has two lists of its files: the directory at its end, and a heading before each
// file. Programs go by either, so a ZIP in which they differ, or that has bytes which only
// one of them leads to, is two archives in one. Names and sizes of the parts are those of
// PKWARE's APPNOTE.TXT 6.3.10, 4.3 (second-hand: as archive/zip of Go has them).
const (
	localSign, centralSign, descriptorSign = 0x04034b50, 0x02014b50, 0x08074b50
	end64Sign, locator64Sign, endSign      = 0x06064b50, 0x07064b50, 0x06054b50
	localLen, centralLen, endLen           = 30, 46, 22
	end64Len, locator64Len                 = 56, 20
	none32                                 = 0xffffffff // the figure stands in the extra field
	extraSizes, extraPath                  = 0x0001, 0x7075
)

// oneReading refuses a ZIP that two programs can read differently: it must be its files,
// each behind a heading that says what the directory says, and the directory, from the
// first byte to the last, and nothing else.
func oneReading(r io.ReaderAt, files []*zip.File, size int64) error {
	order := make([]int, len(files)) // as they lie
	at := make([]int64, len(files))
	for i, f := range files {
		var err error
		if at[i], err = f.DataOffset(); err != nil {
			return refused("%q is not where the list of files says (%v)", f.Name, err)
		}
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(at[a], at[b]) })
	begins := make([]int64, len(files)) // where the heading of each stands
	pos := int64(0)
	for n, i := range order {
		if n > 0 && at[i] < pos {
			return refused("files in it lie over one another: a bomb")
		}
		begins[i] = pos
		end, err := localFile(r, files[i], pos, at[i])
		if err != nil {
			return err
		}
		pos = end
	}
	return directory(r, files, begins, pos, size)
}

// localFile compares the heading at pos with the directory, and returns where the file
// behind it ends.
func localFile(r io.ReaderAt, f *zip.File, pos, data int64) (int64, error) {
	var head [localLen]byte
	if _, err := r.ReadAt(head[:], pos); err != nil || binary.LittleEndian.Uint32(head[:]) != localSign {
		return 0, hidden(f.Name)
	}
	le := binary.LittleEndian
	names, extras := int64(le.Uint16(head[26:])), int64(le.Uint16(head[28:]))
	if pos+localLen+names+extras != data {
		return 0, hidden(f.Name)
	}
	rest := make([]byte, names+extras)
	if _, err := r.ReadAt(rest, pos+localLen); err != nil {
		return 0, hidden(f.Name)
	}
	if name := string(rest[:names]); name != f.Name {
		return 0, refused("a file is called %q in the list of files and %.80q where it lies: programs would read two things", f.Name, name)
	}
	extra := rest[names:]
	for _, e := range [][]byte{extra, f.Extra} {
		if _, there := extraField(e, extraPath); there {
			return 0, refused("%q has a second name in its extra fields: programs would read two things", f.Name)
		}
	}
	later := f.Flags&8 != 0 // the sizes stand behind the file
	crc, packed, plain := le.Uint32(head[14:]), uint64(le.Uint32(head[18:])), uint64(le.Uint32(head[22:]))
	if sizes, there := extraField(extra, extraSizes); there && len(sizes) >= 16 {
		if plain == none32 {
			plain = le.Uint64(sizes)
		}
		if packed == none32 {
			packed = le.Uint64(sizes[8:])
		}
	}
	if le.Uint16(head[6:]) != f.Flags || le.Uint16(head[8:]) != f.Method ||
		!later && (crc != f.CRC32 || packed != f.CompressedSize64 || plain != f.UncompressedSize64) {
		return 0, refused("%q is described otherwise in the list of files than where it lies: programs would read two things", f.Name)
	}
	end := data + int64(f.CompressedSize64)
	if !later {
		return end, nil
	}
	n, ok := descriptor(r, f, end)
	if !ok {
		return 0, refused("%q does not end where the list of files says: programs would read two things", f.Name)
	}
	return end + n, nil
}

func hidden(name string) error {
	return refused("before %q lie bytes that its list of files does not name: programs would read two things", name)
}

// descriptor finds how long what stands behind a file is: its check sum and sizes, with
// or without a sign before them, in 4 or in 8 bytes each.
func descriptor(r io.ReaderAt, f *zip.File, at int64) (int64, bool) {
	sum := binary.LittleEndian.AppendUint32(nil, f.CRC32)
	short := binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(bytes.Clone(sum), uint32(f.CompressedSize64)), uint32(f.UncompressedSize64))
	long := binary.LittleEndian.AppendUint64(binary.LittleEndian.AppendUint64(bytes.Clone(sum), f.CompressedSize64), f.UncompressedSize64)
	sign := binary.LittleEndian.AppendUint32(nil, descriptorSign)
	for _, want := range [][]byte{slices.Concat(sign, long), slices.Concat(sign, short), long, short} {
		got := make([]byte, len(want)+4)
		n, _ := r.ReadAt(got, at)
		if n < len(got) || !bytes.Equal(got[:len(want)], want) {
			continue
		}
		if next := binary.LittleEndian.Uint32(got[len(want):]); next == localSign || next == centralSign {
			return int64(len(want)), true
		}
	}
	return 0, false
}

// directory reads the list of files, which must begin at pos, name the files where they
// lie, and be followed by nothing but the end of the ZIP.
func directory(r io.ReaderAt, files []*zip.File, begins []int64, pos, size int64) error {
	le := binary.LittleEndian
	in := bufio.NewReader(io.NewSectionReader(r, pos, size-pos))
	odd := refused("its list of files does not follow its last file, or says otherwise where they lie: programs would read two things")
	at := pos
	for i, f := range files {
		var head [centralLen]byte
		if _, err := io.ReadFull(in, head[:]); err != nil || le.Uint32(head[:]) != centralSign {
			return odd
		}
		rest := make([]byte, int(le.Uint16(head[28:]))+int(le.Uint16(head[30:]))+int(le.Uint16(head[32:])))
		if _, err := io.ReadFull(in, rest); err != nil || string(rest[:le.Uint16(head[28:])]) != f.Name {
			return odd
		}
		if from := le.Uint32(head[42:]); from != none32 && int64(from) != begins[i] {
			return odd
		}
		at += centralLen + int64(len(rest))
	}
	last, err := io.ReadAll(io.LimitReader(in, 1<<17))
	if err != nil {
		return odd
	}
	if len(last) >= end64Len+locator64Len && le.Uint32(last) == end64Sign {
		locator := last[end64Len:]
		if le.Uint64(last[4:]) != end64Len-12 || le.Uint64(last[32:]) != uint64(len(files)) || le.Uint64(last[48:]) != uint64(pos) ||
			le.Uint32(locator) != locator64Sign || le.Uint64(locator[8:]) != uint64(at) {
			return odd
		}
		last = locator[locator64Len:]
	}
	if len(last) != endLen || le.Uint32(last) != endSign || le.Uint16(last[20:]) != 0 {
		return refused("bytes lie behind its list of files, or a comment does: pack the folder anew without one")
	}
	if from := le.Uint32(last[16:]); from != none32 && int64(from) != pos {
		return odd
	}
	if n := le.Uint16(last[10:]); n != 0xffff && int(n) != len(files) {
		return odd
	}
	return nil
}

// extraField returns a field of the extra ones.
func extraField(extra []byte, id uint16) ([]byte, bool) {
	for len(extra) >= 4 {
		n := int(binary.LittleEndian.Uint16(extra[2:]))
		if n > len(extra)-4 {
			break
		}
		if binary.LittleEndian.Uint16(extra) == id {
			return extra[4 : 4+n], true
		}
		extra = extra[4+n:]
	}
	return nil, false
}
