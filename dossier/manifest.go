package dossier

import (
	"bytes"
	"cmp"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// BundleFormat is the version of the bundle. Readers refuse others.
const BundleFormat = 1

// The editions. Both carry the same events.
const (
	// EditionPublic leaves out names, places, whole numbers and withheld
	// pictures; the events hold only digests of them.
	EditionPublic = "public"
	// EditionPrivate carries the withheld values that are still kept.
	EditionPrivate = "private"
)

// The files of a bundle that are there once.
const (
	fileReadme     = "README.txt"
	fileManifest   = "manifest.json"
	fileSeal       = "manifest-signature.txt"
	fileCheckpoint = "checkpoint.txt"
	fileKey        = "registry-key.txt"
	fileEvents     = "events.jsonl"
)

// Manifest lists what a bundle holds. It is written as canonical JSON (RFC
// 8785) and one newline.
type Manifest struct {
	Format   int    `json:"format"`
	Edition  string `json:"edition"`
	Machine  string `json:"machine"`
	Name     string `json:"name"`
	Invented bool   `json:"invented,omitempty"`
	// Version is the number of events, Head the leaf hash of the last one in
	// hex, Root the root of the Merkle tree in base64.
	Version uint64 `json:"version"`
	Head    string `json:"head"`
	Root    string `json:"root"`
	Origin  string `json:"origin"` // of the checkpoint
	// MadeAt is when the last event was recorded: the bundle is a view of the
	// record and has no time of its own.
	MadeAt time.Time `json:"made_at"`
	// Program and Catalog name what made the bundle, as the maker says.
	Program   string `json:"program"`
	Catalog   string `json:"catalog"`
	Originals bool   `json:"originals,omitempty"` // original pictures are there
	// Files lists every file but the manifest and its signature, in the order
	// of the archive.
	Files    []ManifestFile `json:"files"`
	Withheld Withheld       `json:"withheld"`
}

// ManifestFile is one file with what its bytes must be.
type ManifestFile struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"` // hex
}

// Withheld lists what the events name and the bundle does not hold.
type Withheld struct {
	Photos  []WithheldPhoto `json:"photos"`
	Private []WithheldValue `json:"private"`
}

// WithheldPhoto is a preview that is not in the bundle.
type WithheldPhoto struct {
	Record  string `json:"record"`
	Preview string `json:"preview"` // sha256:…
	Why     string `json:"why"`     // of whyWithheld
}

// WithheldValue is a private document that is not in the bundle.
type WithheldValue struct {
	Digest string `json:"digest"` // sha256:…
	Why    string `json:"why"`
}

// Why something is not in a bundle.
const (
	whyEdition = "withheld from the public edition"
	whyErased  = "no longer kept"
)

// encode gives the manifest's bytes.
func (m Manifest) encode() ([]byte, error) {
	b, err := registry.CanonicalJSON(m)
	return append(b, '\n'), err
}

// readManifest reads a manifest strictly: the only accepted bytes are those
// that encode would give.
func readManifest(data []byte) (Manifest, error) {
	var m Manifest
	var version struct {
		Format int `json:"format"`
	}
	if err := json.Unmarshal(data, &version); err != nil {
		return m, errors.New("it is not JSON")
	}
	if version.Format < 1 {
		return m, errors.New("it does not say which format it has")
	}
	if version.Format > BundleFormat {
		return m, registry.Refuse(registry.CodeUnsupported, "A newer asfound may read it.", "The bundle has format %d; this program reads %d", version.Format, BundleFormat)
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&m); err != nil {
		if key, ok := strings.CutPrefix(err.Error(), "json: unknown field "); ok {
			return m, fmt.Errorf("it holds the key %s, which no manifest holds", shorten(key))
		}
		return m, errors.New("it holds something of another kind than a manifest does")
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return m, errors.New("there is more text after it")
	}
	again, err := m.encode()
	if err != nil {
		return m, err
	}
	if !bytes.Equal(again, data) {
		return m, errors.New("it is not in canonical form")
	}
	return m, nil
}

// sealText is what the registry signs beside the checkpoint: it ties the
// manifest, and through it every file, to the registry's key.
func sealText(manifestDigest string) string {
	return fmt.Sprintf("asfound bundle %d\n%s\n", BundleFormat, manifestDigest)
}

// originalName is the file name of an original picture.
func originalName(digest, mediaType string) string {
	return "originals/" + hexOf(digest) + cmp.Or(workshop.PictureEnding(mediaType), ".bin")
}

func photoName(digest string) string   { return "photos/" + hexOf(digest) + ".jpg" }
func privateName(digest string) string { return "private/" + hexOf(digest) + ".json" }

// hexOf gives the figures of a "sha256:…" digest.
func hexOf(digest string) string { return strings.TrimPrefix(digest, "sha256:") }

// blobDigest reads the digest out of "photos/…", "originals/…" or "private/…".
func blobDigest(name string) (folder, digest string, ok bool) {
	folder, file, found := strings.Cut(name, "/")
	stem, ending, _ := strings.Cut(file, ".")
	if !found || !isHex(stem) {
		return "", "", false
	}
	switch folder {
	case "photos":
		ok = ending == "jpg"
	case "private":
		ok = ending == "json"
	case "originals":
		for _, e := range []string{"jpg", "png", "webp", "tiff", "heic", "pdf", "bin"} {
			ok = ok || ending == e
		}
	}
	return folder, "sha256:" + stem, ok
}

func isHex(s string) bool {
	b, err := hex.DecodeString(s)
	return err == nil && len(b) == 32 && strings.ToLower(s) == s
}

// once says whether a name is one of the files that are there once.
func once(name string) bool {
	switch name {
	case fileReadme, fileManifest, fileSeal, fileCheckpoint, fileKey, fileEvents:
		return true
	}
	return false
}
