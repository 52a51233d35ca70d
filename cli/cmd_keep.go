package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"filippo.io/age"

	"example.org/asfound/backup"
	"example.org/asfound/dossier"
	"example.org/asfound/registry"
	"example.org/asfound/store"
	"example.org/asfound/workshop"
)

type backupCommand struct {
	Folder string   `arg:"" type:"path" help:"where the backup lies: a folder on another disk, apart from the registry"`
	To     []string `required:"" sep:"," help:"who can open it: age recipients such as age1…, or files that list them"`
}

// backedUp is what a backup answers with.
type backedUp struct {
	Folder string        `json:"folder"`
	Piece  *backup.Piece `json:"piece,omitempty"`
	Pieces int           `json:"pieces"`
	// Present is how many files the part that is replaced each time holds.
	Present int `json:"present_files"`
	// Plain is how many private values stand in pieces from before there were keys.
	Plain int `json:"plain_private_values,omitempty"`
}

// Run adds a piece to a backup. When a server has the registry open, it is
// asked to do so.
func (b *backupCommand) Run(c *call) error {
	recipients, names, err := readRecipients(b.To)
	if err != nil {
		return err
	}
	o, err := c.open()
	if registry.CodeOf(err) == registry.CodeBusy {
		out, asked, askErr := askServer[backedUp](c, controlRequest{Act: "backup", Folder: b.Folder, To: names})
		if !asked {
			return err
		}
		if askErr != nil {
			return askErr
		}
		return c.print(out, out.words)
	}
	if err != nil {
		return err
	}
	bar := c.progress("commits and files")
	out, err := o.backup(c.ctx, b.Folder, recipients, names, func(n backup.Count) { bar.at(n.Commits + n.Photos + n.Private) })
	bar.end()
	if err != nil {
		return err
	}
	return c.print(out, out.words)
}

func (b backedUp) words(w io.Writer) {
	if b.Piece == nil {
		fmt.Fprintf(w, "Nothing came since the last backup in %s (%d pieces).\n", b.Folder, b.Pieces)
	} else {
		h := b.Piece.Holds
		fmt.Fprintf(w, "Written and read back: %s in %s, %d bytes, with %d events in %d commits, %d pictures and %d private values.\n", b.Piece.File, b.Folder, b.Piece.Bytes, h.Events, h.Commits, h.Photos, h.Private)
	}
	fmt.Fprintf(w, "Replaced: the part with the keys of the private values, the people and the settings (%d files). A key that was destroyed is not in the folder any more.\n", b.Present)
	if b.Plain > 0 {
		fmt.Fprintf(w, "%d private values stand in pieces from before there were keys, where erasing somebody does not reach them: begin a new chain in an empty folder, and destroy this one.\n", b.Plain)
	}
	fmt.Fprintln(w, "The registry's signing key is not in it: keep a copy of "+keyFile+" in another place.")
}

// backup adds a piece to the backup in a folder.
func (o *opened) backup(ctx context.Context, path string, recipients []age.Recipient, names []string, progress func(backup.Count)) (backedUp, error) {
	inside, err := filepath.Rel(o.store.Dir(), path)
	if err == nil && !strings.HasPrefix(inside, "..") {
		return backedUp{}, registry.Refuse(registry.CodeInvalid, "Choose a folder on another disk.", "The backup would lie in the registry's own folder")
	}
	folder, err := backup.OpenDirectory(path)
	if err != nil {
		return backedUp{}, registry.Refuse(registry.CodeInvalid, "Check the path and its rights.", "The folder %s cannot be used: %v", path, errors.Unwrap(err))
	}
	defer folder.Close()
	piece, err := backup.Write(ctx, backup.Source{Ledger: o.Ledger, Photos: o.photos, Private: o.vault.Stored(), Present: func(fn func(string, []byte) error) error { return o.present(ctx, fn) }, Registry: o.verifier}, folder,
		backup.Options{Recipients: recipients, Names: names, Chain: o.NewID(), Now: o.Now(), Progress: progress})
	if err != nil {
		return backedUp{}, err
	}
	x, err := backup.ReadIndex(folder)
	if err != nil {
		return backedUp{}, err
	}
	if err := o.backedUpAt(o.Now()); err != nil {
		return backedUp{}, err
	}
	out := backedUp{Folder: path, Piece: piece}
	if x != nil {
		out.Pieces, out.Plain = len(x.Pieces), x.Plain()
		if x.Present != nil {
			out.Present = x.Present.Holds.Files
		}
	}
	return out, nil
}

