package registry

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// frozenSums are the SHA-256 of every fixture of the ledger format. They never
// change: a file that has to be different is a new file beside the old one.
var frozenSums = map[string]string{
	"canonical-event.json":                "057354221d8a7638df3db2fe929bc1cf2d1629a68a5b66ed91fdadbedf26625f",
	"damaged/bit-flipped/events.jsonl":    "05fdedf05ead510ffd02bececc6f8d32531476b4f7537471e52d4067fc86fdb7",
	"damaged/bit-flipped/expected.txt":    "56ddec94ffd5fb66dd0cec1e51395823054c4ac09119556a47c36d4f9e550cd1",
	"damaged/event-doubled/events.jsonl":  "568e2aea53869b6b1538b0a2571f7ad5416f873fe3a68a2a7caad2ccf3f57e3a",
	"damaged/event-doubled/expected.txt":  "800ecb1c0a618c7e33438fabf4f22ee346653df14abfe84ce439678179da7b12",
	"damaged/event-dropped/events.jsonl":  "27e0a08571b0a4fe43d251fac946d947f76382e02bb131c823475663792164da",
	"damaged/event-dropped/expected.txt":  "e9768061259bef3d25a840d0cb588355f35167f32daa2cba3e76e73a00596fc3",
	"damaged/last-event-cut/events.jsonl": "bec201d0cad6c2b5485f44e1215b05e1093fe76eb71c2ea5284cbc23b74c523b",
	"damaged/last-event-cut/expected.txt": "93f6c8cb38be81844071ce2b67962ebf0f59361d158ea27a8c18b68f89c12fa6",
	"damaged/last-line-cut/events.jsonl":  "66cde065ffd9989d0bc84cf4a47bd1af4dae437623af8b3be135ca88ae49ce2c",
	"damaged/last-line-cut/expected.txt":  "571b10e04caab9cb3826a122167ca404c5640631ff3f1d87321b0737eba75f6e",
	"damaged/order-swapped/events.jsonl":  "c06620d8baaf52de94a3a0ee825c455351e9f8063ac91c525ece9abf6b3e1d6f",
	"damaged/order-swapped/expected.txt":  "75dfc33a51a5c885ff03cde55083c2927a7b386d5b43be4e065580e4e8b51661",
	"v1-owner/events.jsonl":               "17a2ecfd3908068d4b727afabba647c1e7039dc4d145e3b329d6534a9a78010f",
	"v1-owner/head.txt":                   "cb54c4368dd0eeb6b3516669bbac9a0773ea70c52238f7082c5a50acfcb663b0",
	"v1-register/events.jsonl":            "bfd41966ab1a514e7139ab1ce8a50bf94b1b21ed37acf6466f21c14880b905a2",
	"v1-register/head.txt":                "bde49f44dccaf85271997d7e07de6d0a0920f38c6d0d35df81816f91bd1ab822",
	"v1-signed/events.jsonl":              "307ec81ae30287cdc924c82d5dfb5713fdbdea1544fc51b3a566a5d0e913845b",
	"v1-signed/head.txt":                  "df74bf63955994ce057720ec912c658ac0607c00c2a953e3b7855c6631a5cfc2",
	"v1-bench/dossier.txt":                "b2fa5bd41c68a14ef1fdddf14696a3a1edb57dfdcb315b6bb5a966d62c06966e",
	"v1-bench/events.jsonl":               "ed9eba2f02eb7904c3f67c510897bb57483b67fc058a5809a794f29ec3003329",
	"v1-bench/head.txt":                   "bdd46d4fcc1cfe6cac59d6092d4721f2f00d0330cf50987426af330d5ec8373b",
	"v1/dossier.txt":                      "850a5c12de12e374255284d58105adef50a19c991c9f1dd63d914d2b34d9c6e0",
	"v1/events.jsonl":                     "25b2c556ba2c13093ab324e2c41f0e62814e18a34c0381fa8b2067bc4d4b76d0",
	"v1/head.txt":                         "c84bc7671c62cef329ef60932b0bb88dbde244d2e5b2ea5bb07f112eee2b90d3",
	"v1/private/2e81b3e9d667935326fd167076431c403737bb0b29cd35a2b58a5f0ee536290a.json": "2e81b3e9d667935326fd167076431c403737bb0b29cd35a2b58a5f0ee536290a",
	"v1/private/2ef2025ccdb2f7f6c7a7109896d9255839e6810a873abacab97983807e2230aa.json": "2ef2025ccdb2f7f6c7a7109896d9255839e6810a873abacab97983807e2230aa",
	"v1/private/44f43ab779def892d484b24b574faa942f9a59c77f8a6a016ab0339561c9c69c.json": "44f43ab779def892d484b24b574faa942f9a59c77f8a6a016ab0339561c9c69c",
	"v1/private/6208206987af492fca5ab665f24110da14597e135eeccbc431a9d5e3b5c88e05.json": "6208206987af492fca5ab665f24110da14597e135eeccbc431a9d5e3b5c88e05",
	"v1/private/bfdb19a0a29f6acda150aba05e8ac3d00644d14adcb8c022d0479759539dc546.json": "bfdb19a0a29f6acda150aba05e8ac3d00644d14adcb8c022d0479759539dc546",
	"v1/private/c116fb99f9b31da693b84c073bef0c2c3a0cc4038a0b1f369f35bfaf41f62747.json": "c116fb99f9b31da693b84c073bef0c2c3a0cc4038a0b1f369f35bfaf41f62747",
	"v1/private/c2591f8cbbb9990482b2803981aa57d0bed9d7b9872c9d173b04ad2d0e425966.json": "c2591f8cbbb9990482b2803981aa57d0bed9d7b9872c9d173b04ad2d0e425966",
}

