package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"example.org/asfound/dossier"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

type showCommand struct {
	Machine    string `arg:"" help:"the machine's name in the registry"`
	Component  string `arg:"" optional:"" help:"one component, by id, code or name"`
	AsOf       string `help:"as it stood on a day, such as 1965-06-01; what became so later is left out"`
	KnownAt    string `help:"as far as was known on a day; what was recorded later is left out"`
	Public     bool   `help:"with names and numbers masked"`
	Standpoint string `help:"the policy that sets weights and credits; the catalog's first when left out"`
}

// Run shows a machine, or one component.
func (s *showCommand) Run(c *call) error {
	at, err := parseAt(s.AsOf, s.KnownAt)
	if err != nil {
		return err
	}
	w, err := c.workshop()
	if err != nil {
		return err
	}
	o := workshop.ReportOptions{At: at, Public: s.Public, Standpoint: s.Standpoint}
	if s.Component == "" {
		r, err := w.Report(c.ctx, s.Machine, o)
		if err != nil {
			return err
		}
		return c.print(r, func(w io.Writer) { writeReport(w, r) })
	}
	r, component, err := w.Component(c.ctx, s.Machine, s.Component, o)
	if err != nil {
		return err
	}
	return c.print(component, func(w io.Writer) { writeComponent(w, r, component) })
}

// parseAt reads the two clocks. A day of "as of" is the whole day; "known at"
// takes in everything that was recorded on that day.
func parseAt(asOf, knownAt string) (workshop.At, error) {
	var at workshop.At
	var err error
	if asOf != "" {
		if at.AsOf, err = time.Parse(time.DateOnly, asOf); err != nil {
			return at, badFlag("--as-of", asOf, "1965-06-01")
		}
	}
	if knownAt != "" {
		if at.KnownAt, err = time.Parse(time.RFC3339, knownAt); err == nil {
			return at, nil
		}
		if at.KnownAt, err = time.Parse(time.DateOnly, knownAt); err != nil {
			return at, badFlag("--known-at", knownAt, "2026-04-30")
		}
		at.KnownAt = at.KnownAt.AddDate(0, 0, 1).Add(-time.Millisecond)
	}
	return at, nil
}

type machinesCommand struct{}

// Run lists the machines.
func (machinesCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	list, err := w.Machines(c.ctx, "", 0)
	if err != nil {
		return err
	}
	return c.print(list, func(w io.Writer) {
		if len(list) == 0 {
			fmt.Fprintln(w, "No machine is in this registry yet. Take one in with \"asfound take-in\".")
		}
		for _, m := range list {
			fmt.Fprintf(w, "%-28s %-12s %s %s %s%s\n", m.ID, m.Phase, m.Make, m.Model, m.Year, invented(m.Invented))
		}
	})
}

func invented(yes bool) string {
	if yes {
		return "  (invented)"
	}
	return ""
}

type dossierCommand struct {
	Machine   string `arg:"" help:"the machine's name in the registry"`
	PDF       string `name:"pdf" type:"path" help:"write the PDF here"`
	Bundle    string `type:"path" help:"write the bundle here"`
	Condition string `type:"path" help:"write the condition report here, a PDF to print and sign"`
	Public    bool   `help:"the public edition: numbers masked, names and places withheld"`
	Originals bool   `help:"put the original pictures into the private bundle, with all that the camera wrote into them"`
	spoken    `embed:""`
}

// Run writes the dossier.
func (d *dossierCommand) Run(c *call) error {
	if d.PDF == "" && d.Bundle == "" && d.Condition == "" {
		return registry.Refuse(registry.CodeInvalid, "Name a file with --pdf, --bundle, --condition or several of them.", "It is not said what to write")
	}
	if d.Originals && (d.Public || d.Bundle == "") {
		return registry.Refuse(registry.CodeInvalid, "Leave --originals out, or write a private bundle.", "Original pictures go into a private bundle alone")
	}
	o, err := c.open()
	if err != nil {
		return err
	}
	ctx, err := d.speak(c.ctx)
	if err != nil {
		return err
	}
	written := map[string]string{}
	if d.PDF != "" {
		if err := writeFile(d.PDF, func(w io.Writer) error { return o.writePDF(ctx, w, d.Machine, d.Public) }); err != nil {
			return err
		}
		written["pdf"] = d.PDF
	}
	if d.Condition != "" {
		if err := writeFile(d.Condition, func(w io.Writer) error { return o.writeCondition(ctx, w, d.Machine, d.Public) }); err != nil {
			return err
		}
		written["condition"] = d.Condition
	}
	if d.Bundle != "" {
		if err := writeFile(d.Bundle, func(w io.Writer) error { return o.writeBundle(c.ctx, w, d.Machine, d.Public, d.Originals) }); err != nil {
			return err
		}
		written["bundle"] = d.Bundle
	}
	return c.print(written, func(w io.Writer) {
		for _, kind := range []string{"pdf", "condition", "bundle"} {
			if written[kind] != "" {
				fmt.Fprintf(w, "Written: %s\n", written[kind])
			}
		}
		if d.Bundle != "" {
			fmt.Fprintf(w, "The registry's key, to check it with: %s\n", o.verifier)
		}
	})
}

