package store

import (
	"encoding/binary"

	"example.org/asfound/registry"
)

// recordVersion is the first byte of an encoded commit.
const recordVersion = 1

// An encoded commit is
//
//	1 byte   recordVersion
//	uvarint  length of the ID, then the ID
//	uvarint  number of events, then the length of each as uvarint
//	         the events' bytes one after the other
//	8 bytes  position, which is known last
//
// Machine and first version stand in the key. The encoding is cut into parts of
// partBytes, numbered from 0, the last of them shorter; nearly every commit has
// one part. So no value is ever large enough for Badger to move it out of its
// tables.
const (
	partBytes      = 1<<20 - 1<<10
	maxRecordBytes = partBytes + 128<<10
)

func encodeRecord(p registry.Position, id string, events [][]byte) []byte {
	return binary.BigEndian.AppendUint64(EncodeCommit(id, events), uint64(p))
}

// MaxEncodedBytes is the longest that EncodeCommit's answer may be: a commit
// that one engine takes, every other takes too.
const MaxEncodedBytes = maxRecordBytes - 8

// MovedOn is the conflict of a commit with a record that stands elsewhere.
func MovedOn(c registry.Commit, version uint64) error {
	return registry.Refuse(registry.CodeConflict, "Read it again and repeat the change.",
		"The record of %s stands at version %d, not %d", c.Machine, version, c.Expect)
}

// EncodeCommit gives the encoding of a commit without its position, which is
// the same in every engine.
func EncodeCommit(id string, events [][]byte) []byte {
	size := 0
	for _, e := range events {
		size += len(e) + binary.MaxVarintLen32
	}
	b := make([]byte, 0, 1+binary.MaxVarintLen64+len(id)+binary.MaxVarintLen64+size+8+4)
	b = append(b, recordVersion)
	b = binary.AppendUvarint(b, uint64(len(id)))
	b = append(b, id...)
	b = binary.AppendUvarint(b, uint64(len(events)))
	for _, e := range events {
		b = binary.AppendUvarint(b, uint64(len(e)))
	}
	for _, e := range events {
		b = append(b, e...)
	}
	return b
}

// decodeRecord is the reverse. The events share no memory with b.
func decodeRecord(machine string, first uint64, b []byte) (registry.Record, error) {
	end := max(len(b)-8, 0)
	plain, err := unpacked(b[:end])
	if err != nil {
		return registry.Record{}, damaged("The commit of %s from version %d cannot be unpacked: %v", machine, first, err)
	}
	r, err := DecodeCommit(machine, first, plain)
	if err == nil {
		r.Position = registry.Position(binary.BigEndian.Uint64(b[end:]))
	}
	return r, err
}

// DecodeCommit is the reverse of EncodeCommit. The events share no memory with
// b. Codes: CodeTampered, CodeUnsupported for a newer encoding.
func DecodeCommit(machine string, first uint64, b []byte) (registry.Record, error) {
	bad := func(what string) (registry.Record, error) {
		return registry.Record{}, damaged("The commit of %s from version %d cannot be read: %s", machine, first, what)
	}
	if len(b) == 0 {
		return bad("it is too short")
	}
	if b[0] != recordVersion {
		return registry.Record{}, registry.Refuse(registry.CodeUnsupported, "Use a newer asfound.",
			"The commit of %s from version %d is written in encoding %d; this program reads encoding %d",
			machine, first, b[0], recordVersion)
	}
	r := registry.Record{Machine: machine, First: first}
	b = b[1:]
	number := func() (uint64, bool) {
		v, n := binary.Uvarint(b)
		if n <= 0 {
			return 0, false
		}
		b = b[n:]
		return v, true
	}
	n, ok := number()
	if !ok || n > uint64(len(b)) {
		return bad("its ID is cut short")
	}
	r.ID, b = string(b[:n]), b[n:]
	count, ok := number()
	if !ok || count > uint64(len(b)) {
		return bad("its list of events is cut short")
	}
	lengths, sum := make([]uint64, count), uint64(0)
	for i := range lengths {
		if lengths[i], ok = number(); !ok || lengths[i] > maxRecordBytes {
			return bad("its list of events is cut short")
		}
		sum += lengths[i]
	}
	if sum != uint64(len(b)) {
		return bad("its events have another length than it says")
	}
	b = append([]byte(nil), b...)
	r.Events = make([][]byte, count)
	for i, n := range lengths {
		r.Events[i], b = b[:n:n], b[n:]
	}
	return r, nil
}

// parts cuts an encoded commit.
func parts(b []byte) [][]byte {
	var out [][]byte
	for len(b) >= partBytes {
		out = append(out, b[:partBytes:partBytes])
		b = b[partBytes:]
	}
	return append(out, b)
}
