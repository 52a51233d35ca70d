package dossier

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"example.org/asfound/registry"
)

// beginnings are how files of other kinds begin, with what they are.
var beginnings = []struct{ bytes, is string }{
	{"%PDF-", "It is a PDF, which is the dossier to read. The bundle to check is another file, and its name ends in .zip"},
	{"\xff\xd8\xff", "It is a picture"},
	{"\x89PNG", "It is a picture"},
	{"<!doctype html", "It is a page of a web site, perhaps that of a failed download"},
	{"<html", "It is a page of a web site, perhaps that of a failed download"},
	{"\x1f\x8b", "It is an archive of another kind"},
	{"7z\xbc\xaf", "It is an archive of another kind"},
	{"Rar!", "It is an archive of another kind"},
}

// notArchive says in plain words why bytes cannot be read as a ZIP archive.
func notArchive(r io.ReaderAt, size int64) string {
	const lead = "It cannot be read as a ZIP archive. "
	if size == 0 {
		return lead + "The file is empty"
	}
	head := make([]byte, min(size, 32))
	if _, err := r.ReadAt(head, 0); err != nil && !errors.Is(err, io.EOF) {
		return lead + "Its first bytes cannot be read"
	}
	if bytes.HasPrefix(head, []byte("PK\x03\x04")) {
		return lead + "It begins like one, and the list of its files at the end is missing or damaged: it was cut short, perhaps when it was sent"
	}
	lower := strings.ToLower(strings.TrimSpace(string(head)))
	for _, b := range beginnings {
		if bytes.HasPrefix(head, []byte(b.bytes)) || strings.HasPrefix(lower, b.bytes) {
			return lead + b.is
		}
	}
	return lead + "It is something else"
}

// unreadable says in plain words why an entry cannot be read.
func unreadable(err error) string {
	switch {
	case errors.Is(err, zip.ErrAlgorithm):
		return "it is packed in a way in which no bundle is"
	case errors.Is(err, io.ErrUnexpectedEOF):
		return "it ends too early"
	}
	return "its bytes are damaged"
}

// expectKey finds fault with a key whose fingerprint is not the one that the
// reader was told.
func (c *check) expectKey() {
	want := plainFingerprint(c.opts.Fingerprint)
	if want == "" || c.report.Fingerprint == "" {
		return
	}
	if plainFingerprint(c.report.Fingerprint) == want {
		c.report.Pinned = true
		return
	}
	c.find(FindingSignature, fileKey, "The key that signed it has the fingerprint %s, and you expect %s: another registry has made this bundle, or a forger", c.report.Fingerprint, shorten(c.opts.Fingerprint))
}

// plainFingerprint is a fingerprint without the spaces between its fours.
func plainFingerprint(s string) string {
	return strings.ToLower(strings.Join(strings.Fields(s), ""))
}

// SameFingerprint says whether two fingerprints are one, however spaced.
func SameFingerprint(a, b string) bool { return plainFingerprint(a) == plainFingerprint(b) }

// IsFingerprint says whether a text may be a key's fingerprint, however it is
// spaced.
func IsFingerprint(s string) bool {
	p := plainFingerprint(s)
	return len(p) == 16 && strings.Trim(p, "0123456789abcdef") == ""
}

// VerifyCheckpoint checks that a bundle continues the history that an earlier
// checkpoint signed: the bundle verifies, the checkpoint is signed by the same
// key, and its root is the root of the history at that length. Older then says
// what the checkpoint holds. The error is CodeTampered when anything is found.
func VerifyCheckpoint(newer Source, checkpoint []byte, opts VerifyOptions) (Comparison, error) {
	out := Comparison{Findings: []Finding{}}
	n, err := verify(newer, newer.Size, opts)
	out.Newer = n.report
	if err != nil {
		return out, err
	}
	find := func(code, format string, args ...any) {
		out.Findings = append(out.Findings, Finding{code, "the earlier checkpoint", fmt.Sprintf(format, args...)})
	}
	// A text that went through a form or a letter has other line ends.
	text := append(bytes.TrimSpace(bytes.ReplaceAll(checkpoint, []byte("\r\n"), []byte("\n"))), '\n')
	then, err := ParseCheckpoint(text)
	keys := opts.Keys
	if len(keys) == 0 {
		keys = []string{n.report.Key}
	}
	if key := n.keyOf(then.Origin); err == nil && then.Origin != n.sealed.Origin && key != "" {
		keys = []string{key}
	}
	if err != nil {
		find(FindingCheckpoint, "It is not the text of a checkpoint: %s", plain(err))
	} else if _, _, err := OpenCheckpoint(text, keys...); n.report.Key != "" && err != nil {
		find(FindingSignature, "The registry that signed the bundle has not signed it: %s", plain(err))
	} else {
		out.Older = Report{Machine: n.report.Machine, Events: int(then.Size), Root: then.Root, Origin: then.Origin, Findings: []Finding{}}
		n.compareEarlier(then, find)
		if len(out.Findings) == 0 {
			out.Common = int(then.Size)
		}
	}
	nErr := n.err("The bundle")
	out.Newer = n.report
	if err := tampered("The pair", out.Findings, 0); err != nil {
		return out, err
	}
	return out, nErr
}

// compareEarlier compares an earlier checkpoint with the history.
func (c *check) compareEarlier(then Checkpoint, find func(code, format string, args ...any)) {
	switch {
	case then.Origin != c.sealed.Origin && c.passed(then.Origin) == nil:
		find(FindingFork, "It is of %q, and the bundle of %q", shorten(then.Origin), shorten(c.sealed.Origin))
	case then.Size > int64(len(c.lines)):
		find(FindingOrder, "It was signed over %d events, and the bundle holds only %d: the bundle is the older one, or was cut short", then.Size, len(c.lines))
	default:
		if root, err := c.tree.Root(then.Size); err != nil || root != then.Root {
			find(FindingFork, "The history is forked: its first %d events are not those that were signed then", then.Size)
		}
	}
}

// Kept gives the record that was replayed from a bundle in which nothing was
// found; nil for any other.
func (r *Report) Kept() *registry.Dossier {
	if len(r.Findings) > 0 {
		return nil
	}
	return r.dossier
}