// readRecipients reads age recipients, each a key or the name of a file.
func readRecipients(given []string) (out []age.Recipient, names []string, err error) {
	for _, g := range given {
		text := g
		if !strings.HasPrefix(g, "age1") {
			raw, err := os.ReadFile(g)
			if err != nil {
				return nil, nil, registry.Refuse(registry.CodeInvalid, "Write an age recipient such as age1…, or a file that lists them.", "%.60q is neither a recipient nor a file that can be read", g)
			}
			text = string(raw)
		}
		if strings.Contains(text, "AGE-SECRET-KEY-") {
			return nil, nil, registry.Refuse(registry.CodeInvalid, "Give its recipient, which \"age-keygen -y\" prints, and keep the secret key away from the registry.", "%.60q holds a secret key", g)
		}
		found, err := age.ParseRecipients(strings.NewReader(text))
		if err != nil {
			return nil, nil, registry.Refuse(registry.CodeInvalid, "\"age-keygen\" makes a key and prints its recipient.", "The recipients in %.60q cannot be read: %v", g, err)
		}
		for _, r := range found {
			out = append(out, r)
			if s, ok := r.(fmt.Stringer); ok {
				names = append(names, s.String())
			}
		}
	}
	return out, names, nil
}

type restoreCommand struct {
	Folder   string `arg:"" type:"path" help:"the folder of the backup"`
	Identity string `required:"" type:"existingfile" help:"file with the age identity that opens it (AGE-SECRET-KEY-…)"`
	Key      string `type:"existingfile" help:"the registry's signing key, if it was kept; without it a new one is made, and the signed history of the old one ends"`
}

// restored is what a restore answers with.
type restored struct {
	Dir   string       `json:"dir"`
	Holds backup.Count `json:"holds"`
	// Present are the files that came back besides: keys, people, settings.
	Present []string `json:"present_files"`
	// Without says why they did not come back, when they did not.
	Without string `json:"without_present,omitempty"`
	// NewKey says that the registry signs with another key from now on.
	NewKey bool        `json:"new_key"`
	Audit  auditReport `json:"audit"`
}

