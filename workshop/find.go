package workshop

import (
	"cmp"
	"context"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/lookup"
	"example.org/asfound/registry"
)

// FindQuestion asks which machines hold words and pass filters. Everything that
// is given must be met.
type FindQuestion struct {
	Text    string // see lookup.Parse
	Filters FindFilters
	Public  bool // look in what the public edition shows, and show that
	Limit   int  // hits at most, 1 to MaxHits; 20 when 0
	After   string
}

// FindFilters narrow a search. The zero value lets every machine pass.
type FindFilters struct {
	Make, Model string // words of it
	// YearFrom and YearTo are the years in which it may have been built; 0 is
	// no bound.
	YearFrom, YearTo int
	Phase            string // see Phases
	// Component is what Origin, Finish and the conditions are asked of; of any
	// component when it is empty.
	Component      string
	Origin, Finish string
	// ConditionMost and ConditionLeast bound the condition as surveyed, 0 to 5.
	// Of any component: the worst one.
	ConditionMost, ConditionLeast *int
	OpenFault                     bool // a fault for which nothing was done
	Unapproved                    bool // work or an opening without approval
	Waiting                       bool // the owner has not answered
	// Survey is "none", "begun", "sealed" or "unsealed", which is none or begun.
	Survey string
	// GateOpen is a gate that does not stand as passed.
	GateOpen string
	// Index is substance, surface or correctness; IndexLow and IndexHigh bound
	// its median as found, as it was recorded at the sealing, 0 to 1.
	Index               string
	IndexLow, IndexHigh *float64
	// Number is a stamped number, with or without spaces and hyphens. It finds
	// nothing in the public edition.
	Number string
}

// Phases lists the phases in the order of the job.
func Phases() []string {
	return []string{"taken in", "surveying", "surveyed", "asking", "approved", "working", "handed back"}
}

// MaxHits is how many machines one answer holds at most.
const MaxHits = 100

// Found answers a FindQuestion.
type Found struct {
	Text   string `json:"text"`
	Public bool   `json:"public"`
	// Count is how many machines meet the question. With phrases it is an upper
	// bound, as AtMost says: they are looked at page by page.
	Count  int   `json:"count"`
	AtMost bool  `json:"at_most,omitempty"`
	Hits   []Hit `json:"hits"`
	// Next continues the list; absent at its end.
	Next string `json:"next,omitempty"`
}

// Hit is one machine that was found.
type Hit struct {
	Machine Summary `json:"machine"`
	// Score is the sum over the words of the highest weight among the places
	// where each stands; see docs/search.md. 0 when no words were asked for.
	Score float64 `json:"score"`
	// Places are where the words were found, the most telling first.
	Places []HitPlace `json:"places"`
	// More is how many places hold words besides those listed.
	More int `json:"more,omitempty"`
}

// HitPlace is one place where words were found.
type HitPlace struct {
	Kind      string `json:"kind"` // see PlaceKinds
	Record    string `json:"record,omitempty"`
	Component string `json:"component,omitempty"`
	// Weight is what a word counts there.
	Weight int `json:"weight"`
	// Text is the text, or the part of it with the words, cut into pieces.
	Text []Piece `json:"text"`
}

// Piece is a piece of text; Marked is one of the words that were asked for.
type Piece struct {
	Text   string `json:"text"`
	Marked bool   `json:"marked,omitempty"`
}

const (
	placesShown  = 3
	maxLists     = 6000 // blocks that the beginning of a word may stand for
	maxChecked   = 150  // machines whose texts one answer looks at for phrases
	wholeWord    = 2    // a word counts twice what the beginning of one does
	snippetBytes = 160
)

// scores holds a number for each machine, by its number; 0 is not found.
type scores []uint16

