package dossier

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"

	"example.org/asfound/registry"
)

// Source is a bundle's bytes and how many they are.
type Source struct {
	io.ReaderAt
	Size int64
}

// Comparison is what VerifyAgainst saw.
type Comparison struct {
	Newer Report `json:"newer"`
	Older Report `json:"older"`
	// Common is how many events both begin with, byte for byte.
	Common int `json:"common_events"`
	// Findings are of the two side by side; those of each one alone stand in
	// its own Report.
	Findings []Finding `json:"findings"`
}

// VerifyAgainst checks that a newer bundle continues an older one: both verify,
// the older events are the beginning of the newer ones byte for byte, and the
// root that was signed then is the root of the newer history at that length.
// Editions do not matter. The error is CodeTampered when anything is found, in
// either bundle or between them.
func VerifyAgainst(newer, older Source, opts VerifyOptions) (Comparison, error) {
	out := Comparison{Findings: []Finding{}}
	opts.computed = map[[32]byte]computation{}
	n, err := verify(newer, newer.Size, opts)
	out.Newer = n.report
	if err != nil {
		return out, err
	}
	o, err := verify(older, older.Size, n.trustOf(older, opts))
	out.Older = o.report
	if err != nil {
		return out, err
	}
	find := func(code, format string, args ...any) {
		out.Findings = append(out.Findings, Finding{code, "both bundles", fmt.Sprintf(format, args...)})
	}
	for out.Common < min(len(n.lines), len(o.lines)) && bytes.Equal(n.lines[out.Common].bytes, o.lines[out.Common].bytes) {
		out.Common++
	}
	first := out.Common + 1
	switch {
	case n.report.Machine != o.report.Machine:
		find(FindingFork, "They are of two machines, %q and %q", n.report.Machine, o.report.Machine)
	case len(o.lines) == 0 || len(n.lines) == 0:
		find(FindingEvent, "One of them holds no events")
	case out.Common == len(n.lines) && len(n.lines) < len(o.lines):
		find(FindingOrder, "The bundle given as the older one goes on for %d more events than the newer one: they are the wrong way round, or the newer one was cut short", len(o.lines)-len(n.lines))
	case out.Common < len(o.lines) && len(o.lines) == len(n.lines):
		find(FindingFork, "The history is forked: both have %d events, and from event %d on (%s) they are not the same; only one can be what was written%s", len(n.lines), first, n.at(out.Common), bothSigned(n, o))
	case out.Common < len(o.lines):
		find(FindingFork, "The newer one does not continue the older one: event %d (%s) is not the same in both%s", first, n.at(out.Common), bothSigned(n, o))
	default:
		root, err := n.tree.Root(int64(len(o.lines)))
		if err != nil || o.sealed.Root != root || o.sealed.Size != int64(len(o.lines)) {
			find(FindingCheckpoint, "The root that was signed for the older one is not the root of the newer history at %d events", len(o.lines))
		}
		if n.sealed.Origin != o.sealed.Origin && n.passed(o.sealed.Origin) == nil {
			find(FindingCheckpoint, "They come from two registries: %q and %q", shorten(n.sealed.Origin), shorten(o.sealed.Origin))
		}
	}
	nErr, oErr := n.err("The newer bundle"), o.err("The older bundle")
	out.Newer, out.Older = n.report, o.report
	if err := tampered("The pair", out.Findings, 0); err != nil {
		return out, err
	}
	if nErr != nil {
		return out, nErr
	}
	return out, oErr
}

// trustOf are the options with which an older bundle is verified. When it is
// signed by a registry through which the newer one came, the key is the one that
// stands in the newer one's history, which was checked there.
func (c *check) trustOf(older Source, opts VerifyOptions) VerifyOptions {
	text, err := entryOf(older, fileCheckpoint)
	if err != nil {
		return opts
	}
	then, err := ParseCheckpoint(text)
	if err != nil || then.Origin == c.sealed.Origin {
		return opts
	}
	if key := c.keyOf(then.Origin); key != "" {
		opts.Keys, opts.Fingerprint = []string{key}, ""
	}
	return opts
}

// entryOf reads one small file of a bundle.
func entryOf(src Source, name string) ([]byte, error) {
	z, err := zip.NewReader(src, src.Size)
	if err != nil {
		return nil, err
	}
	f, err := z.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, maxNoteBytes))
}

// at names what the event of a line records.
func (c *check) at(i int) string {
	if i >= len(c.lines) || !c.lines[i].ok {
		return "unreadable"
	}
	l := c.lines[i]
	if l.body == nil {
		return shorten(string(l.event.Kind))
	}
	return shorten(string(l.event.Kind)) + " " + shorten(registry.IDOf(l.body))
}

// bothSigned says so when one registry signed two histories, which is worse
// than a forged copy.
func bothSigned(n, o *check) string {
	if n.report.Key != "" && n.report.Key == o.report.Key && len(n.report.Findings)+len(o.report.Findings) == 0 {
		return ". The same registry has signed both"
	}
	return ""
}
