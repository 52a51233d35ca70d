package registry

import (
	"bytes"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"
)

func TestHistoryRoundTrip(t *testing.T) {
	b := newBench(t)
	tagged(b)
	h := History{}
	for i, event := range b.events {
		e, err := h.Add(event)
		require.NoError(t, err)
		require.Equal(t, uint64(i+1), e.Version)
		require.Equal(t, LeafHash(event), h.Last())
		if i > 0 {
			require.Equal(t, LeafHash(b.events[i-1]), e.Previous)
		} else {
			require.Empty(t, e.Previous)
		}
	}
	require.Equal(t, "drover", h.Machine, "taken from the first event")
	require.Equal(t, uint64(len(b.events)), h.Version())
	require.Equal(t, int64(len(b.events)), h.Tree().Size())
	require.Equal(t, b.d.Last(), h.Last())
	b.replayed()

	// Several bodies at once are the same events as one after another.
	all, err := Extend(0, "", Stamp{Machine: "drover", Recorded: monday, Actor: "tamsin", NewID: func() string { return "e" }}, []Body{aMachine(), aPerson("imogen", "owner")})
	require.NoError(t, err)
	first, err := Extend(0, "", Stamp{Machine: "drover", Recorded: monday, Actor: "tamsin", NewID: func() string { return "e" }}, []Body{aMachine()})
	require.NoError(t, err)
	second, err := Extend(1, LeafHash(first[0]), Stamp{Machine: "drover", Recorded: monday, Actor: "tamsin", NewID: func() string { return "e" }}, []Body{aPerson("imogen", "owner")})
	require.NoError(t, err)
	require.Equal(t, all, append(first, second...))
}

// TestHistoryNamesTheDamage: whatever is done to a history, the first event that
// is not in its place is named.
func TestHistoryNamesTheDamage(t *testing.T) {
	b := newBench(t)
	takenIn(b) // six events
	other := newBench(t)
	other.d.ID = "thirlbeck"
	takenIn(other)
	for _, c := range []struct {
		name   string
		damage func([][]byte) [][]byte
		words  []string
	}{
		{"a word changed", func(e [][]byte) [][]byte {
			e[2] = bytes.Replace(e[2], []byte("mechanic"), []byte("mechanik"), 1)
			return e
		}, []string{"Event 4", "event 3 or 4 was changed"}},
		{"the first changed", func(e [][]byte) [][]byte { e[0] = bytes.Replace(e[0], []byte("1957"), []byte("1958"), 1); return e }, []string{"Event 2", "event 1 or 2"}},
		{"no longer JSON", func(e [][]byte) [][]byte { e[2] = e[2][:40]; return e }, []string{"event 3", "cannot be read"}},
		{"one dropped", func(e [][]byte) [][]byte { return slices.Delete(e, 2, 3) }, []string{"Event 3", "it is event 4", "missing"}},
		{"the first dropped", func(e [][]byte) [][]byte { return e[1:] }, []string{"Event 1", "it is event 2"}},
		{"one doubled", func(e [][]byte) [][]byte { return slices.Insert(e, 2, e[1]) }, []string{"Event 3", "it is event 2", "doubled"}},
		{"two swapped", func(e [][]byte) [][]byte { e[2], e[3] = e[3], e[2]; return e }, []string{"Event 3", "it is event 4", "out of order"}},
		{"one of another machine", func(e [][]byte) [][]byte { e[2] = other.events[2]; return e }, []string{"Event 3", "thirlbeck"}},
		{"one that was written elsewhere", func(e [][]byte) [][]byte {
			elsewhere, err := Extend(2, LeafHash([]byte("another event")), Stamp{Machine: "drover", Recorded: monday, Actor: "tamsin", NewID: func() string { return "e" }}, []Body{aPerson("x", "reader")})
			require.NoError(t, err)
			e[2] = elsewhere[0]
			return e
		}, []string{"Event 3", "was not written on top"}},
	} {
		_, err := Replay("drover", c.damage(slices.Clone(b.events)), time.Time{})
		require.Equal(t, CodeTampered, CodeOf(err), c.name)
		for _, w := range c.words {
			require.ErrorContains(t, err, w, c.name)
		}
		if c.name == "a word changed" || c.name == "no longer JSON" {
			_, err := Replay("drover", c.damage(slices.Clone(b.events)), monday)
			require.Equal(t, CodeTampered, CodeOf(err), "events that an early date leaves out are checked all the same")
		}
	}
	_, err := Replay("thirlbeck", b.events, time.Time{})
	require.Equal(t, CodeTampered, CodeOf(err), "the history of another machine")

	// A history that ends early holds together: only its head or its root, kept
	// elsewhere, shows that something is gone.
	short, err := Replay("drover", b.events[:5], time.Time{})
	require.NoError(t, err)
	require.NotEqual(t, b.d.Last(), short.Last())
}

