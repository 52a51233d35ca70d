package importers

import (
	"bytes"
	"io"
	"path"
	"strings"

	"example.org/asfound/registry"
)

// readName reads what a photo shows from its name. Without its ending, the name
// is cut at every underscore (or several); each piece is, in this order of
// trying, the id or code of a component, a word of registry.Shown, the id of an
// opening (it begins with "opening-"), the word withhold, or a word of the
// caption. A name in which none of the first three occurs, as cameras give
// them, says nothing and makes no caption.
func readName(name string, a *Anatomy, shows string) *registry.Photo {
	p := &registry.Photo{FileName: name, Shows: shows}
	stem := path.Base(name)
	stem = strings.TrimSuffix(stem, path.Ext(stem))
	var caption []string
	tied := false
	for _, piece := range strings.FieldsFunc(stem, func(r rune) bool { return r == '_' }) {
		piece = strings.TrimSpace(piece)
		word := foldTerm(piece)
		switch ids := a.find(piece); {
		case piece == "":
		case len(ids) == 1:
			p.Components, tied = append(p.Components, ids[0]), true
		case isShown(word):
			p.Shows, tied = word, true
		case strings.HasPrefix(word, "opening-"):
			p.Openings, tied = append(p.Openings, strings.ToLower(piece)), true
		case word == "withhold":
			p.Withhold = true
		default:
			caption = append(caption, piece)
		}
	}
	if tied {
		p.Caption = strings.Join(caption, " ")
	}
	return p
}

func isShown(word string) bool {
	for _, t := range registry.Shown() {
		if t.ID == word {
			return true
		}
	}
	return false
}

func newReader(data []byte) io.ReadSeeker { return bytes.NewReader(data) }
