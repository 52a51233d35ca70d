package workshop

import (
	"bytes"
	"context"
	"crypto/aes"
	"crypto/cipher"
	"encoding/json"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// memoryScratch is a scratch that can be looked into, and that can fail.
type memoryScratch struct {
	data    []byte
	at      int
	room    int // bytes that may still be written
	reading func(*memoryScratch)
	closed  bool
}

func (m *memoryScratch) Write(p []byte) (int, error) {
	if m.room -= len(p); m.room < 0 {
		return 0, errors.New("the disk is full")
	}
	m.data = append(m.data, p...)
	return len(p), nil
}

func (m *memoryScratch) Read(p []byte) (int, error) {
	if m.at == len(m.data) {
		return 0, io.EOF
	}
	n := copy(p, m.data[m.at:])
	m.at += n
	return n, nil
}

func (m *memoryScratch) Seek(int64, int) (int64, error) {
	m.at = 0
	if m.reading != nil {
		m.reading(m)
	}
	return 0, nil
}

func (m *memoryScratch) Close() error { m.closed = true; return nil }

// bodies are the records of a machine, one a line.
func (b *bench) bodies(machine string) (out []string) {
	require.NoError(b.t, b.memory.Read(context.Background(), machine, 0, func(r registry.Record) error {
		for _, e := range r.Events {
			var x struct{ Body json.RawMessage }
			require.NoError(b.t, json.Unmarshal(e, &x))
			out = append(out, string(x.Body))
		}
		return nil
	}))
	return out
}

// surveyRows are survey entries of several machines, some with what is withheld.
func surveyRows(b *bench, machines ...string) (rows []Draft) {
	for _, machine := range machines {
		if machine != drover {
			_, err := b.Record(context.Background(), Request{Machine: machine, Actor: "mechanic"}, people()...)
			require.NoError(b.t, err)
		}
		for i, component := range []string{"fork.legs", "fork.shrouds", "fork.bottom-yoke"} {
			s := aSurvey(component)
			s.ID = "sv-" + component
			s.Read.Value = []string{"", "stamped 12/56", ""}[i]
			s.Note = "Winifred Aske had it painted."
			rows = append(rows, Draft{File: "survey.csv", Row: len(rows) + 2, Machine: machine, Body: s})
		}
	}
	return rows
}

// What is kept between the readings leads to the same records as deciding again.
func TestPlansAreRecordedAsTheyWereDecided(t *testing.T) {
	var want map[string][]string
	large := mostPlanned
	defer func() { mostPlanned = large }()
	for name, c := range map[string]struct{ room, most int }{"all of it is kept": {1 << 20, large}, "none": {0, large}, "a part": {3000, large}, "none is small enough": {1 << 20, 100}} {
		mostPlanned = c.most
		b := newBench(t)
		b.do(people()...)
		b.do(aPerson("first-owner", "previous-owner", "Winifred Aske"))
		scratch := &memoryScratch{room: c.room}
		b.Scratch = func() (Scratch, error) { return scratch, nil }
		drafts := surveyRows(b, drover, "thirlbeck", "hallin")
		r := imported(t, b, ImportRequest{}, drafts...)
		require.Equal(t, len(drafts), r.Recorded, name)
		require.True(t, scratch.closed, name)
		require.NotContains(t, string(scratch.data), "12/56")
		require.NotContains(t, string(scratch.data), "fork", "it is sealed")
		require.Equal(t, c.room > 0 && c.most == large, len(scratch.data) > 0, name)
		got := map[string][]string{}
		for _, machine := range r.Machines {
			require.NoError(t, registryVerifies(b, machine))
			for _, body := range b.bodies(machine) {
				got[machine] = append(got[machine], withoutDigests(body))
			}
		}
		if want == nil {
			want = got
		}
		require.Equal(t, want, got, name)
		again := imported(t, b, ImportRequest{Digest: "again"}, drafts...)
		require.Equal(t, len(drafts), again.Already, name)
		require.Zero(t, again.Recorded)
		d, err := b.Load(context.Background(), drover, At{})
		require.NoError(t, err)
		s, _ := registry.Get[*registry.Survey](d, "sv-fork.shrouds")
		require.Equal(t, "stamped 12/56", s.Record.Read.Value, name)
	}
}

// withoutDigests takes out what is drawn by lot.
func withoutDigests(body string) string {
	if at := bytes.Index([]byte(body), []byte("sha256:")); at >= 0 {
		return body[:at] + body[at+len("sha256:")+64:]
	}
	return body
}

func registryVerifies(b *bench, machine string) error {
	var events [][]byte
	err := b.memory.Read(context.Background(), machine, 0, func(r registry.Record) error { events = append(events, r.Events...); return nil })
	if err == nil {
		_, err = registry.Replay(machine, events, monday.AddDate(9, 0, 0))
	}
	return err
}

// A machine whose record moves on between the readings is decided again, alone.
func TestAMachineThatMovedOnIsDecidedAgain(t *testing.T) {
	for name, harm := range map[string]bool{"by something else": false, "by the same component": true} {
		b := newBench(t)
		b.do(people()...)
		rows := surveyRows(b, drover, "thirlbeck")
		b.Scratch = func() (Scratch, error) {
			return &memoryScratch{room: 1 << 20, reading: func(m *memoryScratch) {
				m.reading = nil
				other := aSurvey("fork.legs")
				if !harm {
					other.Component = "fuel.tank"
				}
				other.ID = "sv-other"
				b.do(other)
			}}, nil
		}
		r, err := b.Import(context.Background(), ImportRequest{Machine: drover, Actor: "mechanic", Digest: "file"}, sourceOf(rows...))
		if harm {
			refused(t, err, registry.CodeConflict, "Somebody changed the record of a machine while the file was read (row 2)")
			require.Equal(t, 3, r.Recorded, "of the other machine")
			continue
		}
		require.NoError(t, err, name)
		require.Equal(t, ImportReport{Rows: 6, Recorded: 6, Machines: []string{drover, "thirlbeck"}}, r)
		require.Len(t, b.bodies(drover), 3+1+3)
		require.Len(t, b.bodies("thirlbeck"), 3+3)
		named, stored := strings.Join(slices.Concat(b.bodies(drover), b.bodies("thirlbeck")), "\n"), 0
		require.NoError(t, b.private.Each(context.Background(), func(digest string, _ int64) error {
			stored++
			require.Contains(t, named, digest, "nothing is stored of the plan that did not hold")
			return nil
		}))
		require.Positive(t, stored)
	}
}

// A source that has something to do at its second reading is read twice.
func TestASourceThatIsToBeReadTwice(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	rows := surveyRows(b, drover)
	for _, twice := range []bool{false, true} {
		readings := 0
		r, err := b.Import(context.Background(), ImportRequest{Machine: drover, Actor: "mechanic", Digest: "file", Twice: twice}, func(ctx context.Context, fn func(Draft) error) error {
			readings++
			return sourceOf(rows...)(ctx, fn)
		})
		require.NoError(t, err)
		require.Equal(t, len(rows), r.Recorded+r.Already)
		require.Equal(t, map[bool]int{false: 1, true: 2}[twice], readings, "even when all of it is there")
	}
}

// What comes back from the scratch otherwise than it went in is not recorded.
func TestADamagedScratchIsNoticed(t *testing.T) {
	for name, damage := range map[string]func(*memoryScratch){
		"a bit":           func(m *memoryScratch) { m.data[len(m.data)/2] ^= 1 },
		"the end is gone": func(m *memoryScratch) { m.data = m.data[:len(m.data)-5] },
	} {
		b := newBench(t)
		b.do(people()...)
		rows := surveyRows(b, drover)
		b.Scratch = func() (Scratch, error) { return &memoryScratch{room: 1 << 20, reading: damage}, nil }
		before := b.version()
		r, err := b.Import(context.Background(), ImportRequest{Machine: drover, Actor: "mechanic", Digest: "file"}, sourceOf(rows...))
		require.ErrorContains(t, err, "cannot be read back", name)
		require.Zero(t, r.Recorded)
		require.Equal(t, before, b.version())
	}
}

// Pieces that are missing, out of place or of another file are noticed.
func TestBoxesStandInTheirOrder(t *testing.T) {
	block, err := aes.NewCipher(make([]byte, 32))
	require.NoError(t, err)
	aead, err := cipher.NewGCM(block)
	require.NoError(t, err)
	var file bytes.Buffer
	w := &boxWriter{to: &file, boxes: boxes{aead: aead}}
	var ends []int
	for range 3 {
		_, err := w.Write([]byte("the same piece"))
		require.NoError(t, err)
		ends = append(ends, file.Len())
	}
	one, two, three := file.Bytes()[:ends[0]], file.Bytes()[ends[0]:ends[1]], file.Bytes()[ends[1]:]
	require.NotEqual(t, one, two, "the same piece twice is not told from others")
	read := func(pieces ...[]byte) error {
		all, err := io.ReadAll(&boxReader{from: bytes.NewReader(bytes.Join(pieces, nil)), boxes: boxes{aead: aead}})
		if err == nil {
			require.Equal(t, "the same piecethe same piecethe same piece", string(all))
		}
		return err
	}
	require.NoError(t, read(one, two, three))
	require.Error(t, read(two, one, three))
	require.Error(t, read(one, three))
	require.Error(t, read(one, two, three[:len(three)-1]))
}

// overtakenLedger is a ledger in which somebody else is faster after some appends.
type overtakenLedger struct {
	registry.Ledger
	left int
	by   func()
}

func (o *overtakenLedger) Append(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
	if o.left--; o.left == -1 {
		o.by()
	}
	return o.Ledger.Append(ctx, c)
}

// A machine that moves on when a part of its rows is recorded stops the import:
// deciding all of them again would count those twice.
func TestAMachineThatMovesOnBetweenItsCommits(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	rows := fat(16) // two commits
	b.Ledger = &overtakenLedger{b.memory, 1, func() {
		other := b.restarted()
		other.Ledger = b.memory
		other.do(sale("other"))
	}}
	r, err := b.Import(context.Background(), ImportRequest{Machine: drover, Actor: "mechanic", Digest: "file"}, sourceOf(rows...))
	refused(t, err, registry.CodeConflict, "")
	require.Positive(t, r.Recorded)
	require.Zero(t, r.Already)
	b.Ledger = b.memory
	again := imported(t, b, ImportRequest{}, rows...)
	require.Equal(t, ImportReport{Rows: 16, Recorded: 16 - r.Recorded, Already: r.Recorded, Machines: []string{drover}}, again)
}

// Nothing is kept of rows that will not be recorded.
func TestNothingIsKeptOfATrial(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	scratch := &memoryScratch{room: 1 << 20}
	b.Scratch = func() (Scratch, error) { return scratch, nil }
	r := imported(t, b, ImportRequest{DryRun: true}, surveyRows(b, drover)...)
	require.Equal(t, 3, r.Rows)
	require.Empty(t, scratch.data)
	_, err := b.Import(context.Background(), ImportRequest{Machine: drover, Actor: "mechanic", Digest: "file"}, sourceOf(mixed()...))
	require.Error(t, err)
	require.Empty(t, scratch.data)
	require.True(t, scratch.closed)
}
