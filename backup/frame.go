package backup

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"

	"example.org/asfound/registry"
)

// frame is the head of one thing in a piece: a line of JSON, then size bytes.
type frame struct {
	Kind string `json:"kind"`           // begin, commit, photo, private, file, end
	Size int64  `json:"size,omitempty"` // of what follows, in bytes

	// Of a commit: what stands in registry.Record but its position, which
	// belongs to one engine. What follows is its events, one after the other.
	ID      []byte `json:"id,omitempty"`
	Machine string `json:"machine,omitempty"`
	First   uint64 `json:"first,omitempty"`
	Lengths []int  `json:"lengths,omitempty"`

	// Of a photo or a private value: its digest.
	Digest string `json:"digest,omitempty"`

	// Of a file of the present part: its name in the registry's folder.
	Name string `json:"name,omitempty"`

	// Of begin: where the piece stands. Of end: what it holds.
	Begin *Begin `json:"begin,omitempty"`
	Count *Count `json:"count,omitempty"`
}

// Begin says where a piece stands in its chain.
type Begin struct {
	Format   int    `json:"format"`
	Chain    string `json:"chain"`
	Piece    int    `json:"piece"`    // counted from 1; 0 is the present part
	Registry string `json:"registry"` // the registry's public key
	After    string `json:"after"`    // ID of the last commit of the piece before, in hex
}

// Count is how much a piece holds.
type Count struct {
	Commits int `json:"commits"`
	Events  int `json:"events"`
	Photos  int `json:"photos"`
	Private int `json:"private"`
	Files   int `json:"files,omitempty"` // of the present part
}

// format is the number of the layout of pieces and of the index. In format 1
// private values stood plain in the pieces, and there was no present part.
const format = 2

// longestHead bounds the line of a frame, in bytes; a commit's lengths are the
// longest part.
const longestHead = 8 << 20

// writeFrame writes a head and, for a commit, its events.
func writeFrame(w io.Writer, f frame) error {
	line, err := json.Marshal(f)
	if err != nil {
		return err
	}
	_, err = w.Write(append(line, '\n'))
	return err
}

func commitFrame(r registry.Record) frame {
	f := frame{Kind: "commit", ID: []byte(r.ID), Machine: r.Machine, First: r.First}
	for _, e := range r.Events {
		f.Lengths = append(f.Lengths, len(e))
		f.Size += int64(len(e))
	}
	return f
}

// readFrame reads the next head.
func readFrame(r *bufio.Reader) (frame, error) {
	var line []byte
	for {
		part, more, err := r.ReadLine()
		if err == io.EOF {
			return frame{}, io.ErrUnexpectedEOF
		}
		if err != nil {
			return frame{}, err
		}
		if line = append(line, part...); len(line) > longestHead {
			return frame{}, fmt.Errorf("a line is longer than %d bytes", longestHead)
		}
		if !more {
			break
		}
	}
	var f frame
	if err := json.Unmarshal(line, &f); err != nil {
		return frame{}, fmt.Errorf("a line is not as it should be: %w", err)
	}
	if f.Size < 0 {
		return frame{}, fmt.Errorf("a size is below zero")
	}
	return f, nil
}

// events reads what follows a commit's head.
func (f frame) events(r io.Reader) ([][]byte, error) {
	sum := int64(0)
	for _, n := range f.Lengths {
		if n < 0 || int64(n) > registry.MaxCommitBytes {
			return nil, fmt.Errorf("a commit says that an event has %d bytes", n)
		}
		sum += int64(n)
	}
	if sum != f.Size || sum > registry.MaxCommitBytes {
		return nil, fmt.Errorf("a commit's lengths do not add up")
	}
	var out [][]byte
	for _, n := range f.Lengths {
		e := make([]byte, n)
		if _, err := io.ReadFull(r, e); err != nil {
			return nil, err
		}
		out = append(out, e)
	}
	return out, nil
}
