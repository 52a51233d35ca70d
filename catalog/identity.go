package catalog

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"slices"
	"strings"
)

// HouseVersion is the version of the embedded data. It changes whenever they
// do; a test compares it with their digest.
const HouseVersion = "1.5.0"

// Identity names exactly which catalog was in force.
type Identity struct {
	House string         `json:"house"`
	Packs []PackIdentity `json:"packs"` // in the order in which they were laid
	// Digest is over everything that was in force after the last pack:
	// "sha256:" and 64 hex figures.
	Digest string `json:"digest"`
}

// PackIdentity names a pack.
type PackIdentity struct {
	ID      string `json:"id"`
	Version string `json:"version"`
	Title   string `json:"title"`
	Author  string `json:"author"`
}

// String is what an estimate records, such as
// "house 1.0.0, aldmouth-singles 0.2.0, sha256:…".
func (i Identity) String() string {
	parts := []string{"house " + i.House}
	for _, p := range i.Packs {
		parts = append(parts, p.ID+" "+p.Version)
	}
	return strings.Join(append(parts, i.Digest), ", ")
}

// Identity names the catalog.
func (c *Catalog) Identity() Identity {
	i := c.identity
	i.Packs = slices.Clone(i.Packs)
	return i
}

// digest is over the JSON of all tables; maps are written with sorted keys, so
// that equal content gives an equal digest.
func (c *Catalog) digest() (string, error) {
	h := sha256.New()
	e := json.NewEncoder(h)
	for _, rows := range []any{c.groups.rows, c.components.rows, c.assemblies.rows, c.priors.rows, c.signs.rows, c.survey.rows,
		c.treatments.rows, c.cautions.rows, c.conditions.rows, c.standpoints.rows, c.gates.rows, c.openings.rows, c.photos.rows, c.words.rows, c.value.rows,
		c.causes.rows, c.observations.rows, c.tests.rows, c.complaints.rows,
		c.measures.rows, c.published.rows,
		c.threads.rows, c.threadConfusions.rows, c.grades.rows, c.lubrications.rows, c.schemes.rows, c.misreadings.rows, c.numberSeries.rows, c.bench.rows} {
		if err := e.Encode(rows); err != nil {
			return "", err
		}
	}
	return "sha256:" + hex.EncodeToString(h.Sum(nil)), nil
}
