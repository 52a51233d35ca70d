package dossier

import (
	"encoding/binary"

	"github.com/go-fonts/dejavu/dejavusanscondensed"
	"github.com/go-fonts/dejavu/dejavusanscondensedbold"
	"github.com/go-fonts/dejavu/dejavusansmono"
)

// The faces of the document. Only the glyphs that are used are embedded.
const (
	faceText = "text"
	faceBold = "bold"
	faceMono = "mono"
)

// faces gives the font files.
func faces() map[string][]byte {
	return map[string][]byte{faceText: dejavusanscondensed.TTF, faceBold: dejavusanscondensedbold.TTF, faceMono: dejavusansmono.TTF}
}

// noGlyph stands for a character that the face lacks.
const noGlyph = '□'

// coverage reads from a TrueType file which characters of the Basic
// Multilingual Plane have a glyph: the format 4 subtable of its cmap table, as
// the OpenType specification lays it out. A file that cannot be read covers
// nothing.
func coverage(ttf []byte) [1 << 16]bool {
	var has [1 << 16]bool
	u16 := func(b []byte, at int) int {
		if at < 0 || at+2 > len(b) {
			return 0
		}
		return int(binary.BigEndian.Uint16(b[at:]))
	}
	u32 := func(b []byte, at int) int { return u16(b, at)<<16 | u16(b, at+2) }
	from := func(b []byte, at int) []byte { return b[min(max(at, 0), len(b)):] }
	var cmap []byte
	for i := range u16(ttf, 4) {
		if at := 12 + 16*i; at+16 <= len(ttf) && string(ttf[at:at+4]) == "cmap" {
			cmap = from(ttf, u32(ttf, at+8))
		}
	}
	for i := range u16(cmap, 2) {
		t := from(cmap, u32(cmap, 4+8*i+4))
		if u16(t, 0) != 4 {
			continue
		}
		segments := u16(t, 6) / 2
		for s := range segments {
			end, start := u16(t, 14+2*s), u16(t, 16+2*segments+2*s)
			delta, offset := u16(t, 16+4*segments+2*s), u16(t, 16+6*segments+2*s)
			for r := start; r <= end && r < 0xFFFF; r++ {
				glyph := r
				if offset != 0 {
					glyph = u16(t, 16+6*segments+2*s+offset+2*(r-start))
					if glyph == 0 {
						continue
					}
				}
				if (glyph+delta)&0xFFFF != 0 {
					has[r] = true
				}
			}
		}
	}
	return has
}
