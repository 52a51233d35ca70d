package dossier

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"hash/crc32"
	"io"
	"slices"
	"time"

	"example.org/asfound/registry"
)

// BundleInput is what a bundle is made of.
type BundleInput struct {
	// Events are the stored bytes of the machine's whole history, in order.
	Events [][]byte
	// Edition is EditionPublic or EditionPrivate.
	Edition string
	// Originals asks for the original pictures too, with all that the camera
	// wrote into them; only in the private edition.
	Originals bool
	// Signer is the registry's secret key line; see NewKey. Its name and the
	// machine make the checkpoint's origin.
	Signer string
	// Program and Catalog name the program and the catalog, with versions.
	Program, Catalog string
	// Photo opens a picture by digest; called twice for each. CodeNotFound
	// says that it is no longer kept, which the bundle then says too.
	Photo func(digest string) (io.ReadCloser, error)
	// Private gives the bytes of a sealed document by digest, with CodeNotFound
	// as above. Not called for the public edition.
	Private func(digest string) ([]byte, error)
}

// content is a file that is about to be written.
type content struct {
	ManifestFile
	crc  uint32
	open func() (io.ReadCloser, error)
}

// WriteBundle writes a bundle. The same input gives the same bytes. Pictures
// are streamed, so memory does not grow with them. Codes: CodeInvalid for an
// input that makes no bundle, CodeTampered when the events are not a history
// or a picture or document is not the one recorded, CodeUnsupported for events
// of a newer program, CodeTooLarge above 4 GB.
func WriteBundle(w io.Writer, in BundleInput) error {
	files, manifest, err := plan(in)
	if err != nil {
		return err
	}
	verifier, err := VerifierOf(in.Signer)
	if err != nil {
		return err
	}
	checkpoint, err := SignCheckpoint(Checkpoint{manifest.Origin, int64(manifest.Version), manifest.Root}, in.Signer)
	if err != nil {
		return err
	}
	var events bytes.Buffer
	for _, e := range in.Events {
		events.Write(e)
		events.WriteByte('\n')
	}
	files = slices.Concat([]content{
		memory(fileReadme, []byte(readme(manifest, verifier))),
		memory(fileCheckpoint, checkpoint),
		memory(fileKey, []byte(verifier+"\n")),
		memory(fileEvents, events.Bytes()),
	}, files)
	for _, f := range files {
		manifest.Files = append(manifest.Files, f.ManifestFile)
	}
	listed, err := manifest.encode()
	if err != nil {
		return err
	}
	seal, err := signNote(sealText(digestOf(listed)), in.Signer)
	if err != nil {
		return err
	}
	// The reader's eye falls on the first files; the bulk comes last.
	files = slices.Insert(files, 1, memory(fileManifest, listed), memory(fileSeal, seal))

	p := newPacker(w, manifest.MadeAt)
	for _, f := range files {
		if err := writeContent(p, f); err != nil {
			return fmt.Errorf("write %s: %w", f.Name, err)
		}
	}
	return p.close()
}

func writeContent(p *packer, f content) error {
	r, err := f.open()
	if err != nil {
		return err
	}
	defer r.Close()
	return p.add(f.Name, f.Bytes, f.crc, r)
}

// plan reads the history and decides which pictures and documents go in.
func plan(in BundleInput) ([]content, Manifest, error) {
	m := Manifest{Format: BundleFormat, Edition: in.Edition, Program: in.Program, Catalog: in.Catalog, Originals: in.Originals,
		Withheld: Withheld{Photos: []WithheldPhoto{}, Private: []WithheldValue{}}}
	switch {
	case in.Edition != EditionPublic && in.Edition != EditionPrivate:
		return nil, m, registry.Refuse(registry.CodeInvalid, "Ask for public or private.", "There is no edition %q", in.Edition)
	case in.Originals && in.Edition == EditionPublic:
		return nil, m, registry.Refuse(registry.CodeInvalid, "Ask for the private edition.", "The public edition never holds original pictures: they carry what the camera wrote")
	case len(in.Events) == 0:
		return nil, m, registry.Refuse(registry.CodeInvalid, "Take the machine in first.", "There is no event to put into a bundle")
	}
	var h registry.History
	d := registry.NewDossier("")
	var private []string
	for _, event := range in.Events {
		e, err := h.Add(event)
		if err != nil {
			return nil, m, err
		}
		if bytes.ContainsRune(event, '\n') {
			return nil, m, registry.Refuse(registry.CodeTampered, "", "Event %d has a line break in it", e.Version)
		}
		body, err := registry.DecodeBody(e.Kind, e.Schema, e.Body)
		if err != nil {
			return nil, m, err
		}
		d.Apply(metaOf(e, h.Last()), body)
		private = append(private, privateDigests(body)...)
		m.MadeAt = e.Recorded
	}
	root, err := h.Tree().Root(h.Tree().Size())
	if err != nil {
		return nil, m, err
	}
	verifier, err := VerifierOf(in.Signer)
	if err != nil {
		return nil, m, err
	}
	if m.Origin, err = Origin(KeyName(verifier), h.Machine); err != nil {
		return nil, m, err
	}
	m.Machine, m.Version, m.Head, m.Root = h.Machine, h.Version(), h.Last(), root
	if machine, ok := d.MachineRecord(); ok {
		m.Name, m.Invented = machine.Name(), machine.Invented
	}
	files, err := planPhotos(in, d, &m)
	if err != nil {
		return nil, m, err
	}
	documents, err := planPrivate(in, private, &m)
	return append(files, documents...), m, err
}

