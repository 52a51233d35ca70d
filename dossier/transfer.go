package dossier

import (
	"archive/zip"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"example.org/asfound/registry"
)

// Passage is a registry through which a record came before the one that signed
// the bundle.
type Passage struct {
	Origin      string `json:"origin"`
	Fingerprint string `json:"key_fingerprint"`
	Events      int    `json:"events"` // that its signature is of
}

// checkTransfer holds what another registry signed against the history: its
// note must be signed by the key beside it, over exactly the events before.
func (c *check) checkTransfer(i int, l line, t *registry.Transfer) {
	if t.From == nil {
		return
	}
	where := c.where(i, l)
	earlier, _, err := OpenCheckpoint([]byte(t.From.Checkpoint), t.From.Key)
	if err != nil {
		c.find(FindingSignature, where, "The registry from which the record was taken over has not signed what stands here: %s", plain(err))
		return
	}
	root, err := c.tree.Root(earlier.Size)
	origin, originErr := Origin(KeyName(t.From.Key), c.report.Machine)
	switch {
	case err != nil || root != earlier.Root || earlier.Size != int64(i):
		c.find(FindingFork, where, "The history is forked: its first %d events are not those that were signed when it was handed over", earlier.Size)
	case earlier.Root != t.From.Root || uint64(earlier.Size) != t.From.Size || earlier.Origin != t.From.Origin || Fingerprint(t.From.Key) != t.From.Fingerprint:
		c.find(FindingCheckpoint, where, "What is said of the registry from which the record was taken over is not what that registry signed")
	case originErr != nil || origin != earlier.Origin:
		c.find(FindingCheckpoint, where, "What was signed is of %q, and the record was taken over as that of %q", shorten(earlier.Origin), c.report.Machine)
	default:
		c.report.Passages = append(c.report.Passages, Passage{earlier.Origin, t.From.Fingerprint, int(earlier.Size)})
		c.note("Up to event %d the record was kept by another registry, %s, whose signature holds. %s", earlier.Size, shorten(earlier.Origin), c.trustWords(t.From))
	}
}

// trustWords says what the reader knows of an earlier registry's key.
func (c *check) trustWords(from *registry.Handover) string {
	if slices.Contains(c.opts.Keys, from.Key) {
		return "Its key is one that you trust."
	}
	return "Ask it whether the key with the fingerprint " + from.Fingerprint + " is its own."
}

// passed finds the registry with an origin through which the record came.
func (c *check) passed(origin string) *registry.Handover {
	for _, l := range c.lines {
		if t, ok := l.body.(*registry.Transfer); ok && t.From != nil && t.From.Origin == origin {
			return t.From
		}
	}
	return nil
}

// keyOf is the key with which an earlier registry signed, as the history has it;
// "" for a registry through which the record did not come, and for one of which
// the reader gave a key.
func (c *check) keyOf(origin string) string {
	for _, k := range c.opts.Keys {
		if own, err := Origin(KeyName(k), c.report.Machine); err == nil && own == origin {
			return ""
		}
	}
	if from := c.passed(origin); from != nil {
		return from.Key
	}
	return ""
}

// Handed is a bundle with which a record was handed over, verified whole.
type Handed struct {
	Report Report
	Events [][]byte
	From   registry.Handover
	source Source
}