// Run brings a backup back into a new folder and audits it.
func (r *restoreCommand) Run(c *call) error {
	if c.line.Ledger != "" {
		return registry.Refuse(registry.CodeInvalid, "Leave --ledger and ASFOUND_LEDGER away, and bring it from the folder into the cluster with \"asfound move\".", "A backup is brought back into a folder, not into a cluster")
	}
	secret, err := os.Open(r.Identity)
	if err != nil {
		return err
	}
	identities, err := age.ParseIdentities(secret)
	if err = errors.Join(err, secret.Close()); err != nil {
		return registry.Refuse(registry.CodeInvalid, "It is the file that \"age-keygen -o\" wrote.", "The identity in %s cannot be read", r.Identity)
	}
	if _, err := os.Stat(r.Folder); err != nil {
		return registry.Refuse(registry.CodeNotFound, "Check the path.", "There is no folder %s", r.Folder)
	}
	if left, err := os.ReadDir(c.line.Dir); err == nil && len(left) > 0 && !halfRestored(c.line.Dir) {
		return registry.Refuse(registry.CodeConflict, "Choose a new folder with --dir; this one stays as it is.", "The folder %s is not empty, and a restore never writes over a registry", c.line.Dir)
	}
	if err := os.MkdirAll(c.line.Dir, 0o700); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(c.line.Dir, restoringFile), []byte("A backup is being brought back into this folder.\n"), 0o600); err != nil {
		return err
	}
	folder, err := backup.OpenDirectory(r.Folder)
	if err != nil {
		return err
	}
	defer folder.Close()
	s, err := store.Open(c.line.Dir, store.Options{})
	if err != nil {
		return err
	}
	bar := c.progress("commits and files")
	index, count, err := backup.Restore(c.ctx, folder, backup.Target{Ledger: s.Ledger(), Photos: s.Photos(), Private: s.Private()}, identities,
		func(_, _ int, n backup.Count) { bar.at(n.Commits + n.Photos + n.Private) })
	bar.end()
	if err = errors.Join(err, s.Close()); err != nil {
		return err
	}
	out := restored{Dir: c.line.Dir, Holds: count, Present: []string{}}
	err = backup.RestorePresent(c.ctx, folder, index, identities, func(name string, content []byte) error {
		out.Present = append(out.Present, name)
		return takePresent(c.line.Dir, name, content)
	})
	switch registry.CodeOf(err) {
	case registry.CodeNotFound, registry.CodeTampered, registry.CodeRefused: // the ledger is there, and what can be read is read
		out.Without = err.Error()
	default:
		if err != nil {
			return err
		}
	}
	if r.Key != "" {
		raw, err := os.ReadFile(r.Key)
		if err != nil {
			return err
		}
		verifier, err := dossier.VerifierOf(strings.TrimSpace(string(raw)))
		if err != nil || verifier != index.Registry {
			return registry.Refuse(registry.CodeConflict, "Find the key that belongs to it, or leave --key out.", "The key in %s is not that of the registry in the backup", r.Key)
		}
		if err := writeFile(c.keyPath(keyFile), func(w io.Writer) error { _, err := w.Write(raw); return err }); err != nil {
			return err
		}
	}
	if err := os.Remove(filepath.Join(c.line.Dir, restoringFile)); err != nil {
		return err
	}
	o, err := c.open()
	if err != nil {
		return err
	}
	if err := o.Rebuild(c.ctx, func(int) {}); err != nil {
		return err
	}
	audit, err := o.audit(c.ctx, func(int) {})
	if err != nil {
		return err
	}
	out.NewKey, out.Audit = o.verifier != index.Registry, audit
	if err := c.print(out, func(w io.Writer) {
		fmt.Fprintf(w, "Brought back into %s: %d events in %d commits, %d pictures and %d private values.\n", out.Dir, count.Events, count.Commits, count.Photos, count.Private)
		out.presentWords(w)
		if out.NewKey {
			fmt.Fprintf(w, "The registry signs with a NEW key, %s: the signed history of the old one ends here. Tell those who hold its dossiers.\n", dossier.Fingerprint(o.verifier))
		} else {
			fmt.Fprintln(w, "It signs with its old key. If it went on after this backup, what it signed since contradicts what it will sign now: begin with a new key then (leave --key out).")
		}
		audit.words(w)
	}); err != nil {
		return err
	}
	return audit.refused()
}

func (r restored) presentWords(w io.Writer) {
	if r.Without != "" {
		fmt.Fprintf(w, "Keys of private values, people and settings did not come back: %s\n", r.Without)
		return
	}
	fmt.Fprintf(w, "Brought back besides: %d files with the keys of the private values, the people and the settings.\n", len(r.Present))
	if slices.Contains(r.Present, peopleFile) {
		fmt.Fprintln(w, "Everybody must sign in again, and people stand as they did at the backup: whom you let go since, let go again with \"asfound people revoke\".")
	}
}

// restoringFile stands in a folder into which a backup is being brought back,
// so that a restore that was stopped can be started again.
const restoringFile = "restoring"

func halfRestored(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, restoringFile))
	return err == nil
}

type auditCommand struct{}

