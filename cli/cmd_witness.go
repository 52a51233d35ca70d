package cli

import (
	"archive/zip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"example.org/asfound/dossier"
	"example.org/asfound/registry"
)

type witnessCommand struct {
	Bundle string   `arg:"" type:"path" help:"a bundle of another registry"`
	Key    []string `required:"" sep:"none" help:"that registry's public key, got from it itself; after a change of key both, each with its own --key"`
	Out    string   `short:"o" type:"path" help:"write the checkpoint with both signatures here"`
}

// witnessedFile holds what this registry has witnessed, one line a checkpoint.
const witnessedFile = "witnessed.jsonl"

// witnessed is one checkpoint that this registry put its own signature to.
type witnessed struct {
	Origin     string    `json:"origin"`
	Size       int64     `json:"size"`
	Root       string    `json:"root"`
	At         time.Time `json:"at"`
	Checkpoint string    `json:"checkpoint"` // as the other registry signed it, with our signature
}

// Run checks that the bundle continues what was witnessed before of the same
// machine, and signs its checkpoint too.
func (x *witnessCommand) Run(c *call) error {
	signer, verifier, err := c.key()
	if err != nil {
		return err
	}
	f, size, err := openFile(x.Bundle)
	if err != nil {
		return err
	}
	defer f.Close()
	opts := dossier.VerifyOptions{Keys: x.Key}
	report, err := dossier.Verify(f, size, opts)
	if err != nil {
		return c.printVerified(report, err, "")
	}
	seen, err := c.witnessedBefore()
	if err != nil {
		return err
	}
	var last *witnessed
	for i := range seen {
		if seen[i].Origin == report.Origin {
			last = &seen[i]
		}
	}
	if last != nil {
		r, err := dossier.VerifyCheckpoint(dossier.Source{ReaderAt: f, Size: size}, []byte(last.Checkpoint), opts)
		if err != nil {
			r.Newer.Findings = append(r.Newer.Findings, r.Findings...)
			return c.printVerified(r.Newer, err, "")
		}
	}
	text, err := checkpointOf(f, size)
	if err != nil {
		return err
	}
	signed, err := dossier.Cosign(text, signer, x.Key...)
	if err != nil {
		return err
	}
	now := witnessed{Origin: report.Origin, Size: int64(report.Events), Root: report.Root, At: c.Now().UTC(), Checkpoint: string(signed)}
	if last == nil || last.Size != now.Size {
		if err := c.keepWitnessed(append(seen, now)); err != nil {
			return err
		}
	}
	if x.Out != "" {
		if err := writeFile(x.Out, func(w io.Writer) error { _, err := w.Write(signed); return err }); err != nil {
			return err
		}
	}
	return c.print(now, func(w io.Writer) {
		if last == nil {
			fmt.Fprintf(w, "Witnessed for the first time: %s, %d events. What came before today nobody here has seen.\n", now.Origin, now.Size)
		} else {
			fmt.Fprintf(w, "Witnessed: %s, %d events. They continue the %d that were witnessed on %s.\n", now.Origin, now.Size, last.Size, last.At.Format("2 January 2006"))
		}
		fmt.Fprintf(w, "Signed here with %s. Keep this text, or print it:\n\n%s", dossier.Fingerprint(verifier), signed)
	})
}

func (c *call) witnessedBefore() ([]witnessed, error) {
	text, err := os.ReadFile(filepath.Join(c.line.Dir, witnessedFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var out []witnessed
	for line := range strings.Lines(string(text)) {
		var w witnessed
		if err := json.Unmarshal([]byte(line), &w); err != nil {
			return nil, registry.Refuse(registry.CodeTampered, "Put it back from a copy: without it this registry does not know what it has witnessed.", "%s cannot be read at line %d", witnessedFile, len(out)+1)
		}
		out = append(out, w)
	}
	return out, nil
}

func (c *call) keepWitnessed(all []witnessed) error {
	return writeFile(filepath.Join(c.line.Dir, witnessedFile), func(w io.Writer) error {
		enc := json.NewEncoder(w)
		for _, x := range all {
			if err := enc.Encode(x); err != nil {
				return err
			}
		}
		return nil
	})
}

// checkpointOf reads the checkpoint of a bundle that has been verified.
func checkpointOf(f io.ReaderAt, size int64) ([]byte, error) {
	z, err := zip.NewReader(f, size)
	if err != nil {
		return nil, err
	}
	r, err := z.Open("checkpoint.txt")
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return io.ReadAll(io.LimitReader(r, maxCheckpoint))
}
