package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/oklog/ulid/v2"

	"example.org/asfound/access"
	"example.org/asfound/catalog"
	"example.org/asfound/dossier"
	"example.org/asfound/importers"
	"example.org/asfound/registry"
	"example.org/asfound/schema"
	"example.org/asfound/store"
	"example.org/asfound/store/node"
	"example.org/asfound/workshop"
)

// keyFile holds the registry's signing key, beside the ledger and not in it.
// publicKeyFile holds its public half: without it, a key that was lost would be
// replaced by another one and nobody would notice.
const (
	keyFile       = "registry.key"
	publicKeyFile = "registry.pub"
)

// opened is an open registry.
type opened struct {
	*workshop.Workshop
	store    *store.Store // in the folder; a node's copy when a cluster keeps the ledger
	node     *node.Node   // nil when the folder itself keeps the ledger
	shared   []io.Closer  // the folders of --blobs
	photos   node.Files   // wherever they are kept; the workshop's may be counted
	vault    *store.Vault
	people   access.Store // of a cluster; nil when the folder itself keeps the ledger
	catalog  *catalog.Catalog
	signer   string
	verifier string
}

// open opens the registry once; later commands of the same run share it.
func (c *call) open() (*opened, error) {
	if c.opened != nil {
		return c.opened, nil
	}
	// The catalog is read while the registry is opened. A new registry is made
	// only with a catalog that can be read.
	load := sync.OnceValues(c.loadCatalog)
	go load()
	if !store.Exists(c.line.Dir) {
		if _, err := load(); err != nil {
			return nil, err
		}
	}
	schemas, err := schema.Compile()
	if err != nil {
		return nil, err
	}
	if err := refuseMoved(c.line.Dir); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(c.line.Dir, 0o700); err != nil {
		return nil, registry.Refuse(registry.CodeInvalid, "Choose another folder with --dir.", "The registry's folder %s cannot be made: %v", c.line.Dir, errors.Unwrap(err))
	}
	s, err := store.Open(c.line.Dir, store.Options{Warn: func(m string) { fmt.Fprintf(c.Stderr, "asfound: storage: %s\n", m) }})
	if err != nil {
		return nil, err
	}
	knowledge, err := load()
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	o := &opened{store: s, photos: s.Photos(), vault: s.Private(), catalog: knowledge, Workshop: &workshop.Workshop{Ledger: s.Ledger(), Views: s.Views(),
		Catalog: knowledge, Schemas: schemas, Now: c.Now, NewID: newIDs(c.Now, c.Random), Random: c.Random, Scratch: s.Scratch}}
	if err := c.join(o); err != nil {
		return nil, err
	}
	o.Photos, o.Private = o.photos, o.vault
	if o.signer, o.verifier, err = c.key(); err != nil {
		return nil, errors.Join(err, o.Ledger.Close())
	}
	o.Registry = dossier.KeyName(o.verifier)
	if err := o.settleVault(c.ctx); err != nil {
		fmt.Fprintf(c.Stderr, "asfound: storage: %v\n", err)
	}
	c.opened = o
	return o, nil
}

// loadCatalog loads the catalog with the packs that are laid over it.
func (c *call) loadCatalog() (*catalog.Catalog, error) {
	var packs []fs.FS
	for _, p := range c.line.Packs {
		if p = strings.TrimSpace(p); p != "" {
			if info, err := os.Stat(p); err != nil || !info.IsDir() {
				return nil, registry.Refuse(registry.CodeInvalid, "Check the path and its rights.", "There is no folder %s to read a pack from", p)
			}
			packs = append(packs, os.DirFS(p))
		}
	}
	return catalog.Load(packs...)
}

// workshop opens the registry and gives its application.
func (c *call) workshop() (*workshop.Workshop, error) {
	o, err := c.open()
	if err != nil {
		return nil, err
	}
	return o.Workshop, nil
}

func (a *app) close() {
	if a.opened != nil {
		err := a.opened.Ledger.Close()
		for _, folder := range a.opened.shared {
			err = errors.Join(err, folder.Close())
		}
		if err != nil {
			fmt.Fprintf(a.Stderr, "asfound: closing the registry: %v\n", err)
		}
		a.opened = nil
	}
	for _, end := range a.atEnd {
		if err := end(); err != nil {
			fmt.Fprintf(a.Stderr, "asfound: %v\n", err)
		}
	}
	a.atEnd = nil
}

// newIDs makes identifiers that rise with time and are unique.
func newIDs(now func() time.Time, random io.Reader) func() string {
	var mu sync.Mutex
	entropy := ulid.Monotonic(random, 0)
	return func() string {
		mu.Lock()
		defer mu.Unlock()
		id, err := ulid.New(ulid.Timestamp(now()), entropy)
		if err != nil {
			panic("cli: no identifier can be made: " + err.Error())
		}
		return strings.ToLower(id.String())
	}
}

// keyPath is where a file of the registry's key lies: in its own folder, or in
// one that it shares with the other nodes of its cluster.
func (c *call) keyPath(name string) string {
	if c.line.KeyFolder != "" {
		return filepath.Join(c.line.KeyFolder, name)
	}
	return filepath.Join(c.line.Dir, name)
}