func readLines(t *testing.T, name string) [][]byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(ledgers, name))
	require.NoError(t, err)
	return bytes.Split(bytes.TrimSuffix(data, []byte("\n")), []byte("\n"))
}

// readHead reads a head.txt: the number of events, the last leaf hash in hex
// and the root in base64, a line each.
func readHead(t *testing.T, name string) (version uint64, last, root string) {
	t.Helper()
	lines := readLines(t, name)
	require.Len(t, lines, 3)
	version, err := strconv.ParseUint(strings.TrimPrefix(string(lines[0]), "events "), 10, 64)
	require.NoError(t, err)
	return version, strings.TrimPrefix(string(lines[1]), "last "), strings.TrimPrefix(string(lines[2]), "root ")
}

func headText(h *History) string {
	root, err := h.Tree().Root(h.Tree().Size())
	if err != nil {
		panic(err)
	}
	return fmt.Sprintf("events %d\nlast %s\nroot %s\n", h.Version(), h.Last(), root)
}

// TestNothingFrozenChanged also fails on a fixture that is not in the list.
func TestNothingFrozenChanged(t *testing.T) {
	got := map[string]string{}
	require.NoError(t, filepath.WalkDir(ledgers, func(path string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() || filepath.Ext(path) == ".md" {
			return err
		}
		data, err := os.ReadFile(path)
		name, _ := filepath.Rel(ledgers, path)
		got[filepath.ToSlash(name)] = fmt.Sprintf("%x", sha256.Sum256(data))
		return err
	}))
	require.Equal(t, frozenSums, got)
}

