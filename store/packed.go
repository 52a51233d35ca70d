package store

import (
	"sync"

	"github.com/klauspost/compress/zstd"
)

// packedVersion is the first byte of an encoded commit that is compressed: what
// follows is one Zstandard frame (RFC 8878) of the encoding of recordVersion,
// without its position. The rows of an import say nearly the same again and
// again: packed, they are written, carried from level to level and read as a
// quarter of their bytes.
const packedVersion = 2

// packedFrom is how long an encoded commit must be to be packed. What a person
// records one by one is not, and is written without delay.
const packedFrom = 16 << 10

var packer = sync.OnceValues(func() (*zstd.Encoder, error) {
	return zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithWindowSize(256<<10), zstd.WithEncoderConcurrency(2), zstd.WithEncoderCRC(false))
})

var unpacker = sync.OnceValues(func() (*zstd.Decoder, error) {
	return zstd.NewReader(nil, zstd.WithDecoderConcurrency(0), zstd.WithDecoderMaxMemory(maxRecordBytes), zstd.WithDecoderLowmem(true))
})

// packed compresses an encoded commit if that makes it shorter.
func packed(record []byte) []byte {
	if len(record) < packedFrom {
		return record
	}
	e, err := packer()
	if err != nil {
		return record
	}
	out := e.EncodeAll(record, append(make([]byte, 0, len(record)/3), packedVersion))
	if len(out) >= len(record) {
		return record
	}
	return out
}

// unpacked is the reverse, of any encoded commit.
func unpacked(record []byte) ([]byte, error) {
	if len(record) == 0 || record[0] != packedVersion {
		return record, nil
	}
	d, err := unpacker()
	if err != nil {
		return nil, err
	}
	return d.DecodeAll(record[1:], nil)
}