// key reads the registry's signing key, or makes it at the first use.
func (c *call) key() (signer, verifier string, err error) {
	name := c.keyPath(keyFile)
	raw, err := os.ReadFile(name)
	public, pubErr := os.ReadFile(c.keyPath(publicKeyFile))
	if pubErr != nil && !errors.Is(pubErr, fs.ErrNotExist) {
		return "", "", pubErr
	}
	if errors.Is(err, fs.ErrNotExist) && pubErr == nil {
		return "", "", registry.Refuse(registry.CodeTampered, "Put "+keyFile+" back from the copy that was kept apart, or, if it is lost, say \"asfound key replace --because lost\".",
			"The registry's signing key is missing from %s; its fingerprint was %s", filepath.Dir(name), dossier.Fingerprint(strings.TrimSpace(string(public))))
	}
	if errors.Is(err, fs.ErrNotExist) {
		if err := c.noNewKey; err != nil {
			return "", "", err
		}
		id := make([]byte, 5)
		if _, err := io.ReadFull(c.Random, id); err != nil {
			return "", "", err
		}
		signer, verifier, err := dossier.NewKey(c.Random, fmt.Sprintf("asfound-%x", id))
		if err != nil {
			return "", "", err
		}
		return signer, verifier, c.writeKey(signer, verifier)
	}
	if err != nil {
		return "", "", err
	}
	signer = strings.TrimSpace(string(raw))
	if verifier, err = dossier.VerifierOf(signer); err != nil {
		return "", "", registry.Refuse(registry.CodeTampered, "Put it back from the copy that was kept apart.", "The registry's signing key in %s cannot be read", name)
	}
	if errors.Is(pubErr, fs.ErrNotExist) {
		return signer, verifier, c.writeKey(signer, verifier) // from before the public half was kept
	}
	if strings.TrimSpace(string(public)) != verifier {
		return "", "", registry.Refuse(registry.CodeTampered, "Put the right one back, or, if it was changed on purpose, say \"asfound key replace\" with the old one in place.",
			"%s and %s do not belong together: the signing key is not the one that this registry has used", keyFile, publicKeyFile)
	}
	return signer, verifier, nil
}

// writeKey writes both halves of the registry's key, the secret one first.
func (c *call) writeKey(signer, verifier string) error {
	line := func(name, text string) error {
		return writeFile(c.keyPath(name), func(w io.Writer) error {
			_, err := io.WriteString(w, text+"\n")
			return err
		})
	}
	if err := os.MkdirAll(filepath.Dir(c.keyPath(keyFile)), 0o700); err != nil {
		return err
	}
	if err := line(keyFile, signer); err != nil {
		return err
	}
	return line(publicKeyFile, verifier)
}

// anatomy is what the importers must know.
func (o *opened) anatomy() *importers.Anatomy { return anatomyOf(o.catalog) }

func anatomyOf(knowledge *catalog.Catalog) *importers.Anatomy {
	var components []importers.Component
	for _, c := range knowledge.ComponentsInWalk() {
		components = append(components, importers.Component{ID: c.ID, Code: c.Code, Name: c.Name, Group: c.GroupName})
	}
	var assemblies []string
	for _, a := range knowledge.Assemblies() {
		assemblies = append(assemblies, a.ID)
	}
	return importers.NewAnatomy(components, assemblies, knowledge.Rules().Signs)
}

// writePDF writes a machine's dossier for reading.
func (o *opened) writePDF(ctx context.Context, w io.Writer, machine string, public bool) error {
	r, err := o.Report(ctx, machine, workshop.ReportOptions{Public: public})
	if err != nil {
		return err
	}
	in := dossier.PDFInput{Language: saidIn(ctx), Report: r, Program: "asfound " + Version, Preview: o.photo(ctx), Key: o.verifier}
	events, err := o.Events(ctx, machine)
	if err != nil {
		return err
	}
	history := registry.History{Machine: machine}
	for _, event := range events {
		if _, err := history.Add(event); err != nil {
			return err
		}
	}
	if in.Root, err = history.Tree().Root(history.Tree().Size()); err != nil {
		return err
	}
	if in.Origin, err = dossier.Origin(dossier.KeyName(o.verifier), machine); err != nil {
		return err
	}
	return dossier.WritePDF(w, in)
}

// writeCondition writes a machine's condition report.
func (o *opened) writeCondition(ctx context.Context, w io.Writer, machine string, public bool) error {
	r, err := o.Report(ctx, machine, workshop.ReportOptions{Public: public})
	if err != nil {
		return err
	}
	return dossier.WriteCondition(w, dossier.PDFInput{Language: saidIn(ctx), Report: r, Program: "asfound " + Version, Preview: o.photo(ctx), Key: o.verifier})
}

// writeBundle writes a machine's dossier for checking.
func (o *opened) writeBundle(ctx context.Context, w io.Writer, machine string, public, originals bool) error {
	if _, err := o.Load(ctx, machine, workshop.At{}); err != nil {
		return err
	}
	events, err := o.Events(ctx, machine)
	if err != nil {
		return err
	}
	in := dossier.BundleInput{Events: events, Edition: dossier.EditionPrivate, Originals: originals, Signer: o.signer,
		Program: "asfound " + Version, Catalog: o.catalog.Identity().String(), Photo: o.photo(ctx),
		Private: func(digest string) ([]byte, error) {
			r, _, err := o.Private.Get(ctx, digest)
			if err != nil {
				return nil, err
			}
			defer r.Close()
			return io.ReadAll(r)
		}}
	if public {
		in.Edition, in.Originals = dossier.EditionPublic, false
	}
	return dossier.WriteBundle(w, in)
}

func (o *opened) photo(ctx context.Context) func(digest string) (io.ReadCloser, error) {
	return func(digest string) (io.ReadCloser, error) {
		r, _, err := o.Photos.Get(ctx, digest)
		return r, err
	}
}

// loaded opens the registry and a machine's record as it stands.
func (c *call) loaded(machine string) (*workshop.Workshop, *registry.Dossier, error) {
	w, err := c.workshop()
	if err != nil {
		return nil, nil, err
	}
	d, err := w.Load(c.ctx, machine, workshop.At{})
	return w, d, err
}