// TestFrozenLedger: a history that was written with the first version of the
// format replays, for ever, into the dossier that it replayed into then.
func TestFrozenLedger(t *testing.T) {
	events := readLines(t, "v1/events.jsonl")
	version, last, root := readHead(t, "v1/head.txt")
	h := History{}
	kinds := map[Kind]int{}
	old := 0
	for _, raw := range events {
		e, err := h.Add(raw)
		require.NoError(t, err)
		kinds[e.Kind]++
		if e.Kind == "check" && e.Schema == 1 {
			old++
		}
		canonical, err := CanonicalJSON(json.RawMessage(raw))
		require.NoError(t, err)
		require.Equal(t, string(raw), string(canonical))
	}
	require.Equal(t, version, h.Version())
	require.Equal(t, last, h.Last())
	got, err := h.Tree().Root(int64(version))
	require.NoError(t, err)
	require.Equal(t, root, got)
	for _, raw := range slices.Concat(readLines(t, "v1-bench/events.jsonl"), readLines(t, "v1-owner/events.jsonl"), readLines(t, "v1-register/events.jsonl"), readLines(t, "v1-signed/events.jsonl")) {
		e, err := DecodeEvent(raw)
		require.NoError(t, err)
		kinds[e.Kind]++
	}
	for _, k := range Kinds() {
		require.NotZero(t, kinds[k], "the histories hold every kind of record; there is no %s", k)
	}
	require.Equal(t, 1, old, "one check of schema version 1")

	d, err := Replay("drover-1957", events, time.Time{})
	require.NoError(t, err)
	want, err := os.ReadFile(filepath.Join(ledgers, "v1/dossier.txt"))
	require.NoError(t, err)
	require.Equal(t, string(want), summary(d))
	for _, e := range d.Entries() {
		require.NoError(t, CheckBody(e.Body), "%s still stands", e.RecordID())
	}

	// Every withheld value that is kept fits its digest.
	for _, e := range d.Entries() {
		for _, p := range Privates(e.Body) {
			if p.Digest == "" {
				continue
			}
			doc, err := os.ReadFile(filepath.Join(ledgers, "v1/private", strings.TrimPrefix(p.Digest, "sha256:")+".json"))
			require.NoError(t, err, e.RecordID())
			require.Equal(t, p.Digest, fmt.Sprintf("sha256:%x", sha256.Sum256(doc)))
			var content PrivateDocument
			require.NoError(t, strictJSON(doc, &content))
			salt, err := hex.DecodeString(content.Salt)
			require.NoError(t, err)
			require.Len(t, salt, 16)
			if m, ok := e.Body.(*Machine); ok {
				require.Equal(t, m.Numbers[0].Masked, Mask(content.Value))
			}
		}
	}
}

// TestDamagedLedgers: each damaged copy gives the finding that stands beside it.
func TestDamagedLedgers(t *testing.T) {
	_, last, _ := readHead(t, "v1/head.txt")
	for name := range damages {
		want, err := os.ReadFile(filepath.Join(ledgers, "damaged", name, "expected.txt"))
		require.NoError(t, err)
		events := readLines(t, "damaged/"+name+"/events.jsonl")
		require.Equal(t, string(want), finding(events, last), name)
	}
	require.Equal(t, "nothing\n", finding(readLines(t, "v1/events.jsonl"), last))
}

// finding says what a check of a history against its last leaf hash finds.
func finding(events [][]byte, last string) string {
	d, err := Replay("drover-1957", events, time.Time{})
	switch {
	case err != nil:
		var e *Error
		if !as(err, &e) {
			return "an error without a code: " + err.Error() + "\n"
		}
		return fmt.Sprintf("%s\n%s\n", e.Code, err)
	case d.Last() != last:
		return fmt.Sprintf("%s\nThe history holds together, but ends at event %d with another hash than its head says.\n", CodeTampered, d.Version())
	}
	return "nothing\n"
}

// damages are what is done to the good history, by the name of the copy.
var damages = map[string]func([][]byte) [][]byte{
	"bit-flipped": func(e [][]byte) [][]byte {
		// One bit of one letter: "worn" becomes "worl" in the survey of the tank.
		i := slices.IndexFunc(e, func(x []byte) bool { return bytes.Contains(x, []byte(`"finish":"worn"`)) })
		e[i] = bytes.Replace(e[i], []byte(`"worn"`), []byte(`"worl"`), 1)
		return e
	},
	"event-dropped":  func(e [][]byte) [][]byte { return slices.Delete(e, 19, 20) },
	"event-doubled":  func(e [][]byte) [][]byte { return slices.Insert(e, 20, e[19]) },
	"order-swapped":  func(e [][]byte) [][]byte { e[24], e[25] = e[25], e[24]; return e },
	"last-event-cut": func(e [][]byte) [][]byte { return e[:len(e)-1] },
	"last-line-cut":  func(e [][]byte) [][]byte { e[len(e)-1] = e[len(e)-1][:100]; return e },
}