// Find searches the registry. Codes: CodeInvalid for a question that cannot be
// read, CodeTooLarge for the beginning of a word that too many words share.
func (w *Workshop) Find(ctx context.Context, q FindQuestion) (*Found, error) {
	query, err := lookup.Parse(q.Text)
	if err != nil {
		return nil, err
	}
	if err := w.checkFilters(&q.Filters); err != nil {
		return nil, err
	}
	if q.Limit == 0 {
		q.Limit = 20
	}
	after, err := readCursor(q.After)
	if err != nil {
		return nil, err
	}
	if err := w.refresh(ctx); err != nil {
		return nil, err
	}
	raw, _, err := w.Views.Get(ctx, findCount)
	if err != nil {
		return nil, err
	}
	n, _ := binary.Uvarint(raw)
	f := finder{w: w, ctx: ctx, public: q.Public, n: int(n)}
	total, err := f.run(query, q.Filters)
	if err != nil {
		return nil, err
	}
	return f.answer(query, q, total, after)
}

// checkFilters puts filters into their one form and refuses what is not known.
func (w *Workshop) checkFilters(f *FindFilters) error {
	var fields []registry.Field
	wrong := func(pointer, found, allowed, message string) {
		fields = append(fields, registry.Field{Pointer: pointer, Found: strconv.Quote(found), Allowed: allowed, Message: message})
	}
	among := func(pointer, found string, allowed []string, message string) {
		if found != "" && !slices.Contains(allowed, found) {
			wrong(pointer, found, strings.Join(allowed, ", "), message)
		}
	}
	if f.Component != "" {
		c, ok := w.component(f.Component)
		if !ok {
			wrong("/component", f.Component, "an id, code or name of the anatomy", "There is no such component")
		}
		f.Component = c.ID
	}
	among("/origin", f.Origin, registry.TermIDs(registry.Origins()), "There is no such origin")
	among("/finish", f.Finish, registry.TermIDs(registry.Finishes()), "There is no such finish")
	among("/phase", f.Phase, Phases(), "There is no such phase")
	among("/survey", f.Survey, []string{"none", "begun", "sealed", "unsealed"}, "The survey has no such state")
	var gates []string
	for _, g := range w.gates() {
		gates = append(gates, g.ID)
	}
	among("/gate_open", f.GateOpen, gates, "There is no such gate")
	among("/index", f.Index, indexNames[:], "There is no such index")
	if f.Index == "" && (f.IndexLow != nil || f.IndexHigh != nil) {
		wrong("/index", "", strings.Join(indexNames[:], ", "), "It is not said which index is meant")
	}
	for pointer, v := range map[string]*float64{"/index_from": f.IndexLow, "/index_to": f.IndexHigh} {
		if v != nil && !(*v >= 0 && *v <= 1) {
			wrong(pointer, fmt.Sprint(*v), "0 to 1", "An index lies between 0 and 1")
		}
	}
	for pointer, v := range map[string]*int{"/condition_most": f.ConditionMost, "/condition_least": f.ConditionLeast} {
		if v != nil && (*v < 0 || *v > 5) {
			wrong(pointer, fmt.Sprint(*v), "0 to 5", "The condition is judged from 0 to 5")
		}
	}
	for pointer, y := range map[string]int{"/year_from": f.YearFrom, "/year_to": f.YearTo} {
		if y != 0 && (y < firstYear || y > lastYear) {
			wrong(pointer, fmt.Sprint(y), fmt.Sprintf("%d to %d", firstYear, lastYear), "The year cannot be right")
		}
	}
	if len(fields) == 0 {
		return nil
	}
	slices.SortFunc(fields, func(a, b registry.Field) int { return cmp.Compare(a.Pointer, b.Pointer) })
	return &registry.Error{Code: registry.CodeInvalid, Message: "The search cannot be read", Fix: "Correct what is named, or leave it out.", Fields: fields}
}

// finder answers one question.
type finder struct {
	w      *Workshop
	ctx    context.Context
	public bool
	n      int // machines with a number
}

// run gives every machine's score: 0 for those that do not meet the question.
func (f *finder) run(q lookup.Query, filters FindFilters) (scores, error) {
	total := make(scores, f.n)
	// Every machine that has a record of its own.
	if err := f.list(ofFacets+"all\x00", "", "", func(_ string, i int, _ byte) { total[i] = 1 }); err != nil {
		return nil, err
	}
	for _, c := range q.Clauses {
		s, err := f.clause(c)
		if err != nil {
			return nil, err
		}
		for i := range total {
			if total[i] > 0 && s[i] > 0 {
				total[i] += s[i]
			} else {
				total[i] = 0
			}
		}
	}
	return total, f.filter(total, filters)
}

