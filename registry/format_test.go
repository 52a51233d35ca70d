package registry

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestLedgerFormatPage computes every figure of the worked example on the page
// again, and holds its tables against the code.
func TestLedgerFormatPage(t *testing.T) {
	data, err := os.ReadFile("../docs/ledger-format.md")
	require.NoError(t, err)
	page := string(data)
	block := func(info string) []string {
		_, after, ok := strings.Cut(page, "\n```"+info+"\n")
		require.True(t, ok, "there is no block %q", info)
		text, _, ok := strings.Cut(after, "\n```\n")
		require.True(t, ok)
		return strings.Split(text, "\n")
	}

	events := block("jsonl events")
	var h History
	var leaves []string
	var bodies []Body
	for i, line := range events {
		canonical, err := CanonicalJSON(json.RawMessage(line))
		require.NoError(t, err)
		require.Equal(t, line, string(canonical))
		e, err := h.Add([]byte(line))
		require.NoError(t, err)
		body, err := DecodeBody(e.Kind, e.Schema, e.Body)
		require.NoError(t, err)
		bodies = append(bodies, body)
		leaves = append(leaves, fmt.Sprintf("%d %d %s", i+1, len(line), h.Last()))
	}
	require.Equal(t, leaves, block("text leaves"))

	var roots []string
	for n := int64(2); n <= 4; n++ {
		root, err := h.Tree().Root(n)
		require.NoError(t, err)
		roots = append(roots, fmt.Sprintf("%d %s", n, root))
	}
	require.Equal(t, roots, block("text roots"))
	proof, err := h.Tree().Prove(3, 4)
	require.NoError(t, err)
	require.Equal(t, proof, block("text proof 3 4"))

	upcast, err := CanonicalJSON(bodies[2])
	require.NoError(t, err)
	require.Equal(t, []string{string(upcast)}, block("json upcast"))

	doc := block("json private")
	require.Len(t, doc, 1)
	require.Equal(t, fmt.Sprintf("sha256:%x", sha256.Sum256([]byte(doc[0]))), bodies[1].(*Person).Name.Digest)
	canonical, err := CanonicalJSON(PrivateDocument{Salt: "000102030405060708090a0b0c0d0e0f", Value: "Imogen Aske"})
	require.NoError(t, err)
	require.Equal(t, string(canonical), doc[0])
	require.Contains(t, page, strings.Split(leaves[0], " ")[2]+"  -", "the shell example")

	// The kinds with their schema versions, each once, and no other.
	var listed []Kind
	for _, row := range regexp.MustCompile("(?m)^\\| `([a-z-]+)` \\| ([0-9]+) \\|").FindAllStringSubmatch(page, -1) {
		listed = append(listed, Kind(row[1]))
		require.Equal(t, fmt.Sprint(SchemaVersion(Kind(row[1]))), row[2], row[1])
	}
	slices.Sort(listed)
	require.Equal(t, Kinds(), listed)

	// The keys of the envelope, in their order.
	_, table, _ := strings.Cut(page, "## 2. The event")
	table, _, _ = strings.Cut(table, "\n## 3.")
	var keys, fields []string
	for _, row := range regexp.MustCompile("(?m)^\\| `([a-z]+)` \\|").FindAllStringSubmatch(table, -1) {
		keys = append(keys, row[1])
	}
	for i := range reflect.TypeFor[Envelope]().NumField() {
		fields = append(fields, reflect.TypeFor[Envelope]().Field(i).Tag.Get("json"))
	}
	require.Equal(t, fields, keys)

	// Every step of every upcast is described.
	for k, row := range kinds {
		for i := range row.upcasts {
			require.Contains(t, page, fmt.Sprintf("| `%s` | %d → %d |", k, i+1, i+2))
		}
	}
	limit := fmt.Sprintf("%d %03d %03d", MaxCommitBytes/1_000_000, MaxCommitBytes/1000%1000, MaxCommitBytes%1000)
	require.Contains(t, page, limit+" bytes")
}

// TestDigestsAsThePageSaysThem follows the page's words, not the code, for the
// digests that stand inside records.
func TestDigestsAsThePageSaysThem(t *testing.T) {
	b := newBench(t)
	offered(b)
	var leaves bytes.Buffer
	seal := ""
	for _, raw := range b.events {
		var e struct {
			Kind string
			Body struct {
				Digest string
				Offer  json.RawMessage
			}
		}
		require.NoError(t, json.Unmarshal(raw, &e))
		switch e.Kind {
		case "survey", "joint":
			if seal == "" {
				fmt.Fprintf(&leaves, "%x\n", sha256.Sum256(append([]byte{0}, raw...)))
			}
		case "survey-seal":
			seal = e.Body.Digest
		case "proposal":
			// What is canonical as a whole is canonical in its parts.
			require.Equal(t, e.Body.Digest, fmt.Sprintf("sha256:%x", sha256.Sum256(e.Body.Offer)))
		}
	}
	require.Equal(t, seal, fmt.Sprintf("sha256:%x", sha256.Sum256(leaves.Bytes())))
}