// summary writes down what a dossier says: each record with its standing, and
// the answers to what is asked of it most.
func summary(d *Dossier) string {
	var s strings.Builder
	m, _ := d.MachineRecord()
	fmt.Fprintf(&s, "%s, %s, version %d, last %s\n\n", d.ID, m.Name(), d.Version(), d.Last())
	for _, e := range d.Entries() {
		fmt.Fprintf(&s, "%3d %-17s %-18s %s", e.Version, e.Kind, e.RecordID(), e.Valid())
		switch {
		case e.SupersededBy != "":
			fmt.Fprintf(&s, " superseded by %s", e.SupersededBy)
		case e.WithdrawnBy != "":
			fmt.Fprintf(&s, " withdrawn by %s", e.WithdrawnBy)
		}
		switch b := e.Body.(type) {
		case *Work:
			fmt.Fprintf(&s, " %s %s %s", b.Standing.Mark, b.Standing.Decision, strings.Join(b.Standing.Why, "; "))
		case *Opened:
			fmt.Fprintf(&s, " %s %s", b.Standing.Mark, b.Standing.Decision)
		case *Check:
			fmt.Fprintf(&s, " %s, note %q", b.Outcome, b.Note)
		case *Proposal:
			fmt.Fprintf(&s, " %s", b.Digest)
		case *ChangeRequest:
			fmt.Fprintf(&s, " %s", b.Digest)
		case *SurveySeal:
			fmt.Fprintf(&s, " %s", b.Digest)
		}
		s.WriteString("\n")
	}
	s.WriteString("\n")
	for _, g := range d.GatesPassed(storyRules()) {
		fmt.Fprintf(&s, "gate %s\n", g.Record.Gate)
	}
	for _, p := range Live[*RemovedPart](d) {
		fmt.Fprintf(&s, "part %s is %s\n", p.RecordID(), d.Custody(p.RecordID()))
	}
	for _, c := range []string{"ignition.magneto", "fuel.tank", "wheels.front.tyre", "brakes.front.linings"} {
		fmt.Fprintf(&s, "%s: function %s", c, d.FunctionOf(c))
		for _, l := range d.Layers(c, PropositionOrigin) {
			fmt.Fprintf(&s, ", layer of %s", l.Work.RecordID())
		}
		s.WriteString("\n")
	}
	for _, day := range []string{"1959-01-01", "1965-07-01"} {
		f, _ := d.FittedOn("ignition.magneto", onDay(day))
		fmt.Fprintf(&s, "on %s the magneto was %s\n", day, f.Record.Part)
	}
	return s.String()
}

// storyRules are the part of a catalog that the frozen history was made under.
func storyRules() *Rules {
	r := testRules()
	r.Components["engine.crankcase-drive"] = ComponentRule{Name: "Drive-side crankcase half", IdentityBearing: true}
	r.Components["wheels.rear.tyre"] = ComponentRule{Name: "Rear tyre", Consumable: true}
	r.Signs["stamp-fits"] = PropositionOrigin
	r.Treatments["substitute"] = TreatmentRule{Title: "Substitute", Reversible: true}
	r.Gates = []GateRule{
		{ID: "arrived", Title: "arrived", Picture: true},
		{ID: "sealed-survey", Title: "survey sealed", Seal: true},
		{ID: "turns-by-hand", Title: "turns by hand", Checks: 1},
		{ID: "spark-proved", Title: "spark proved", Checks: 1, Sound: []string{"ignition.magneto"}},
	}
	return r
}