// auditReport is what an audit found.
type auditReport struct {
	Machines int             `json:"machines"`
	Events   int             `json:"events"`
	Figures  int             `json:"figures"` // recorded estimates that were computed again
	Photos   int             `json:"photos"`
	Private  int             `json:"private_values"`
	Erased   int             `json:"erased_values,omitempty"` // destroyed at a person's wish
	Key      string          `json:"key_fingerprint"`
	Findings []store.Finding `json:"findings"`
}

// Run derives everything from the stored bytes again and says what does not
// agree. When a server has the registry open, it is asked to do so.
func (auditCommand) Run(c *call) error {
	o, err := c.open()
	var report auditReport
	if registry.CodeOf(err) == registry.CodeBusy {
		out, asked, askErr := askServer[auditReport](c, controlRequest{Act: "audit"})
		if !asked {
			return err
		}
		if askErr != nil {
			return askErr
		}
		report = out
	} else {
		if err != nil {
			return err
		}
		bar := c.progress("machines")
		report, err = o.audit(c.ctx, bar.at)
		bar.end()
		if err != nil {
			return err
		}
	}
	if err := c.print(report, report.words); err != nil {
		return err
	}
	return report.refused()
}

func (a auditReport) words(w io.Writer) {
	for _, f := range a.Findings {
		fmt.Fprintf(w, "WRONG  %s\n", f)
	}
	verdict := "all agree"
	if len(a.Findings) > 0 {
		verdict = fmt.Sprintf("%d things do not agree", len(a.Findings))
	}
	fmt.Fprintf(w, "Audited: %d machines, %d events, %d recorded figures, %d pictures, %d private values; %s.\n", a.Machines, a.Events, a.Figures, a.Photos, a.Private, verdict)
	fmt.Fprintf(w, "The registry's key has the fingerprint %s.\n", a.Key)
}

// refused is the error of an audit that found something.
func (a auditReport) refused() error {
	if len(a.Findings) == 0 {
		return nil
	}
	return registry.Refuse(registry.CodeTampered, "Keep the folder as it is, and restore a backup into another one.", "The audit found %d things that do not agree", len(a.Findings))
}

// audit reads every stored byte. The store checks what it keeps; then each
// machine is written as a bundle, which the verifier reads without any store:
// it hashes the events anew, holds them against a signed checkpoint and
// computes every recorded figure again. Every stored file is hashed.
func (o *opened) audit(ctx context.Context, progress func(int)) (auditReport, error) {
	out := auditReport{Key: dossier.Fingerprint(o.verifier), Findings: []store.Finding{}}
	found, err := o.store.Check(ctx, true)
	if err != nil {
		return out, err
	}
	out.Findings = append(out.Findings, found...)
	if found, err = o.auditCluster(ctx); err != nil {
		return out, err
	}
	out.Findings = append(out.Findings, found...)
	for kind, blobs := range map[string]backup.Blobs{"picture": o.photos, "private value": o.vault} {
		n, wrong, err := auditFiles(ctx, kind, blobs)
		if err != nil {
			return out, err
		}
		if kind == "picture" {
			out.Photos = n
		} else {
			out.Private = n
		}
		out.Findings = append(out.Findings, wrong...)
	}
	machines, err := o.machinesInLedger(ctx)
	if err != nil {
		return out, err
	}
	for i, machine := range machines {
		progress(i)
		if err := o.FinishErasures(ctx, machine, false); err != nil {
			if ctx.Err() != nil {
				return out, ctx.Err()
			}
			out.Findings = append(out.Findings, store.Finding{Where: machine, What: "its record cannot be read: " + err.Error()})
			continue
		}
		var bundle bytes.Buffer
		if err := o.writeBundle(ctx, &bundle, machine, false, false); err != nil {
			if ctx.Err() != nil {
				return out, ctx.Err()
			}
			out.Findings = append(out.Findings, store.Finding{Where: machine, What: "its record cannot be written out: " + err.Error()})
			continue
		}
		v, err := dossier.Verify(bytes.NewReader(bundle.Bytes()), int64(bundle.Len()), dossier.VerifyOptions{Keys: []string{o.verifier}})
		if err != nil {
			return out, err
		}
		out.Machines++
		out.Events += v.Events
		out.Figures += v.Estimates
		for _, f := range v.Findings {
			out.Findings = append(out.Findings, store.Finding{Where: machine, What: f.What + " (" + f.Where + ")"})
		}
		erased, lost, err := o.auditPrivate(ctx, machine)
		if err != nil {
			return out, err
		}
		out.Erased += erased
		out.Findings = append(out.Findings, lost...)
		missing, err := o.missingPhotos(ctx, machine)
		if err != nil {
			return out, err
		}
		out.Findings = append(out.Findings, missing...)
	}
	return out, nil
}