// list calls fn for each machine of every list that begins with a prefix, from
// the term first to the term last, "" for no bound, with the term.
func (f *finder) list(prefix, first, last string, fn func(term string, i int, weight byte)) error {
	blocks, after := 0, ""
	if first != "" {
		after = findList + first
	}
	return f.w.Views.Scan(f.ctx, findList+prefix, after, 0, func(key string, value []byte) error {
		term, block, ok := strings.Cut(key[len(findList):], "\x00")
		from, err := strconv.ParseUint(block, 16, 32)
		if !ok || err != nil {
			return registry.Refuse(registry.CodeTampered, "Compute the views again; the ledger itself is not touched by this.", "The index has an entry that cannot be read")
		}
		if last != "" && term > last {
			return errEnough
		}
		if blocks++; blocks > maxLists && last == "" {
			return registry.Refuse(registry.CodeTooLarge, "Write more of it before the star.", "Too many words begin like that to look them all up")
		}
		lookup.Block(value).Each(func(place, weight byte) {
			if i := int(from)*lookup.BlockSize + int(place); i < f.n {
				fn(term, i, weight)
			}
		})
		return nil
	})
}

// errEnough ends a scan that has seen all that it needs.
var errEnough = errors.New("enough")

// families are those in which an edition looks for words.
func (f *finder) families() []string {
	if f.public {
		return []string{inBoth, inPublic}
	}
	return []string{inBoth, inPrivate}
}

// clause scores one clause: a word by its highest weight, a phrase by the
// lowest of its words. Whether the words of a phrase stand side by side is
// looked at later, in the texts.
func (f *finder) clause(c lookup.Clause) (scores, error) {
	out := make(scores, f.n)
	for i, word := range c.Words {
		s, err := f.word(word, c.Prefix)
		if err != nil {
			return nil, err
		}
		for m := range out {
			if i == 0 {
				out[m] = s[m]
			} else {
				out[m] = min(out[m], s[m])
			}
		}
	}
	if c.Joined == "" {
		return out, nil
	}
	s, err := f.word(c.Joined, false)
	for m := range out {
		out[m] = max(out[m], s[m])
	}
	return out, err
}

func (f *finder) word(word string, begins bool) (scores, error) {
	out := make(scores, f.n)
	for _, family := range f.families() {
		prefix := family + word
		if !begins {
			prefix += "\x00"
		}
		if err := f.list(prefix, "", "", func(term string, i int, weight byte) {
			score := uint16(weight)
			if len(term) == len(family)+len(word) {
				score *= wholeWord
			}
			out[i] = max(out[i], score)
		}); err != nil {
			return out, err
		}
	}
	return out, nil
}