// OpenTransfer verifies a bundle and gives what a receiving registry appends.
// The signer must be known: opts holds its key or its fingerprint. Codes:
// CodeTampered for any finding, CodeRefused for a signer that is not trusted,
// CodeInvalid for a bundle that does not hold the whole record, CodeUnsupported
// for one of a newer program.
func OpenTransfer(src Source, opts VerifyOptions) (*Handed, error) {
	c, err := verify(src, src.Size, opts)
	if err != nil {
		return nil, err
	}
	h := &Handed{Report: c.report, source: src}
	if err := c.err("The bundle"); err != nil {
		h.Report = c.report
		return h, err
	}
	switch {
	case len(c.report.NotRead) > 0:
		return nil, registry.Refuse(registry.CodeUnsupported, "A newer asfound may read it.", "The bundle holds %d records that are not known here", len(c.report.NotRead))
	case !c.report.Pinned:
		return nil, registry.Refuse(registry.CodeRefused, "Ask the giving registry for its fingerprint by another way, such as the telephone, and give it with --trust.",
			"The bundle is signed by %s, with the fingerprint %s, which you have not said you trust", KeyName(c.report.Key), c.report.Fingerprint)
	case c.manifest.Edition != EditionPrivate || !c.manifest.Originals:
		return nil, registry.Refuse(registry.CodeInvalid, "Ask for the one that \"asfound transfer out\" writes.", "The bundle does not hold the whole record: names, places or original pictures are not in it")
	}
	for _, l := range c.lines {
		h.Events = append(h.Events, l.bytes)
	}
	h.From = registry.Handover{Origin: c.sealed.Origin, Key: c.report.Key, Fingerprint: c.report.Fingerprint, Size: uint64(c.sealed.Size), Root: c.sealed.Root,
		Checkpoint: string(c.files[fileCheckpoint].data)}
	return h, nil
}

// Files calls fn with every picture and withheld value: private says which of
// the two. What is read may have changed since it was verified, so fn compares
// the digest.
func (h *Handed) Files(fn func(digest string, private bool, r io.Reader) error) error {
	z, err := zip.NewReader(h.source, h.source.Size)
	if err != nil {
		return err
	}
	for _, f := range z.File {
		folder, digest, ok := blobDigest(f.Name)
		if !ok {
			continue
		}
		r, err := f.Open()
		if err != nil {
			return err
		}
		if err := fn(digest, folder == "private", r); err != nil {
			_ = r.Close() // read only
			return fmt.Errorf("take over %s: %w", f.Name, err)
		}
		if err := r.Close(); err != nil {
			return err
		}
	}
	return nil
}

// TransferReceipt is what a receiving registry gives back: the event with which
// it goes on, and its own checkpoint over it.
type TransferReceipt struct {
	Format     string `json:"format"`
	Machine    string `json:"machine"`
	Event      string `json:"event"` // the stored bytes
	Key        string `json:"key"`
	Checkpoint string `json:"checkpoint"`
}

const receiptFormat = "asfound transfer receipt 1"

// maxReceipt is the longest receipt that is read, in bytes.
const maxReceipt = 1 << 20

// SignReceipt makes a receipt of the events of a machine, of which the last one
// says that the record was taken over.
func SignReceipt(machine string, events [][]byte, signer string) ([]byte, error) {
	verifier, err := VerifierOf(signer)
	if err != nil {
		return nil, err
	}
	history := registry.History{Machine: machine}
	for _, e := range events {
		if _, err := history.Add(e); err != nil {
			return nil, err
		}
	}
	root, err := history.Tree().Root(history.Tree().Size())
	if err != nil {
		return nil, err
	}
	origin, err := Origin(KeyName(verifier), machine)
	if err != nil {
		return nil, err
	}
	note, err := SignCheckpoint(Checkpoint{origin, history.Tree().Size(), root}, signer)
	if err != nil {
		return nil, err
	}
	out, err := registry.CanonicalJSON(TransferReceipt{receiptFormat, machine, string(events[len(events)-1]), verifier, string(note)})
	return append(out, '\n'), err
}

// OpenReceipt reads a receipt and checks its signature. CodeInvalid for what is
// no receipt, CodeTampered when the key beside it has not signed it.
func OpenReceipt(text []byte) (TransferReceipt, Checkpoint, error) {
	var r TransferReceipt
	if err := json.Unmarshal(text, &r); err != nil || r.Format != receiptFormat || len(text) > maxReceipt {
		return r, Checkpoint{}, registry.Refuse(registry.CodeInvalid, "It is the file that \"asfound transfer in --receipt\" wrote.", "This is no receipt of a transfer")
	}
	then, _, err := OpenCheckpoint([]byte(r.Checkpoint), r.Key)
	if err != nil {
		return r, then, err
	}
	if !strings.HasSuffix(then.Origin, "/"+r.Machine) {
		return r, then, registry.Refuse(registry.CodeTampered, "Ask the other registry for its receipt again.", "The receipt is of %q", then.Origin)
	}
	return r, then, nil
}