// writeFile writes a whole file or none: beside it first, then in its place.
func writeFile(name string, write func(io.Writer) error) error {
	tmp := name + ".part"
	f, err := os.OpenFile(tmp, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return registry.Refuse(registry.CodeInvalid, "Choose a folder that exists and that you may write to.", "%s cannot be written: %v", name, errors.Unwrap(err))
	}
	err = write(f)
	if err == nil {
		err = f.Sync()
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return errors.Join(err, os.Remove(tmp))
	}
	return os.Rename(tmp, name)
}

type verifyCommand struct {
	Bundle    string   `arg:"" type:"path" help:"the bundle"`
	Against   string   `type:"path" help:"an older bundle of the same machine: nothing in it may have been rewritten"`
	Key       []string `help:"the registry's public key, got from the registry itself; may be repeated" sep:"none"`
	KeyChange []string `type:"existingfile" help:"a registry's signed change of key, to be followed from --key; may be repeated, oldest first"`
	// Checkpoint proves as much as an older bundle, in three lines.
	Checkpoint string `type:"path" help:"an earlier checkpoint of the same machine, as a text: checkpoint.txt of an older bundle"`
	// Fingerprint is told by telephone or read from paper.
	Fingerprint string `help:"the fingerprint of the key that you expect: sixteen figures, such as \"12ab 34cd 56ef 7890\""`
	// Witness is a third party who has seen the checkpoint.
	Witness  string `help:"public key of a witness who must have signed that checkpoint too"`
	Repacked bool   `help:"the archive was unpacked and packed again by another program"`
}

// Run checks a bundle with nothing but its bytes.
func (v *verifyCommand) Run(c *call) error {
	for _, k := range v.Key {
		if dossier.KeyName(strings.TrimSpace(k)) == "" {
			return badFlag("--key", k, "the line that \"asfound dossier\" printed: name, hash and key, with \"+\" between")
		}
	}
	if v.Fingerprint != "" && !dossier.IsFingerprint(v.Fingerprint) {
		return badFlag("--fingerprint", v.Fingerprint, "0123 4567 89ab cdef")
	}
	var changes [][]byte
	for _, name := range v.KeyChange {
		text, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		changes = append(changes, text)
	}
	keys, err := dossier.TrustedKeys(v.Key, changes)
	if err != nil {
		return err
	}
	opts := dossier.VerifyOptions{Keys: keys, Repacked: v.Repacked, Fingerprint: v.Fingerprint}
	newer, size, err := openFile(v.Bundle)
	if err != nil {
		return err
	}
	defer newer.Close()
	if v.Against != "" && v.Checkpoint != "" {
		return registry.Refuse(registry.CodeInvalid, "Leave one of them out.", "--against and --checkpoint both say what is older")
	}
	if v.Checkpoint != "" {
		return v.againstCheckpoint(c, dossier.Source{ReaderAt: newer, Size: size}, opts)
	}
	if v.Against == "" {
		r, err := dossier.Verify(newer, size, opts)
		return c.printVerified(r, err, "")
	}
	older, olderSize, err := openFile(v.Against)
	if err != nil {
		return err
	}
	defer older.Close()
	r, err := dossier.VerifyAgainst(dossier.Source{ReaderAt: newer, Size: size}, dossier.Source{ReaderAt: older, Size: olderSize}, opts)
	if err == nil || registry.CodeOf(err) == registry.CodeTampered {
		if c.json {
			return errors.Join(printJSON(c.Stdout, r), err)
		}
		r.Newer.Findings = append(append(r.Newer.Findings, r.Older.Findings...), r.Findings...)
	}
	return c.printVerified(r.Newer, err, fmt.Sprintf("Nothing of the older bundle was rewritten: its %d events begin the %d of this one.", r.Older.Events, r.Newer.Events))
}

// maxCheckpoint is the longest text of a checkpoint that is read, in bytes.
const maxCheckpoint = 64 << 10

// againstCheckpoint checks that a bundle continues what a checkpoint signed.
func (v *verifyCommand) againstCheckpoint(c *call, newer dossier.Source, opts dossier.VerifyOptions) error {
	f, size, err := openFile(v.Checkpoint)
	if err != nil {
		return err
	}
	defer f.Close()
	if size > maxCheckpoint {
		return registry.Refuse(registry.CodeTooLarge, "Give the file checkpoint.txt, or use --against for a whole bundle.", "%s is too long for a checkpoint", v.Checkpoint)
	}
	text, err := io.ReadAll(f)
	if err != nil {
		return err
	}
	if v.Witness != "" {
		if _, _, err := dossier.OpenCheckpoint(text, v.Witness); err != nil {
			return err
		}
	}
	r, err := dossier.VerifyCheckpoint(newer, text, opts)
	r.Newer.Findings = append(r.Newer.Findings, r.Findings...)
	return c.printVerified(r.Newer, err, fmt.Sprintf("Nothing was rewritten since that checkpoint: its %d events begin the %d of this bundle.", r.Older.Events, r.Newer.Events))
}