// TestWriteFixtures makes the fixtures that are not there yet:
//
//	WRITE_FIXTURES=1 go test -run TestWriteFixtures ./registry
//
// It is how they were made once. Later versions of this code may write other
// events; those files stay.
func TestWriteFixtures(t *testing.T) {
	if !writeFixtures {
		t.Skip("set WRITE_FIXTURES=1 to make fixtures that are missing")
	}
	if _, err := os.Stat(filepath.Join(ledgers, "v1")); err == nil {
		t.Skip("testdata/ledgers/v1 is there and frozen")
	}
	write := func(name, text string) {
		path := filepath.Join(ledgers, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	}
	events, private := story(t)
	h := History{}
	for _, e := range events {
		_, err := h.Add(e)
		require.NoError(t, err)
	}
	d, err := Replay("drover-1957", events, time.Time{})
	require.NoError(t, err)
	write("v1/events.jsonl", string(bytes.Join(events, []byte("\n")))+"\n")
	write("v1/head.txt", headText(&h))
	write("v1/dossier.txt", summary(d))
	for digest, doc := range private {
		write("v1/private/"+strings.TrimPrefix(digest, "sha256:")+".json", doc)
	}
	for name, damage := range damages {
		damaged := damage(slices.Clone(events))
		text := string(bytes.Join(damaged, []byte("\n")))
		if name != "last-line-cut" {
			text += "\n"
		}
		write("damaged/"+name+"/events.jsonl", text)
		write("damaged/"+name+"/expected.txt", finding(damaged, h.Last()))
	}
}

// story is a small complete history of the invented Skerrow Drover 350, from
// taking in to handing back, with at least one record of every kind.
func story(t *testing.T) (events [][]byte, private map[string]string) {
	b := newBench(t)
	b.rules, b.d = storyRules(), NewDossier("drover-1957")
	private = map[string]string{}
	withheld := func(value string) Private {
		salt := sha256.Sum256([]byte("a fixed salt, for a fixture only: " + value))
		doc, err := CanonicalJSON(PrivateDocument{Salt: hex.EncodeToString(salt[:16]), Value: value})
		require.NoError(t, err)
		digest := fmt.Sprintf("sha256:%x", sha256.Sum256(doc))
		private[digest] = string(doc)
		return Private{Digest: digest, Value: value}
	}
	on := func(day string, hour int) { b.now = onDay(day).Add(time.Duration(hour) * time.Hour) }
	person := func(id, role, name string) *Person {
		return &Person{Common: Common{ID: id}, Role: role, Name: withheld(name)}
	}
	estimate := Estimate{Method: "index/1", Catalog: "house 1, a worked example", Standpoint: "preservation", Input: json.RawMessage(`{"components":2}`), Result: json.RawMessage(`{"now":0.91,"low":0.85,"high":0.95}`)}

	on("2026-03-09", 9)
	b.do(&Machine{Common: Common{ID: "machine"}, Make: "Skerrow Engineering", Model: "Drover 350", Year: "1957", Nickname: "the Drover", Invented: true,
		Numbers:   []Number{{Where: "frame", AsRead: withheld("SD57-1138"), Doubtful: []DoubtfulCharacter{{Place: 7, Readings: []string{"1", "7"}}}}},
		NotFitted: []string{"electrical.horn"}, Story: "Stood under sacks in a barn at Aldmouth."})
	b.do(person("imogen", "owner", "Imogen Aske"), person("tamsin", "mechanic", "Tamsin Orde"), person("reuben", "second-signature", "Reuben Quill"))
	b.do(&CustodyAgreement{Common: Common{ID: "custody"}, Owner: "imogen", Custodian: "tamsin", Authority: "grant of probate", Purpose: "occasional",
		Care: []string{"dust with a soft brush"}, Stop: []string{"no jet-wash"}, Ceiling: pounds("20"), Insurer: withheld("Aldmouth Mutual, policy 7"), AgreedValue: pounds("4500.00"),
		Place: withheld("the lower workshop"), From: "2026-03-09", Until: "2026-09", DataOwner: "imogen", RemovedPartsOwner: "imogen",
		Inventory: []InventoryItem{{ID: "keys", What: "keys", Count: 2}, {ID: "tin", What: "tin of screws", Count: 1}}})
	photo := func(id, shows string) *Photo {
		sum := sha256.Sum256([]byte("no picture: " + id))
		return &Photo{Common: Common{ID: id}, Digest: "sha256:" + hex.EncodeToString(sum[:]), MediaType: "image/jpeg", Bytes: 1 << 20, Width: 4000, Height: 3000, Shows: shows, Scale: "100 mm bar", By: "tamsin"}
	}
	b.do(photo("photo-arrival", "general"), &Gate{Common: Common{ID: "gate-arrived"}, Gate: "arrived", Photos: []string{"photo-arrival"}, By: "tamsin"})

	on("2026-03-10", 9)
	b.do(&Survey{Common: Common{ID: "survey-tank"}, Component: "petrol tank", Origin: "original", Finish: "worn", Specification: "to-catalogue", Condition: ptr(3), Function: "not-tested",
		Signs: []SignSeen{{Sign: "stamp-fits", Reliability: ptr(0.92)}}, By: "tamsin", Second: "reuben"})
	b.do(&Survey{Common: Common{ID: "survey-magneto"}, Component: "ignition.magneto", Origin: "undetermined", Condition: ptr(2), Function: "fails", By: "tamsin"})
	b.do(&Survey{Common: Common{ID: "survey-tyre", Note: "Split to the cords."}, Component: "wheels.front.tyre", Function: "unsafe", By: "tamsin"})
	b.do(&Joint{Common: Common{ID: "joint-screws"}, Joint: "cover-screws", Components: []string{"ignition.magneto"}, Witness: "undisturbed", Sign: "paint bridges two of five", By: "tamsin"})
	b.do(&Measurement{Common: Common{ID: "film"}, Component: "fuel.tank", Quantity: "film thickness", Value: 62.5, Unit: "µm", Uncertainty: 3, Instrument: "film gauge", Place: "left, below the badge", By: "tamsin"})
	b.do(&Evidence{Common: Common{ID: "stamp"}, Evidence: "date-stamp", Bears: []Bearing{{Component: "ignition.magneto", Proposition: PropositionOrigin, Sign: "stamp-fits"}},
		Made: "1957-04~", Cluster: "stamps", Reliability: ptr(0.92), Says: "struck 4 57 on the magneto body", Limits: "the body may have been exchanged", By: "tamsin"})
	b.do(&Evidence{Common: Common{ID: "wrong-stamp"}, Evidence: "date-stamp", Bears: []Bearing{{Component: "fuel.tank", Proposition: PropositionOrigin, Likelihood: map[string]float64{"original": 0.6, "donor": 0.25, "other": 0.1}, Why: "seen on three others"}},
		Cluster: "stamps", Says: "struck 5 57", By: "tamsin"})
	b.do(&Withdrawal{Common: Common{ID: "withdraw-stamp"}, Record: "wrong-stamp", Why: "It was the stamp of the tap.", By: "tamsin"})
	b.do(&Claim{Common: Common{ID: "claim-magneto"}, Component: "ignition.magneto", Proposition: PropositionOrigin, Statement: "It left the works on this machine", Evidence: []string{"stamp", "survey-magneto"},
		Estimate: &Estimate{Method: "origin/1", Catalog: "house 1, a worked example", Input: json.RawMessage(`{"evidence":1}`), Result: json.RawMessage(`{"original":0.81}`)}, By: "tamsin"})
	b.do(&Fitting{Common: Common{ID: "mg-a", Valid: "1957-06/.."}, Component: "ignition.magneto", Part: "magneto A"})
	b.do(&SurveySeal{Common: Common{ID: "seal"}, By: "tamsin", Gaps: []SurveyGap{{Component: "brakes.front.linings", Why: "wheel not yet out"}}, GapsSignedBy: "imogen", Indices: []NamedEstimate{{Of: "substance", Estimate: estimate}}})
	b.do(&Gate{Common: Common{ID: "gate-sealed"}, Gate: "sealed-survey", By: "tamsin"})

	on("2026-03-16", 9)
	old, err := CanonicalJSON(json.RawMessage(`{"id":"check-turns","valid":"2026-03-16","note":"Both valves move.","what":"turns by hand","components":["engine.crankcase-drive"],"passed":true,"reading":"two full turns, both ways","by":"tamsin","second":"reuben"}`))
	require.NoError(t, err)
	b.storeOld("check", 1, old)
	b.do(&Gate{Common: Common{ID: "gate-turns"}, Gate: "turns-by-hand", Checks: []string{"check-turns"}, By: "tamsin"})
	b.do(&Fault{Common: Common{ID: "spark"}, Complaint: "no spark when hot", Components: []string{"ignition.magneto"}, Cause: "condenser", By: "tamsin"})
	b.do(&Fault{Common: Common{ID: "tyre"}, Complaint: "front tyre split", Components: []string{"wheels.front.tyre"}, Grave: true, By: "tamsin"})
	cover := &Opening{Common: Common{ID: "cover"}, Title: "timing cover off", Joints: []string{"cover-screws"}, Money: pounds("4.50"), Hours: 0.5, LeadDays: 3, WitnessPoints: 0.5, Behind: []string{"ignition.magneto"},
		Needs: []Need{{What: "cover gasket", Count: 1, Unit: "1", Money: pounds("4.50"), LeadDays: 3, InHand: true}}}
	swap := &Option{Common: Common{ID: "swap"}, Fault: "spark", Treatment: "reproduction", Title: "Fit a reproduction magneto and keep the old one", Why: "It runs hot, and the old one can go back.",
		Changes: []Change{{Component: "ignition.magneto", Proposition: PropositionOrigin, After: map[string]float64{"reproduction": 1}, Removes: true,
			Keep: &KeepPromise{Custody: "kept-with-machine", LossPerYear: 0.02, Years: 10, RefitChance: 0.9}}},
		Openings: []string{"cover"}, Money: pounds("90"), Hours: 3, Works: ptr(0.95), Excludes: []string{"adjust"}, Undo: "fit the old one again", By: "tamsin"}
	adjust := &Option{Common: Common{ID: "adjust"}, Fault: "spark", Treatment: "adjust", Title: "Set the points", Hours: 1, Works: ptr(0.2), By: "tamsin"}
	picture := photo("photo-cover", "as-found")
	b.do(cover, swap, adjust)
	picture.Openings, picture.Components = []string{"cover"}, []string{"ignition.magneto"}
	b.do(picture)
	effect := NamedEstimate{Of: "swap/substance", Estimate: Estimate{Method: "effect/1", Catalog: "house 1, a worked example", Input: json.RawMessage(`{"option":"swap"}`), Result: json.RawMessage(`{"now":-0.014,"for_good":-0.002}`)}}
	b.do(&Weighing{Common: Common{ID: "weighing"}, Options: []string{"swap", "adjust"}, Effects: []NamedEstimate{effect}, By: "tamsin"})
	offer := Offer{Options: []Option{*swap, *adjust}, Recommended: []string{"swap"}, Openings: []Opening{*cover}, Ceiling: pounds("110"), Shown: []NamedEstimate{effect}, DoNothing: "It cannot be ridden hot.", Cautions: []string{"ht-1"}, Expires: onDay("2026-04-16")}
	token := sha256.Sum256([]byte("a token, for a fixture only"))
	b.do(&Proposal{Common: Common{ID: "offer"}, To: "imogen", By: "tamsin", Offer: offer, Link: &Link{TokenHash: hex.EncodeToString(token[:]), Expires: onDay("2026-04-16")}})

	on("2026-03-18", 19)
	b.do(with(b.answer("defer", "offer", "defer"), func(d *Decision) { d.Channel, d.Reason = "message", "after the weekend" })(b))
	on("2026-03-23", 19)
	b.do(with(b.answer("yes", "offer", "approve-with-conditions"), func(d *Decision) {
		d.Channel, d.Conditions, d.Until = "link", []string{"pictures before and after"}, ptr(onDay("2026-06-01"))
	})(b))
	on("2026-03-24", 9)
	b.do(&Opened{Common: Common{ID: "opened"}, Opening: "cover", By: "tamsin"})
	b.do(photo("photo-after", "after"))
	b.do(&Work{Common: Common{ID: "work-swap"}, Option: "swap", Treatment: "reproduction", Did: "Fitted the reproduction magneto, timed to 36°.", Hours: 3.25, Spent: pounds("92.40"), Openings: []string{"cover"},
		Changes: []Change{{Component: "ignition.magneto", Proposition: PropositionOrigin, After: map[string]float64{"reproduction": 1}, Removes: true}},
		Fitted:  []Fitted{{Component: "ignition.magneto", Part: "magneto", Origin: "reproduction", Mark: "TO 3.26"}}, Photos: []string{"photo-after"}, By: "tamsin"})
	b.do(&RemovedPart{Common: Common{ID: "old-magneto"}, Component: "ignition.magneto", Work: "work-swap", Tag: "T-07", What: "magneto, complete", Custody: "kept-with-machine", Place: withheld("box 2, lower shelf"),
		Condition: "condenser leaks hot", Reason: "no spark when hot", Fasteners: "three screws, in the bag", By: "tamsin"})
	b.do(&Check{Common: Common{ID: "check-spark"}, What: "spark, cold and hot", Components: []string{"ignition.magneto"}, Outcome: "passed", Readings: []Reading{{Quantity: "gap", Value: 5.5, Unit: "mm", Uncertainty: 0.1, Instrument: "feeler"}}, Work: "work-swap", By: "tamsin", Second: "reuben"})
	b.do(&Gate{Common: Common{ID: "gate-spark"}, Gate: "spark-proved", Checks: []string{"check-spark"}, By: "tamsin"})
	b.do(&Work{Common: Common{ID: "work-tyre"}, Treatment: "substitute", Did: "Put a new front tyre on to move it.", Hours: 1, Spent: pounds("65"), Fitted: []Fitted{{Component: "wheels.front.tyre", Part: "3.25-19, week 12 of 2026", Origin: "substitute"}}, By: "tamsin", AlreadyDone: true})

	on("2026-04-02", 9)
	b.do(&ChangeRequest{Common: Common{ID: "more"}, To: "imogen", By: "tamsin", Amends: "offer", Found: "The points are worn out of true.", Offer: Offer{Options: []Option{*adjust}, Recommended: []string{"adjust"}, Ceiling: pounds("15"), Expires: onDay("2026-05-01")}})
	b.do(with(b.answer("no", "more", "refuse"), func(d *Decision) {
		d.Channel, d.Witness, d.Reason = "call", "reuben", "I like it as it is."
	})(b))
	on("2026-04-20", 9)
	b.do(&Evidence{Common: Common{ID: "card"}, Evidence: "factory-record", Bears: []Bearing{{Component: "ignition.magneto", Proposition: PropositionOrigin, Likelihood: map[string]float64{"original": 0.05, "period-service": 0.9}, Why: "it names the exchange"}},
		Made: "1961-05", MadeBy: "the works", Cluster: "papers", Says: "Warranty card: magneto exchanged at the works.", By: "tamsin"})
	b.do(&Fitting{Common: Common{ID: "mg-a-until", Supersedes: "mg-a", Valid: "1957-06/1961-05"}, Component: "ignition.magneto", Part: "magneto A"},
		&Fitting{Common: Common{ID: "mg-b", Valid: "1961-05/2026-03-24"}, Component: "ignition.magneto", Part: "magneto B", Origin: "period-service", Evidence: []string{"card"}})
	b.do(&ComparableSale{Common: Common{ID: "sale-1", Valid: "2025-10-11"}, Source: "a printed list of results, invented", Venue: "Aldmouth", PriceKind: "hammer", Price: pounds("5200"), Make: "Skerrow Engineering", Model: "Drover 350", Year: "1958",
		Substance: ptr(0.8), Judged: true, Condition: ptr(3), Distance: ptr(23817.0), Unit: "mi", Running: ptr(true)})
	on("2026-05-04", 9)
	b.do(&PartMove{Common: Common{ID: "back"}, Part: "old-magneto", Custody: "fitted", Place: Private{}, Why: "The owner wants the old one on for the hand-back.", By: "tamsin"})
	b.do(&GateTakenBack{Common: Common{ID: "spark-back"}, Gate: "spark-proved", Why: "The old magneto is on again.", By: "tamsin"})
	b.do(&HandBack{Common: Common{ID: "hand-back"}, To: "imogen", By: "tamsin", Inventory: []InventoryItem{{ID: "keys", What: "keys", Count: 2}}, Accounted: map[string]string{"tin": "its screws are back in the machine"},
		KnownLimits: []string{"no spark when hot"}, Rechecks: []Recheck{{What: "oil level", Due: "2027-05"}}, Open: []string{"who exchanged the magneto in 1961"}})
	return b.events, private
}

// storeOld appends a body as an earlier program would have written it.
func (b *bench) storeOld(kind Kind, schema int, body json.RawMessage) {
	b.now = b.now.Add(time.Minute)
	event, err := CanonicalJSON(Envelope{Format: EnvelopeFormat, Machine: b.d.ID, Version: b.d.Version() + 1, ID: fmt.Sprintf("ev-%03d", len(b.events)+1), Recorded: b.now, Actor: "tamsin",
		Kind: kind, Schema: schema, Previous: b.d.Last(), Body: body})
	require.NoError(b.t, err)
	read, err := DecodeBody(kind, schema, body)
	require.NoError(b.t, err)
	b.events = append(b.events, event)
	b.d.Apply(Meta{Version: b.d.Version() + 1, ID: fmt.Sprintf("ev-%03d", len(b.events)), Recorded: b.now, Actor: "tamsin", Kind: kind, Hash: LeafHash(event)}, read)
}