// filter takes out the machines that do not pass.
func (f *finder) filter(total scores, x FindFilters) error {
	var err error
	// pass keeps those machines that stand in one of the lists between two terms.
	pass := func(keep bool, prefix, first, last string) {
		if err != nil {
			return
		}
		in := make([]bool, f.n)
		err = f.list(prefix, first, last, func(_ string, i int, _ byte) { in[i] = true })
		if errors.Is(err, errEnough) {
			err = nil
		}
		for i := range total {
			if in[i] != keep {
				total[i] = 0
			}
		}
	}
	has := func(facet string) { pass(true, ofFacets+facet+"\x00", "", "") }
	between := func(facet, first, last string) {
		pass(true, ofFacets+facet, ofFacets+facet+first, ofFacets+facet+last)
	}
	for _, word := range lookup.Words(x.Make) {
		has("make/" + word.Text)
	}
	for _, word := range lookup.Words(x.Model) {
		has("model/" + word.Text)
	}
	if x.YearFrom != 0 || x.YearTo != 0 {
		between("year/", fmt.Sprint(cmp.Or(x.YearFrom, firstYear)), fmt.Sprint(cmp.Or(x.YearTo, lastYear)))
	}
	for facet, wanted := range map[string]bool{"open-fault": x.OpenFault, "unapproved": x.Unapproved, "waiting": x.Waiting,
		"phase/" + x.Phase: x.Phase != "", "origin/" + x.Origin + "/" + x.Component: x.Origin != "", "finish/" + x.Finish + "/" + x.Component: x.Finish != "",
		"survey/" + x.Survey: x.Survey != "" && x.Survey != "unsealed"} {
		if wanted {
			has(facet)
		}
	}
	if x.Survey == "unsealed" {
		pass(false, ofFacets+"survey/sealed\x00", "", "")
	}
	if x.GateOpen != "" {
		pass(false, ofFacets+"gate/"+x.GateOpen+"\x00", "", "")
	}
	if x.ConditionMost != nil || x.ConditionLeast != nil {
		between("condition/"+x.Component+"/", strconv.Itoa(valueOr(x.ConditionLeast, 0)), strconv.Itoa(valueOr(x.ConditionMost, 5)))
	}
	if x.Index != "" {
		between("index/"+x.Index+"/", indexKey(valueOr(x.IndexLow, 0)), indexKey(valueOr(x.IndexHigh, 1)))
	}
	if number := lookup.Plain(x.Number); number != "" {
		family := ofNumbers
		if f.public {
			family = "none/" // whole numbers are not in the public edition
		}
		pass(true, family+"number/"+number+"\x00", "", "")
	}
	return err
}

func valueOr[T any](v *T, or T) T {
	if v == nil {
		return or
	}
	return *v
}

// indexKey writes a figure from 0 to 1 so that the order of the texts is that
// of the figures.
func indexKey(v float64) string { return fmt.Sprintf("%03d", int(math.Round(v*100))) }

// cursor is a place in the order of the hits: the highest score first, among
// equals the machine that was taken in first.
type cursor struct {
	score uint16
	i     int
	given bool
}

func (c cursor) String() string {
	return base64.RawURLEncoding.EncodeToString(binary.AppendUvarint(binary.AppendUvarint(nil, uint64(c.score)), uint64(c.i)))
}

func readCursor(s string) (cursor, error) {
	if s == "" {
		return cursor{}, nil
	}
	raw, err := base64.RawURLEncoding.DecodeString(s)
	score, a := binary.Uvarint(raw)
	i, b := binary.Uvarint(raw[max(a, 0):])
	if err != nil || a <= 0 || b <= 0 || a+b != len(raw) || score > math.MaxUint16 || i > math.MaxUint32 {
		return cursor{}, &registry.Error{Code: registry.CodeInvalid, Message: "The place to continue from cannot be read", Fix: "Begin the search again.",
			Fields: []registry.Field{{Pointer: "/after", Found: strconv.Quote(s), Allowed: "what an answer gave as next", Message: "This is no place in a list"}}}
	}
	return cursor{uint16(score), int(i), true}, nil
}

// answer makes the hits of one page.
func (f *finder) answer(query lookup.Query, q FindQuestion, total scores, after cursor) (*Found, error) {
	out := &Found{Text: q.Text, Public: q.Public, Hits: []Hit{}}
	var order []cursor
	for i, s := range total {
		if s == 0 {
			continue
		}
		out.Count++
		if c := (cursor{score: s, i: i}); !after.given || compareCursors(after, c) < 0 {
			order = append(order, c)
		}
	}
	slices.SortFunc(order, compareCursors)
	for _, c := range query.Clauses {
		out.AtMost = out.AtMost || len(c.Words) > 1
	}
	for k, c := range order {
		if len(out.Hits) == min(q.Limit, MaxHits) || k == maxChecked {
			out.Next = order[k-1].String()
			break
		}
		hit, ok, err := f.hit(query, c)
		if err != nil {
			return nil, err
		}
		if ok {
			out.Hits = append(out.Hits, hit)
		}
	}
	if !after.given && out.Next == "" { // all were looked at
		out.Count, out.AtMost = len(out.Hits), false
	}
	return out, nil
}