func metaOf(e registry.Envelope, hash string) registry.Meta {
	return registry.Meta{Version: e.Version, ID: e.ID, Recorded: e.Recorded, Actor: e.Actor, Kind: e.Kind, Hash: hash}
}

// privateDigests lists the sealed values of a body.
func privateDigests(b registry.Body) (digests []string) {
	for _, p := range registry.Privates(b) {
		if p.Digest != "" {
			digests = append(digests, p.Digest)
		}
	}
	return digests
}

// publicPhotos gives the previews that a public edition may show: those of
// photo records in force of which none withholds the picture. A picture that
// only a superseded or withdrawn record names is not shown.
func publicPhotos(d *registry.Dossier) map[string]bool {
	show := map[string]bool{}
	for _, p := range registry.Live[*registry.Photo](d) {
		if _, known := show[p.Record.Preview]; !known {
			show[p.Record.Preview] = true
		}
		if p.Record.Withhold {
			show[p.Record.Preview] = false
		}
	}
	return show
}

// planPhotos measures the pictures and notes which are not in the bundle.
func planPhotos(in BundleInput, d *registry.Dossier, m *Manifest) ([]content, error) {
	var previews, originals []content
	show := publicPhotos(d)
	seen := map[string]bool{}
	for _, p := range registry.All[*registry.Photo](d) {
		withheld := ""
		if in.Edition == EditionPublic && !show[p.Record.Preview] {
			withheld = whyEdition
		}
		if preview := p.Record.Preview; preview != "" && withheld == "" && !seen[photoName(preview)] {
			f, err := measure(photoName(preview), preview, in.Photo)
			switch {
			case registry.CodeOf(err) == registry.CodeNotFound:
				withheld = whyErased
			case err != nil:
				return nil, fmt.Errorf("photo %s: %w", p.RecordID(), err)
			default:
				seen[f.Name] = true
				previews = append(previews, f)
			}
		}
		if p.Record.Preview != "" && withheld != "" {
			m.Withheld.Photos = append(m.Withheld.Photos, WithheldPhoto{p.RecordID(), p.Record.Preview, withheld})
		}
		if name := originalName(p.Record.Digest, p.Record.MediaType); in.Originals && !seen[name] {
			f, err := measure(name, p.Record.Digest, in.Photo)
			if registry.CodeOf(err) == registry.CodeNotFound {
				continue
			}
			if err != nil {
				return nil, fmt.Errorf("original of photo %s: %w", p.RecordID(), err)
			}
			seen[name] = true
			originals = append(originals, f)
		}
	}
	return append(previews, originals...), nil
}

// planPrivate gathers the sealed documents and notes which are not there.
func planPrivate(in BundleInput, digests []string, m *Manifest) (files []content, err error) {
	seen := map[string]bool{}
	for _, digest := range digests {
		if seen[digest] {
			continue
		}
		seen[digest] = true
		why := whyEdition
		if in.Edition == EditionPrivate {
			doc, err := in.Private(digest)
			switch {
			case registry.CodeOf(err) == registry.CodeNotFound:
				why = whyErased
			case err != nil:
				return nil, fmt.Errorf("withheld value %s: %w", digest, err)
			case digestOf(doc) != digest:
				return nil, registry.Refuse(registry.CodeTampered, "Restore it from a backup.", "The withheld value %s is not the one recorded", digest)
			default:
				files = append(files, memory(privateName(digest), doc))
				continue
			}
		}
		m.Withheld.Private = append(m.Withheld.Private, WithheldValue{digest, why})
	}
	return files, nil
}

// memory is a file whose bytes are at hand.
func memory(name string, b []byte) content {
	return content{ManifestFile{name, int64(len(b)), hexOf(digestOf(b))}, crc32.ChecksumIEEE(b),
		func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(b)), nil }}
}

// measure reads a picture once for its size and sums.
func measure(name, digest string, open func(string) (io.ReadCloser, error)) (content, error) {
	r, err := open(digest)
	if err != nil {
		return content{}, err
	}
	defer r.Close()
	sum, crc := sha256.New(), crc32.NewIEEE()
	n, err := io.Copy(io.MultiWriter(sum, crc), r)
	if err != nil {
		return content{}, err
	}
	if got := hex.EncodeToString(sum.Sum(nil)); got != hexOf(digest) {
		return content{}, registry.Refuse(registry.CodeTampered, "Restore it from a backup.", "The picture that is kept as %s is another one", digest)
	}
	return content{ManifestFile{name, n, hexOf(digest)}, crc.Sum32(), func() (io.ReadCloser, error) { return open(digest) }}, nil
}

func digestOf(b []byte) string {
	sum := sha256.Sum256(b)
	return "sha256:" + hex.EncodeToString(sum[:])
}

// date writes the day of a time, in UTC.
func date(t time.Time) string { return t.UTC().Format(time.DateOnly) }
