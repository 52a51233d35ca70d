package store

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"

	"example.org/asfound/registry"
)

// headName is the file beside Badger's folder that says how far the ledger had
// come. It has two lines of slotBytes each, written in turn, so that one of
// them is whole at any time. A line is written after its commits have reached
// stable storage: the ledger may be ahead of the file, never behind it.
const (
	headName  = "head.jsonl"
	slotBytes = 512
)

// headLine is one line.
type headLine struct {
	Format   int               `json:"format"`
	Position registry.Position `json:"position"` // of the last commit; also the number of commits
	Commit   string            `json:"commit"`   // its ID, in hex
	Machines uint64            `json:"machines"`
	Events   uint64            `json:"events"`
	Check    string            `json:"check"` // CRC-32C of the four above, in hex
}

func (h headLine) sum() string {
	return fmt.Sprintf("%08x", crc32.Checksum(
		fmt.Appendf(nil, "%d %s %d %d", h.Position, h.Commit, h.Machines, h.Events), castagnoli))
}

// headFile is the open file. It is written through a memory map: an ordinary
// write would change the file's time each time, and the next commit's wait for
// the disk would have to carry that along.
type headFile struct {
	slots []byte // the mapped file; its blocks are there already, so writing cannot run out of disk
	slot  int64
	dirty bool // written since the last sync
}

// readHead gives the line that reaches furthest; ok is false when there is no file.
func readHead(path string) (best headLine, slot int64, ok bool, err error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return headLine{}, 0, false, nil
	}
	if err != nil {
		return headLine{}, 0, false, internal("reading "+headName, err)
	}
	if len(data) != 2*slotBytes {
		return headLine{}, 0, false, damaged("The file %s has %d bytes, not %d", path, len(data), 2*slotBytes)
	}
	for i := range int64(2) {
		var h headLine
		line := bytes.TrimSpace(data[i*slotBytes : (i+1)*slotBytes])
		if json.Unmarshal(line, &h) == nil && h.Check == h.sum() && (!ok || h.Position > best.Position) {
			best, slot, ok = h, i, true
		}
	}
	if !ok {
		return headLine{}, 0, false, damaged("The file %s holds no readable line", path)
	}
	return best, slot, true, nil
}

// openHead opens the file for writing and creates it with a first line.
func openHead(path string, first headLine) (*headFile, error) {
	_, slot, ok, err := readHead(path)
	if err != nil {
		return nil, err
	}
	if !ok {
		if err := writeAtomically(path, append(line(first), bytes.Repeat([]byte(" "), slotBytes)...)); err != nil {
			return nil, internal("writing "+headName, err)
		}
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0o600)
	if err != nil {
		return nil, internal("opening "+headName, err)
	}
	defer f.Close() // the map stays
	slots, err := unix.Mmap(int(f.Fd()), 0, 2*slotBytes, unix.PROT_READ|unix.PROT_WRITE, unix.MAP_SHARED)
	if err != nil {
		return nil, internal("mapping "+headName, err)
	}
	return &headFile{slots: slots, slot: slot}, nil
}

func line(h headLine) []byte {
	h.Format, h.Check = FormatNumber, h.sum()
	text, err := json.Marshal(h)
	if err != nil || len(text) >= slotBytes {
		panic("store: a head line does not fit") // figures and 128 hex digits always do
	}
	return append(append(text, bytes.Repeat([]byte(" "), slotBytes-1-len(text))...), '\n')
}

// write puts a line into the other slot. It does not wait for the disk.
func (h *headFile) write(t totals, id string) {
	h.slot = 1 - h.slot
	h.dirty = true
	copy(h.slots[h.slot*slotBytes:], line(headLine{Position: t.Position, Commit: hex.EncodeToString([]byte(id)),
		Machines: t.Machines, Events: t.Events}))
}

// sync brings the file to stable storage.
func (h *headFile) sync() error {
	if !h.dirty {
		return nil
	}
	h.dirty = false
	return unix.Msync(h.slots, unix.MS_SYNC)
}

func (h *headFile) close() error { return unix.Munmap(h.slots) }

func headPath(dir string) string { return filepath.Join(dir, headName) }