// TestEveryBitCounts: with the last leaf hash in hand, no single changed bit
// anywhere goes unnoticed.
func TestEveryBitCounts(t *testing.T) {
	b := newBench(t)
	takenIn(b)
	rapid.Check(t, func(t *rapid.T) {
		events := slices.Clone(b.events)
		i := rapid.IntRange(0, len(events)-1).Draw(t, "event")
		bit := rapid.IntRange(0, 8*len(events[i])-1).Draw(t, "bit")
		events[i] = bytes.Clone(events[i])
		events[i][bit/8] ^= 1 << (bit % 8)
		d, err := Replay("drover", events, time.Time{})
		if err == nil && d.Last() == b.d.Last() {
			t.Fatal("not noticed")
		}
		if i < len(events)-1 && err == nil {
			t.Fatal("noticed only by the head")
		}
	})
}

// The leaves and roots are the test vectors that the Certificate Transparency
// log implementations have carried since RFC 6962: the tree of each size over
// the first of these eight leaves; of none, the SHA-256 of nothing.
var (
	vectorLeaves = []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	vectorRoots  = []string{
		"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	}
)

func TestMerkleRoot(t *testing.T) {
	var tree Tree
	for i := range vectorRoots {
		if i > 0 {
			leaf, err := hex.DecodeString(vectorLeaves[i-1])
			require.NoError(t, err)
			tree.Add(leaf)
		}
		for n := range i + 1 { // an earlier root can always be asked for again
			root, err := tree.Root(int64(n))
			require.NoError(t, err)
			raw, err := base64.StdEncoding.DecodeString(root)
			require.NoError(t, err)
			require.Equal(t, vectorRoots[n], hex.EncodeToString(raw), "size %d of %d", n, i)
		}
	}
	require.Equal(t, vectorRoots[1], LeafHash(nil), "the leaf hash of the empty leaf")
	_, err := tree.Root(9)
	require.Error(t, err, "larger than the tree")
}

func TestMerkleConsistency(t *testing.T) {
	var tree Tree
	for i := range 40 {
		tree.Add([]byte{byte(i)})
	}
	root := func(n int64) tlog.Hash {
		s, err := tree.Root(n)
		require.NoError(t, err)
		h, err := tlog.ParseHash(s)
		require.NoError(t, err)
		return h
	}
	for n := int64(1); n <= tree.Size(); n++ {
		for m := int64(1); m <= n; m++ {
			proof, err := tree.Prove(m, n)
			require.NoError(t, err)
			var hashes tlog.TreeProof
			for _, p := range proof {
				h, err := tlog.ParseHash(p)
				require.NoError(t, err)
				hashes = append(hashes, h)
			}
			require.NoError(t, tlog.CheckTree(hashes, n, root(n), m, root(m)), "%d in %d", m, n)
			if m > 1 && m < n {
				require.Error(t, tlog.CheckTree(hashes, n, root(n), m, root(m-1)), "another beginning")
				hashes[0][0] ^= 1
				require.Error(t, tlog.CheckTree(hashes, n, root(n), m, root(m)), "another proof")
			}
		}
	}
	for _, bad := range [][2]int64{{0, 5}, {6, 5}, {5, 41}} {
		_, err := tree.Prove(bad[0], bad[1])
		require.Error(t, err, "%v", bad)
	}
}

// FuzzReplay: bytes that are no history are refused, and a history that holds
// together, whatever its bodies say, replays without a panic and can be asked
// everything. A line that begins with "{" is taken as an event as it stands;
// any other line is a kind, a schema version and a body, and gets an envelope
// that fits the line before.
func FuzzReplay(f *testing.F) {
	b := newBench(f)
	tagged(b)
	f.Add(bytes.Join(b.events[:3], []byte("\n")))
	f.Add(bytes.Replace(bytes.Join(b.events[:2], []byte("\n")), []byte(`"schema":1`), []byte(`"schema":9`), 1))
	var lines []string
	for _, raw := range b.events {
		e, err := DecodeEvent(raw)
		require.NoError(f, err)
		line := fmt.Sprintf("%s %d %s", e.Kind, e.Schema, e.Body)
		lines = append(lines, line)
		f.Add([]byte(line))
	}
	f.Add([]byte(strings.Join(lines, "\n")))
	f.Add([]byte("check 1 null"))
	f.Add([]byte("check 1 {\"passed\":true,\"reading\":\"5 mm\"}"))
	f.Add([]byte("removed-part 1 {\"id\":\"x\",\"supersedes\":\"y\"}\nremoved-part 1 {\"id\":\"y\",\"supersedes\":\"x\"}\nremoved-part 1 {\"id\":\"x\",\"supersedes\":\"y\"}\npart-move 1 {\"part\":\"x\",\"id\":\"x\",\"supersedes\":\"x\"}"))
	f.Fuzz(func(t *testing.T, data []byte) {
		var events [][]byte
		previous := ""
		for i, line := range bytes.Split(data, []byte("\n")) {
			event := line
			if fields := bytes.SplitN(line, []byte(" "), 3); len(fields) == 3 && line[0] != '{' {
				schema, _ := strconv.Atoi(string(fields[1]))
				made, err := CanonicalJSON(Envelope{Format: EnvelopeFormat, Machine: "drover", Version: uint64(i + 1), ID: "e", Recorded: monday, Actor: "tamsin",
					Kind: Kind(fields[0]), Schema: schema, Previous: previous, Body: json.RawMessage(fields[2])})
				if err != nil {
					return // no JSON
				}
				event = made
			}
			events, previous = append(events, event), LeafHash(event)
		}
		d, err := Replay("drover", events, time.Time{})
		if err != nil {
			if CodeOf(err) == "" {
				t.Fatal("an error without a code")
			}
			return
		}
		interrogate(d, testRules())
		for i, e := range d.Entries() {
			if e.Version != uint64(i+1) {
				t.Fatalf("entry %d has version %d", i, e.Version)
			}
		}
		for _, k := range Kinds() { // and nothing in it makes deciding panic
			_ = Decide(d, testRules(), Act{At: monday, Actor: "tamsin", Body: NewBody(k)})
		}
		_ = Decide(d, testRules(), Act{At: monday, Actor: "tamsin", Body: swapWork("work-9", "1")})
		_ = Decide(d, testRules(), Act{At: monday, Actor: "tamsin", Body: aHandBack()})
		_ = Decide(d, testRules(), Act{At: monday, Actor: "tamsin", Body: gate("road")})
	})
}

// interrogate asks a dossier everything that it can be asked.
func interrogate(d *Dossier, r *Rules) {
	d.MachineRecord()
	d.Agreement()
	d.Seal()
	d.SurveyDigest()
	d.GatesPassed(r)
	for c := range r.Components {
		d.SurveyOf(c)
		d.NotFitted(c)
		d.FunctionOf(c)
		d.FittingsOf(c)
		d.FittedOn(c, monday)
		for _, p := range []Proposition{PropositionOrigin, PropositionFinish, PropositionSpecification} {
			d.Layers(c, p)
		}
	}
	for _, e := range d.Entries() {
		id := e.RecordID()
		d.Custody(id)
		d.Answer(id)
		d.Approval(id, monday)
		d.SpentUnder(id)
		d.OpeningsNeeded([]string{id})
		d.IsOpened(id)
		Get[*Work](d, id)
	}
	d.AsOf(monday)
}

// TestReplayer: reading on event by event is the same as reading the whole, and
// a copy that was handed out neither grows with it nor reaches back into it.
func TestReplayer(t *testing.T) {
	b := newBench(t)
	tagged(b)
	r := NewReplayer("drover")
	var copies []*Dossier
	for i, event := range b.events {
		require.NoError(t, r.Add(event))
		require.Equal(t, uint64(i+1), r.Version())
		copies = append(copies, r.Dossier())
	}
	for i, got := range copies {
		whole, err := Replay("drover", b.events[:i+1], time.Time{})
		require.NoError(t, err)
		require.Equal(t, snapshot(t, whole), snapshot(t, got), "after %d events", i+1)
	}
	last := copies[len(copies)-1]
	last.Apply(Meta{Version: last.Version() + 1, Kind: "withdrawal"}, &Withdrawal{Common: Common{ID: "w"}, Record: "swap", Why: "x", By: "tamsin"})
	require.Equal(t, snapshot(t, b.d), snapshot(t, r.Dossier()))
	require.Equal(t, CodeTampered, CodeOf(r.Add(b.events[0])))
}

// TestLongHistories: parts of a long history are read side by side, and it is
// the same as reading it event by event, also where something is wrong with it.
func TestLongHistories(t *testing.T) {
	b := newBench(t)
	takenIn(b)
	for i := range 400 {
		b.store(aPerson(fmt.Sprintf("reader-%d", i), "reader"))
	}
	b.replayed()
	for _, at := range []int{0, 127, 128, 300, len(b.events) - 1} {
		events := slices.Clone(b.events)
		events[at] = events[at][:40]
		alone := NewReplayer("drover")
		var want error
		for i := 0; want == nil; i++ {
			want = alone.Add(events[i])
		}
		together := NewReplayer("drover")
		require.Equal(t, want, together.Add(events...))
		require.EqualValues(t, at, together.Version(), "what stands before it was taken")
		require.Equal(t, snapshot(t, alone.Dossier()), snapshot(t, together.Dossier()))
	}
}
