package dossier

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"example.org/asfound/registry"
)

// rawJSON is JSON that is marshalled as it stands.
type rawJSON = json.RawMessage

// checkPhotos compares pictures with the digests in the photo events, and the
// list of withheld ones with what is not there.
func (c *check) checkPhotos() {
	show := publicPhotos(c.dossier)
	photos := registry.All[*registry.Photo](c.dossier)
	of := map[string]registry.Found[*registry.Photo]{} // hex digest → the first record of it
	for _, p := range photos {
		for _, digest := range []string{p.Record.Preview, p.Record.Digest} {
			if _, known := of[hexOf(digest)]; !known {
				of[hexOf(digest)] = p
			}
		}
	}
	withheld := map[[2]string]string{}
	for _, w := range c.manifest.Withheld.Photos {
		key := [2]string{w.Record, w.Preview}
		if _, twice := withheld[key]; twice {
			c.find(FindingManifest, fileManifest, "It lists the photo %s as withheld twice", shorten(w.Record))
		}
		withheld[key] = w.Why
	}
	c.report.WithheldPhotos = len(withheld)
	named := map[string]bool{}
	for _, p := range photos {
		if p.Record.Preview == "" {
			continue
		}
		name, public := photoName(p.Record.Preview), c.manifest.Edition == EditionPublic
		key := [2]string{p.RecordID(), p.Record.Preview}
		why, listed := withheld[key]
		delete(withheld, key)
		_, there := c.files[name]
		if !named[name] && there {
			c.report.Photos += c.checkBlob(name, p, of)
		}
		named[name] = true
		hidden := public && !show[p.Record.Preview]
		switch {
		case !c.listed:
		case there && hidden:
			c.find(FindingEdition, name, "The picture of %s is withheld, and this is the public edition", photoWords(p))
		case there && listed:
			c.find(FindingManifest, fileManifest, "It lists %s as withheld, and the picture is there", photoWords(p))
		case !there && !listed:
			c.find(FindingMissing, name, "The picture of %s is not in the bundle, and the manifest does not say why", photoWords(p))
		case listed && (why == whyEdition) != hidden || listed && why != whyEdition && why != whyErased:
			c.find(FindingManifest, fileManifest, "It gives a wrong reason why the picture of %s is not there", photoWords(p))
		}
	}
	for _, p := range photos {
		name := originalName(p.Record.Digest, p.Record.MediaType)
		if _, there := c.files[name]; there && !named[name] {
			c.report.Originals += c.checkBlob(name, p, of)
			named[name] = true
		}
	}
	for _, w := range c.manifest.Withheld.Photos {
		if _, left := withheld[[2]string{w.Record, w.Preview}]; left {
			c.unnamed(FindingManifest, fileManifest, fmt.Sprintf("It lists a photo %s as withheld that no event names", shorten(w.Record)))
		}
	}
	for _, name := range c.order {
		folder, _, _ := blobDigest(name)
		if folder == "originals" && c.listed && !(c.manifest.Originals && c.manifest.Edition == EditionPrivate) {
			c.find(FindingEdition, name, "It is an original picture, and this edition holds none")
		}
		if (folder == "photos" || folder == "originals") && !named[name] {
			c.unnamed(FindingUnknown, name, "No event names this picture")
		}
	}
}

// unnamed is a finding, unless events that cannot be read here may name it.
func (c *check) unnamed(code, where, what string) {
	if len(c.report.NotRead) > 0 {
		c.note("%s: %s; an event of a newer program may.", where, what)
		return
	}
	c.find(code, where, "%s", what)
}

// checkBlob compares a picture with its name, which is its digest, and gives 1
// when it is right.
func (c *check) checkBlob(name string, p registry.Found[*registry.Photo], of map[string]registry.Found[*registry.Photo]) int {
	f := c.files[name]
	_, digest, _ := blobDigest(name)
	if f.sha256 == hexOf(digest) {
		return 1
	}
	if other, ok := of[f.sha256]; ok && other.RecordID() != p.RecordID() {
		c.find(FindingPhoto, name, "It should show %s, and holds the picture of %s", photoWords(p), photoWords(other))
	} else {
		c.find(FindingPhoto, name, "It is not the picture that was recorded as %s", photoWords(p))
	}
	return 0
}

// photoWords names a photo by record and caption.
func photoWords(p registry.Found[*registry.Photo]) string {
	if p.Record.Caption == "" {
		return "photo " + p.RecordID()
	}
	return fmt.Sprintf("photo %s (%q)", p.RecordID(), shorten(p.Record.Caption))
}

