package importers

import (
	"testing"

	"pgregory.net/rapid"

	"example.org/asfound/registry"
)

func TestFoldTermIsSettledAfterOnce(t *testing.T) {
	for in, want := range map[string]string{"Period service": "period-service", "touched_in": "touched-in", " -a--b- ": "a-b", "to-catalogue": "to-catalogue", "": "", "-": ""} {
		if got := foldTerm(in); got != want {
			t.Errorf("foldTerm(%q) = %q, want %q", in, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringOf(rapid.RuneFrom([]rune("abZ9 -_.?ÄX"))).Draw(t, "s")
		once := foldTerm(s)
		if twice := foldTerm(once); twice != once {
			t.Fatalf("%q, then %q", once, twice)
		}
	})
}

func TestMakeIDMakesUsableIdentifiers(t *testing.T) {
	for in, want := range map[string]string{"fuel.tank": "sv-fuel.tank", "T 14": "sv-t-14", "1957~": "sv-1957", "..": "sv"} {
		if got := makeID("sv-", in); got != want {
			t.Errorf("makeID(%q) = %q, want %q", in, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.String().Draw(t, "s")
		id := makeID("x-", s)
		if registry.CheckID("", id) != nil {
			t.Fatalf("%q gives %q", s, id)
		}
		if makeID("x-", s) != id {
			t.Fatal("not the same twice")
		}
	})
}