// auditPrivate counts the values that were erased, and says which are lost: a
// value or a key that nobody destroyed on purpose.
func (o *opened) auditPrivate(ctx context.Context, machine string) (erased int, lost []store.Finding, err error) {
	d, err := o.Load(ctx, machine, workshop.At{})
	if err != nil {
		return 0, nil, err
	}
	gone, shut := 0, map[string]int{}
	onRecord := registry.Erased(d)
	for digest := range registry.Holders(d, machine) {
		state, holder, err := o.vault.Look(ctx, digest)
		switch {
		case ctx.Err() != nil:
			return 0, nil, ctx.Err()
		case err != nil: // auditFiles says so
		case onRecord[digest], state == store.KeyDestroyed:
			erased++
		case state == store.NotStored:
			gone++
		case state == store.KeyMissing:
			shut[holder]++
		}
	}
	if gone > 0 {
		lost = append(lost, store.Finding{Where: machine, What: fmt.Sprintf("%d of its private values are no longer stored", gone)})
	}
	for _, holder := range slices.Sorted(maps.Keys(shut)) {
		lost = append(lost, store.Finding{Where: machine, What: fmt.Sprintf("the key of %s is missing, and nobody destroyed it on purpose: %d private values cannot be read until the folder keys is put back", holder, shut[holder])})
	}
	return erased, lost, nil
}

// missingPhotos are the pictures that a machine's record names and that are not
// stored.
func (o *opened) missingPhotos(ctx context.Context, machine string) (missing []store.Finding, err error) {
	d, err := o.Load(ctx, machine, workshop.At{})
	if err != nil {
		return nil, err
	}
	for _, p := range registry.Live[*registry.Photo](d) {
		for _, digest := range []string{p.Record.Digest, p.Record.Preview} {
			if digest == "" {
				continue
			}
			has, err := o.Photos.Has(ctx, digest)
			if err != nil {
				return nil, err
			}
			if !has {
				missing = append(missing, store.Finding{Where: machine, What: fmt.Sprintf("the picture %s of %s is no longer stored", digest, p.RecordID())})
			}
		}
	}
	return missing, nil
}

// auditFiles reads every stored file through its digest.
func auditFiles(ctx context.Context, kind string, blobs backup.Blobs) (n int, wrong []store.Finding, err error) {
	err = blobs.Each(ctx, func(digest string, _ int64) error {
		n++
		r, _, err := blobs.Get(ctx, digest)
		if err == nil {
			_, err = io.Copy(io.Discard, r)
			err = errors.Join(err, r.Close())
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil && registry.CodeOf(err) != registry.CodeNotFound {
			wrong = append(wrong, store.Finding{Where: digest, What: "the stored " + kind + " cannot be read as it was: " + err.Error()})
		}
		return nil
	})
	return n, wrong, err
}

// machinesInLedger lists the machines by the ledger itself, not by a view.
func (o *opened) machinesInLedger(ctx context.Context) ([]string, error) {
	var out []string
	err := o.Ledger.ReadAll(ctx, 0, func(r registry.Record) error {
		if r.First == 1 {
			out = append(out, r.Machine)
		}
		return nil
	})
	return out, err
}
