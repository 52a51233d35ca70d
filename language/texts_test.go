package language

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// small is a catalogue of a few texts.
func small() *texts {
	t := &texts{exact: map[string]string{}, patterns: map[string][]pattern{}, format: german}
	for english, said := range map[string]string{
		"clutch": "Kupplung", "not surveyed": "nicht aufgenommen", "and": "und", "{1} to {2}": "{1} bis {2}",
		"{1} of {2} components surveyed.": "{1} von {2} Bauteilen aufgenommen.",
		"The part {1} is missing":         "Das Teil {1} fehlt", "Nothing was taken off.": "Nichts wurde abgenommen.", "{1}: not surveyed yet": "{1}: noch nicht aufgenommen",
		"Sealed on {1} by {2}": "Versiegelt am {1} von {2}",
	} {
		t.add(english, said)
	}
	return t
}

func TestSay(t *testing.T) {
	for english, want := range map[string]string{
		"Clutch":                                    "Kupplung",
		"3 of 160 components surveyed.":             "3 von 160 Bauteilen aufgenommen.",
		"clutch: not surveyed yet":                  "Kupplung: noch nicht aufgenommen",
		"0.91 to 0.95":                              "0,91 bis 0,95",
		"Sealed on 3 March 2026 by Imogen Aske":     "Versiegelt am 3. März 2026 von Imogen Aske",
		"The part clutch is missing":                "Das Teil Kupplung fehlt",
		"Nothing was taken off. 0.50":               "Nichts wurde abgenommen. 0,50",
		"She came to stay":                          "She came to stay", // somebody's own words
		"from the road to the barn, and back":       "from the road to the barn, and back",
		"She said so. Nothing was taken off.":       "She said so. Nichts wurde abgenommen.",
		"  clutch ":                                 "  Kupplung ",
		"the clutch and the brake":                  "the clutch and the brake",
		"12.50 GBP":                                 "12,50 GBP",
		"March 1957":                                "März 1957",
		"27 June 2026, 14:30 UTC":                   "27. Juni 2026, 14:30 UTC",
		"<1 %":                                      "<1 %",
		"The part the clutch of her son is missing": "Das Teil the clutch of her son fehlt",
	} {
		assert.Equal(t, want, small().say(english), english)
	}
}
