package registry

import (
	"fmt"
	"slices"
)

// TakenBack says whether a decision was taken back.
func (d *Dossier) TakenBack(decision string) bool {
	return slices.ContainsFunc(Live[*Decision](d), func(t Found[*Decision]) bool {
		return t.Record.Answer == "take-back" && t.Record.TakesBack == decision
	})
}

// Underway names what was begun under an approval, "" while nothing was: work,
// an opening, or a step of its card.
func (d *Dossier) Underway(decision Found[*Decision]) string {
	for _, e := range d.entries {
		begun := false
		switch b := e.Body.(type) {
		case *Work, *Opened:
			begun = d.current(standingOf(b).Decision) == decision.RecordID()
		case *Step:
			begun = e.Version > decision.Version && slices.Contains(decision.Record.Options, d.current(b.Option))
		}
		if begun && e.Live() {
			return fmt.Sprintf("%q, recorded on %s", e.RecordID(), e.Recorded.UTC().Format("2 January 2006"))
		}
	}
	return ""
}

// decideTakeBack: an approval can be taken back until work under it begins.
func decideTakeBack(d *Dossier, b *Decision) error {
	old, ok := Get[*Decision](d, b.TakesBack)
	if !ok || old.Record.On != b.On || old.Record.Answer == "take-back" {
		return Refuse(CodeNotFound, "", "There is no decision %q on this offer to take back", b.TakesBack)
	}
	if old.RecordID() != b.TakesBack {
		return Refuse(CodeConflict, "Take back the one that stands.", "The decision %q was corrected, and %q stands in its place", b.TakesBack, old.RecordID())
	}
	if d.TakenBack(old.RecordID()) {
		return Refuse(CodeConflict, "Nothing is left to be done.", "The decision %q was taken back already", b.TakesBack)
	}
	if begun := d.Underway(old); begun != "" {
		return Refuse(CodeRefused, "What was done stays approved. To stop what is not done yet, tell the workshop: it records your refusal, and nothing more may be done.",
			"Work under this approval has begun, so that it cannot be taken back: %s", begun)
	}
	return d.CheckAssertion(b)
}