func compareCursors(a, b cursor) int {
	return cmp.Or(cmp.Compare(b.score, a.score), cmp.Compare(a.i, b.i))
}

// hit shows one machine; false when it does not meet the question after all.
func (f *finder) hit(query lookup.Query, c cursor) (Hit, bool, error) {
	get := func(key string) ([]byte, bool, error) { return f.w.Views.Get(f.ctx, key) }
	id, _, err := get(idKey(uint32(c.i)))
	if err != nil {
		return Hit{}, false, err
	}
	raw, ok, err := get(viewMachine + string(id))
	if err != nil || !ok {
		return Hit{}, false, err
	}
	out := Hit{Score: float64(c.score-1) / wholeWord, Places: []HitPlace{}}
	if err := json.Unmarshal(raw, &out.Machine); err != nil || len(query.Clauses) == 0 {
		return out, err == nil, err
	}
	public, secret, _, err := readIndexed(get, string(id))
	if err != nil {
		return out, false, err
	}
	reader, places := Reader{public.Shown}, public.Places
	if !f.public {
		reader, places = Reader{secret.Shown}, append(secret.Places, places...)
	}
	return out, out.fill(query, reader, places), nil
}

// fill finds the places that hold words of a query; false when a clause stands
// in none.
func (h *Hit) fill(query lookup.Query, reader Reader, places []place) bool {
	type found struct {
		HitPlace
		clauses int
	}
	var all []found
	met := make([]bool, len(query.Clauses))
	for _, p := range places {
		text := reader.Text(p.Text)
		marks, here := query.Marks(text)
		if len(marks) == 0 {
			continue
		}
		x := found{HitPlace: HitPlace{Kind: p.Kind, Record: p.Record, Component: p.Component, Weight: int(placeWeights[p.Kind]), Text: pieces(text, marks)}}
		for i := range here {
			if here[i] {
				met[i] = true
				x.clauses++
			}
		}
		all = append(all, x)
	}
	slices.SortStableFunc(all, func(a, b found) int {
		return cmp.Or(cmp.Compare(b.clauses, a.clauses), cmp.Compare(b.Weight, a.Weight))
	})
	for _, x := range all[:min(len(all), placesShown)] {
		h.Places = append(h.Places, x.HitPlace)
	}
	h.More = len(all) - len(h.Places)
	return !slices.Contains(met, false)
}

// pieces cuts a text at its marks, and to some length around the first.
func pieces(text string, marks [][2]int) []Piece {
	from, to := 0, len(text)
	if to > snippetBytes {
		from = max(0, marks[0][0]-snippetBytes/4)
		to = min(len(text), max(from+snippetBytes, marks[0][1]))
		from, to = wordEdge(text, from, marks[0][0]), lastEdge(text, to, marks[0][1])
	}
	var out []Piece
	add := func(s string, marked bool) {
		if s != "" {
			out = append(out, Piece{s, marked})
		}
	}
	lead, tail := "", ""
	if from > 0 {
		lead = "… "
	}
	if to < len(text) {
		tail = " …"
	}
	at := from
	for _, m := range marks {
		if m[1] > to {
			break
		}
		add(lead+text[at:m[0]], false)
		add(text[m[0]:m[1]], true)
		lead, at = "", m[1]
	}
	add(lead+text[at:to]+tail, false)
	return out
}

// wordEdge moves a place in a text forward to the beginning of a word, at most
// to limit.
func wordEdge(text string, at, limit int) int {
	if at == 0 {
		return 0
	}
	if i := strings.IndexByte(text[at:limit], ' '); i >= 0 {
		return at + i + 1
	}
	return limit
}

// lastEdge moves a place in a text back to the end of a word, at least to limit.
func lastEdge(text string, at, limit int) int {
	if at == len(text) {
		return at
	}
	if i := strings.LastIndexByte(text[limit:at], ' '); i >= 0 {
		return limit + i
	}
	return limit
}
