package store

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"

	"example.org/asfound/registry"
)

// FormatNumber is the number of the layout of the data directory. It is also
// kept in the header of Badger's MANIFEST. It changes only when an older
// program could no longer read what a newer one writes.
const FormatNumber = 1

// family is one kind of key. A key is the family's byte and then its parts; a
// value is its parts and then four bytes CRC-32C over key and value parts.
// Numbers are big-endian, so that the order of the bytes is their order.
type family struct {
	prefix  byte
	name    string
	key     string // parts after the prefix
	value   string // parts before the checksum
	answers string // the question that the family answers
	example string // one key, in hex; keys_test.go makes it
}

// families is every key that is ever written.
var families = []family{
	{prefixCommit, "commit", "machine, 0x00, first version (8), part (1)",
		"a piece of the encoded commit; see record.go",
		"what is the history of a machine? The only place where events are kept",
		"63 64726f766572 00 0000000000000003 00"},
	{prefixPosition, "position", "position (8)", "machine, 0x00, first version (8)",
		"which commit stands at a place in the whole ledger?",
		"70 0000000000000011"},
	{prefixID, "id", "commit ID", "position (8), version just after the commit (8)",
		"was this commit stored before, and what was the answer?",
		"69 636f6d6d69742d37"},
	{prefixHead, "head", "machine", "version (8), position (8), Merkle root (32), subtree hashes (32 each); see merkle.go",
		"where does a machine's history end, and what does it hash to?",
		"68 64726f766572"},
	{prefixTotals, "totals", "", "position (8), machines (8), events (8)",
		"where does the whole ledger end, and how much is in it?",
		"74"},
	{prefixView, "view", "key of the view", "the view's bytes",
		"what was computed from the ledger? May be dropped at any time",
		"76 6d616368696e652f64726f766572"},
	{prefixCheckpoint, "checkpoint", "", "position (8), version of the views (8)",
		"up to where, and by which code, were the views computed?",
		"77"},
}

const (
	prefixCommit     = 'c'
	prefixPosition   = 'p'
	prefixID         = 'i'
	prefixHead       = 'h'
	prefixTotals     = 't'
	prefixView       = 'v'
	prefixCheckpoint = 'w'
)

var (
	totalsKey     = []byte{prefixTotals}
	checkpointKey = []byte{prefixCheckpoint}
)

func commitKey(machine string, first uint64, part byte) []byte {
	return append(binary.BigEndian.AppendUint64(commitPrefix(machine), first), part)
}

// commitPrefix begins every commit key of one machine and of no other, because
// registry.CheckID allows no byte 0 in a name.
func commitPrefix(machine string) []byte {
	k := make([]byte, 0, 1+len(machine)+1+8+1)
	return append(append(append(k, prefixCommit), machine...), 0)
}

// splitCommitKey is the reverse of commitKey.
func splitCommitKey(key []byte) (machine string, first uint64, part byte, ok bool) {
	n := len(key) - (1 + 8 + 1)
	if n < 2 || key[0] != prefixCommit || key[n] != 0 {
		return "", 0, 0, false
	}
	return string(key[1:n]), binary.BigEndian.Uint64(key[n+1:]), key[len(key)-1], true
}

func positionKey(p registry.Position) []byte {
	return binary.BigEndian.AppendUint64([]byte{prefixPosition}, uint64(p))
}

func idKey(id string) []byte        { return append([]byte{prefixID}, id...) }
func headKey(machine string) []byte { return append([]byte{prefixHead}, machine...) }
func viewKey(key string) []byte {
	return append(append(make([]byte, 0, 1+len(key)), prefixView), key...)
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// seal adds the checksum over key and value, so that a changed byte, and a
// value that stands under another key, show when they are read.
func seal(key, value []byte) []byte {
	sum := crc32.Update(crc32.Checksum(key, castagnoli), castagnoli, value)
	return binary.BigEndian.AppendUint32(value, sum)
}

// unseal checks and takes off the checksum.
func unseal(key, sealed []byte) ([]byte, error) {
	n := len(sealed) - 4
	if n < 0 {
		return nil, damaged("The entry %s is too short", describe(key))
	}
	sum := crc32.Update(crc32.Checksum(key, castagnoli), castagnoli, sealed[:n])
	if binary.BigEndian.Uint32(sealed[n:]) != sum {
		return nil, damaged("The entry %s does not match its checksum", describe(key))
	}
	return sealed[:n:n], nil
}

// positionValue points from a position to its commit.
func positionValue(machine string, first uint64) []byte {
	return binary.BigEndian.AppendUint64(append([]byte(machine), 0), first)
}

func splitPositionValue(v []byte) (machine string, first uint64, ok bool) {
	n := len(v) - 9
	if n < 1 || v[n] != 0 || bytes.IndexByte(v[:n], 0) >= 0 {
		return "", 0, false
	}
	return string(v[:n]), binary.BigEndian.Uint64(v[n+1:]), true
}

// pair is a value of two numbers.
func pair(a, b uint64) []byte {
	return binary.BigEndian.AppendUint64(binary.BigEndian.AppendUint64(nil, a), b)
}

func splitPair(v []byte) (a, b uint64, ok bool) {
	if len(v) != 16 {
		return 0, 0, false
	}
	return binary.BigEndian.Uint64(v), binary.BigEndian.Uint64(v[8:]), true
}

// totals is the end of the whole ledger. Positions are dense here, so the
// position is the number of commits as well.
type totals struct {
	Position registry.Position
	Machines uint64
	Events   uint64
}

func (t totals) encode() []byte {
	return binary.BigEndian.AppendUint64(pair(uint64(t.Position), t.Machines), t.Events)
}

func decodeTotals(v []byte) (totals, error) {
	if len(v) != 24 {
		return totals{}, damaged("The ledger's totals have %d bytes, not 24", len(v))
	}
	return totals{registry.Position(binary.BigEndian.Uint64(v)), binary.BigEndian.Uint64(v[8:]),
		binary.BigEndian.Uint64(v[16:])}, nil
}