func openFile(name string) (*os.File, int64, error) {
	f, err := openInput(name)
	if err != nil {
		return nil, 0, err
	}
	info, err := f.Stat()
	if err != nil {
		return nil, 0, errors.Join(err, f.Close())
	}
	return f, info.Size(), nil
}

func (c *call) printVerified(r dossier.Report, err error, also string) error {
	if err != nil && registry.CodeOf(err) != registry.CodeTampered {
		return err
	}
	return errors.Join(c.print(r, func(w io.Writer) {
		writeVerified(w, r)
		if err == nil && also != "" {
			fmt.Fprintln(w, also)
		}
	}), err)
}

type recalcCommand struct {
	Event string `arg:"" help:"the event, by its id or as machine/version"`
}

// Run computes a recorded estimate again.
func (r *recalcCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	list, err := w.Recalc(c.ctx, r.Event)
	if err != nil {
		return err
	}
	if err := c.print(list, func(w io.Writer) {
		for _, x := range list {
			same := "the same to the last digit"
			if !x.Same {
				same = "DIFFERENT"
			}
			fmt.Fprintf(w, "%-40s %-10s %s\n", x.Of, x.Method, same)
		}
	}); err != nil {
		return err
	}
	for _, x := range list {
		if !x.Same {
			return registry.Refuse(registry.CodeTampered, "Verify the machine's bundle to see what else differs.", "The estimate of %s is not what its input gives", x.Of)
		}
	}
	return nil
}

type calcCommand struct {
	Method string `arg:"" help:"${methods}; with a version behind a slash, or the first one"`
}

// Run computes one question on the input that stands on standard input.
func (x *calcCommand) Run(c *call) error {
	input, err := io.ReadAll(io.LimitReader(c.Stdin, scoring.MaxInputBytes+1))
	if err != nil {
		return err
	}
	method := x.Method
	if !strings.Contains(method, "/") {
		method += "/1"
	}
	out, err := c.calculate(method, input)
	if err != nil {
		return err
	}
	return printJSON(c.Stdout, json.RawMessage(out))
}

// calculate runs a method on an input and the tables of the catalog that it
// leaves out.
func (c *call) calculate(method string, input []byte) ([]byte, error) {
	knowledge, err := c.loadCatalog()
	if err != nil {
		return nil, err
	}
	if len(input) <= scoring.MaxInputBytes {
		if input, err = knowledge.Supply(method, input); err != nil {
			return nil, err
		}
	}
	return scoring.Run(method, input)
}

type rebuildCommand struct{}

// Run derives the lists anew.
func (rebuildCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	bar := c.progress("machines")
	n := 0
	err = w.Rebuild(c.ctx, func(done int) { n = done; bar.at(done) })
	bar.end()
	if err != nil {
		return err
	}
	return c.print(map[string]int{"machines": n}, printer(fmt.Sprintf("Derived again from the ledger: %d machines.", n)))
}

func printer(line string) func(io.Writer) {
	return func(w io.Writer) { fmt.Fprintln(w, line) }
}

// progress is a line on a terminal that says how far long work is.
type progress struct {
	w    io.Writer
	what string
	last time.Time
	now  func() time.Time
}

func (c *call) progress(what string) *progress {
	p := &progress{what: what, now: c.Now}
	if c.Terminal && !c.json {
		p.w = c.Stderr
	}
	return p
}

func (p *progress) at(n int) {
	if p.w == nil || p.now().Sub(p.last) < 100*time.Millisecond {
		return
	}
	p.last = p.now()
	fmt.Fprintf(p.w, "\r%d %s …", n, p.what)
}

func (p *progress) end() {
	if p.w != nil && !p.last.IsZero() {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
}

// readRecords reads a JSON file of records and refuses kinds that do not
// belong to the command.
func (c *call) readRecords(file string, kinds []registry.Kind) ([]registry.Body, error) {
	var bodies []registry.Body
	var faults []registry.Field
	err := c.eachDraft(c.ctx, file, sourceOptions{sheet: "json"}, func(d workshop.Draft) error {
		faults = append(faults, d.Faults...)
		if d.Body == nil {
			return nil
		}
		for _, k := range kinds {
			if d.Body.Kind() == k {
				bodies = append(bodies, d.Body)
				return nil
			}
		}
		faults = append(faults, registry.Field{File: filepath.Base(file), Row: d.Row, Pointer: "/record", Found: string(d.Body.Kind()),
			Message: "A record of this kind does not belong to this command", Fix: "Use \"asfound import\" for records of any kind."})
		return nil
	})
	if err != nil {
		return nil, err
	}
	if len(faults) > 0 {
		e := registry.Refuse(registry.CodeInvalid, "", "%s cannot be recorded", file)
		e.Fields = faults
		return nil, e
	}
	return bodies, nil
}