// checkPrivate compares the sealed documents with the digests in the events.
func (c *check) checkPrivate() {
	values := map[string]string{}
	named := map[string]bool{}
	withheld := map[string]string{}
	for _, w := range c.manifest.Withheld.Private {
		if _, twice := withheld[w.Digest]; twice {
			c.find(FindingManifest, fileManifest, "It lists the value %s as withheld twice", shorten(w.Digest))
		}
		withheld[w.Digest] = w.Why
	}
	c.report.WithheldPrivate = len(withheld)
	for _, l := range c.lines {
		if l.body == nil {
			continue
		}
		for _, digest := range privateDigests(l.body) {
			if named[digest] {
				continue
			}
			named[digest] = true
			f, there := c.files[privateName(digest)]
			why, listed := withheld[digest]
			delete(withheld, digest)
			switch {
			case !c.listed && !there:
			case there && c.manifest.Edition == EditionPublic:
				c.find(FindingEdition, privateName(digest), "It is a withheld value, and this is the public edition")
			case there && listed:
				c.find(FindingManifest, fileManifest, "It lists the value %s as withheld, and it is there", digest)
			case there:
				if value, ok := c.openPrivate(digest, f, l); ok {
					values[digest] = value
					c.report.Private++
				}
			case !listed:
				c.find(FindingMissing, privateName(digest), "The withheld value of event %d is not in the bundle, and the manifest does not say why", l.event.Version)
			case (why == whyEdition) != (c.manifest.Edition == EditionPublic) || why != whyEdition && why != whyErased:
				c.find(FindingManifest, fileManifest, "It gives a wrong reason why the value %s is not there", digest)
			}
		}
	}
	for _, w := range c.manifest.Withheld.Private {
		if _, left := withheld[w.Digest]; left {
			c.unnamed(FindingManifest, fileManifest, fmt.Sprintf("It lists a value %s as withheld that no event names", shorten(w.Digest)))
		}
	}
	for _, name := range c.order {
		if folder, digest, _ := blobDigest(name); folder == "private" && !named[digest] {
			c.unnamed(FindingUnknown, name, "No event names this value")
		}
	}
	// The masked number that the public sees is made of the whole one.
	for _, m := range registry.All[*registry.Machine](c.dossier) {
		for _, n := range m.Record.Numbers {
			if value, ok := values[n.AsRead.Digest]; ok && n.Masked != registry.Mask(value) {
				c.find(FindingPrivate, privateName(n.AsRead.Digest), "The masked %s number %q is not made of this one", shorten(n.Where), shorten(n.Masked))
			}
		}
	}
}

func (c *check) openPrivate(digest string, f *file, l line) (string, bool) {
	name := privateName(digest)
	if f.sha256 != hexOf(digest) {
		c.find(FindingPrivate, name, "It is not the value that event %d (%s) withholds", l.event.Version, l.event.Kind)
		return "", false
	}
	var doc registry.PrivateDocument
	dec := json.NewDecoder(bytes.NewReader(f.data))
	dec.DisallowUnknownFields()
	err := dec.Decode(&doc)
	if err == nil {
		if _, tail := dec.Token(); !errors.Is(tail, io.EOF) {
			err = errors.New("there is more text after it")
		}
	}
	if err != nil || len(doc.Salt) < 32 {
		c.find(FindingPrivate, name, "It is not a salted value")
		return "", false
	}
	return doc.Value, true
}

// checkRecords recomputes the digests of what the owner was asked and every
// recorded figure.
func (c *check) checkRecords() {
	for i, l := range c.lines {
		var estimates []registry.NamedEstimate
		switch b := l.body.(type) {
		case *registry.Claim:
			if b.Estimate != nil {
				estimates = []registry.NamedEstimate{{Of: b.Component + "/" + string(b.Proposition), Estimate: *b.Estimate}}
			}
		case *registry.Transfer:
			c.checkTransfer(i, l, b)
		case *registry.SurveySeal:
			estimates = b.Indices
		case *registry.Weighing:
			estimates = b.Effects
		case *registry.Proposal:
			estimates = b.Offer.Shown
			c.checkOffer(i, l, b.Digest)
		case *registry.ChangeRequest:
			estimates = b.Offer.Shown
			c.checkOffer(i, l, b.Digest)
		}
		for _, e := range estimates {
			c.checkEstimate(i, l, e)
		}
	}
}

// checkOffer recomputes an offer's digest from the stored bytes.
func (c *check) checkOffer(i int, l line, digest string) {
	var body struct {
		Offer rawJSON `json:"offer"`
	}
	if err := json.Unmarshal(l.event.Body, &body); err != nil {
		return // the body was read before
	}
	canonical, err := registry.CanonicalJSON(body.Offer)
	if err != nil || digestOf(canonical) != digest {
		c.find(FindingOffer, c.where(i, l), "The offer %s has not the digest that stands beside it: it is not what the owner was asked", shorten(registry.IDOf(l.body)))
		return
	}
	c.report.Offers++
}

// checkEstimate runs the recorded method on the recorded input.
func (c *check) checkEstimate(i int, l line, e registry.NamedEstimate) {
	what := fmt.Sprintf("%s of %s (%s)", shorten(e.Of), shorten(registry.IDOf(l.body)), shorten(e.Method))
	result, err := c.opts.compute(e.Method, e.Input)
	if registry.CodeOf(err) == registry.CodeUnsupported {
		c.report.NotRecomputed = append(c.report.NotRecomputed, what+": the method is not known here")
		return
	}
	if err != nil {
		c.find(FindingEstimate, c.where(i, l), "The figure %s cannot be computed from its input: %s", what, plain(err))
		return
	}
	got, err1 := registry.CanonicalJSON(rawJSON(result))
	recorded, err2 := registry.CanonicalJSON(e.Result)
	if err := errors.Join(err1, err2); err != nil || !bytes.Equal(got, recorded) {
		c.find(FindingEstimate, c.where(i, l), "The figure %s is not what its method gives for its input", what)
		return
	}
	c.report.Estimates++
}
