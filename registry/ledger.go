package registry

import "context"

// Position is a place in the order of the whole ledger. Positions rise
// strictly and may have gaps. They belong to one engine: a ledger that is
// copied elsewhere keeps every machine, version and byte, but not its
// positions, so a position is never written into a record.
type Position uint64

// Head is the end of one machine's history. The zero Head means no history.
type Head struct {
	Position Position
	Version  uint64 // number of events in the machine's history
}

// Commit is the unit of atomicity: one or more events of one machine that are
// stored together or not at all.
type Commit struct {
	// ID is fixed before the first try, 1 to 64 bytes. The same ID is stored
	// at most once, for ever, so a try whose answer was lost can be repeated.
	ID string
	// Machine names the history that grows; see CheckID for what it may hold.
	Machine string
	// Expect is the version that the writer has read: 0 for a new machine.
	Expect uint64
	// Events are the exact bytes that are hashed, stored and given back.
	Events [][]byte
}

// Record is a stored commit.
type Record struct {
	Position Position
	ID       string
	Machine  string
	First    uint64 // version of Events[0]; the first event of a machine is 1
	Events   [][]byte
}

// Receipt answers an append.
type Receipt struct {
	Head Head // the machine's head just after this commit
	// Duplicate says that this ID had been stored before; nothing was added.
	Duplicate bool
}

// MaxCommitBytes is the largest commit that any ledger takes: the sum of its
// events' lengths. It is the smallest limit of the engines that are meant to
// carry a ledger, so that a history can always move to another engine.
const MaxCommitBytes = 1<<20 - 1<<10

// Check refuses what no ledger takes: CodeInvalid for a commit without ID,
// machine or events, or with an empty event, CodeTooLarge above MaxCommitBytes.
func (c Commit) Check() error {
	if c.ID == "" || len(c.ID) > MaxIDLength {
		return Refuse(CodeInvalid, "Give the commit an ID of 1 to 64 bytes.", "The commit has an ID of %d bytes", len(c.ID))
	}
	if err := CheckID("/machine", c.Machine); err != nil {
		return err
	}
	if len(c.Events) == 0 {
		return Refuse(CodeInvalid, "Give at least one event.", "The commit holds no events")
	}
	size := 0
	for i, e := range c.Events {
		if len(e) == 0 {
			return Refuse(CodeInvalid, "Give every event its bytes.", "Event %d of the commit is empty", i+1)
		}
		size += len(e)
	}
	if size > MaxCommitBytes {
		return Refuse(CodeTooLarge, "Spread the events over several commits.", "The commit holds %d bytes; a ledger takes at most %d", size, MaxCommitBytes)
	}
	return nil
}

// Ledger is an append-only store of events. Every implementation passes
// ledgertest.Run, and promises:
//
//   - Append succeeds only while the machine's version equals Expect; of
//     several writers that race for one version exactly one wins.
//   - A commit is visible whole or not at all, in every kind of read.
//   - An acknowledged commit is on stable storage, and its writer sees it in
//     every later read.
//   - ReadAll gives commits in rising position; what Read gives for one
//     machine is a subsequence of that, with versions 1, 2, 3, … unbroken.
//   - Bytes come back as they went in.
//   - Nothing is changed or deleted.
type Ledger interface {
	// Append stores a commit. Codes: CodeConflict when Expect is not the
	// machine's version, CodeTooLarge above MaxCommitBytes, CodeInvalid for a
	// commit without ID, machine or events, CodeBusy when nothing can be
	// written for now (a nearly full disk): in all these nothing is stored.
	// CodeUnknown: perhaps stored; repeat the same commit.
	Append(ctx context.Context, c Commit) (Receipt, error)
	// Head gives the end of one machine's history; the zero Head when there
	// is none.
	Head(ctx context.Context, machine string) (Head, error)
	// Read calls fn for each commit of one machine that holds a version
	// after the given one, oldest first, as of the call.
	Read(ctx context.Context, machine string, after uint64, fn func(Record) error) error
	// ReadAll calls fn for each commit after the position, as of the call.
	ReadAll(ctx context.Context, after Position, fn func(Record) error) error
	// Follow is ReadAll and then goes on with what is appended later, until
	// ctx ends or fn returns an error, which Follow returns.
	Follow(ctx context.Context, after Position, fn func(Record) error) error
	// End gives the last position in the ledger, 0 when it is empty.
	End(ctx context.Context) (Position, error)
	// Close releases the ledger. Afterwards every method fails.
	Close() error
}
