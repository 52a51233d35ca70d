package workshop

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"

	"example.org/asfound/registry"
)

// maxPrivate is the largest withheld value in bytes.
const maxPrivate = 64 << 10

// seal gives each withheld value of a body its digest, and returns the sealed
// documents, which have to be in the private store before the body is appended.
func (w *Workshop) seal(b registry.Body) ([][]byte, error) {
	var docs [][]byte
	for _, p := range registry.Privates(b) {
		if p.Digest != "" || p.Value == "" {
			continue
		}
		if len(p.Value) > maxPrivate/2 {
			return nil, registry.Refuse(registry.CodeTooLarge, "Shorten it.", "A withheld value is longer than %d kB", maxPrivate/2>>10)
		}
		salt := make([]byte, 16)
		if _, err := io.ReadFull(w.Random, salt); err != nil {
			return nil, fmt.Errorf("make a salt: %w", err)
		}
		doc, err := registry.CanonicalJSON(registry.PrivateDocument{Salt: hex.EncodeToString(salt), Value: p.Value})
		if err != nil {
			return nil, err
		}
		sum := sha256.Sum256(doc)
		p.Digest = "sha256:" + hex.EncodeToString(sum[:])
		docs = append(docs, doc)
	}
	return docs, nil
}

// errErasedElsewhere says that a value which is open was erased since, by another
// process that serves the same registry.
var errErasedElsewhere = errors.New("an open value was erased")

// ownWithheld refuses a body that names a withheld value by its digest, unless
// the value is on this machine's record and has the same holder. Digests stand
// in public editions: whoever could name any would read what is withheld on
// another machine, and destroy its key by an erasure here.
func ownWithheld(d *registry.Dossier, machine string, b registry.Body) error {
	var holders map[string]string
	for _, p := range registry.Privates(b) {
		if p.Digest == "" {
			continue
		}
		if holders == nil {
			holders = registry.Holders(d, machine)
		}
		if holder, ok := holders[p.Digest]; !ok || holder != registry.HolderOf(d, machine, b) {
			return registry.Refuse(registry.CodeRefused, "Write the value itself.", "The withheld value %s does not belong to what is to be recorded", p.Digest)
		}
	}
	return nil
}

// reveal opens the withheld values of a dossier that are not open yet. A value
// that is no longer kept, or whose erasure is on record, stays withheld. The
// caller holds the history's lock, since copies of the dossier share its bodies.
func (w *Workshop) reveal(ctx context.Context, d *registry.Dossier) error {
	erased := registry.Erased(d)
	for _, e := range d.Entries() {
		for _, p := range registry.Privates(e.Body) {
			if erased[p.Digest] && p.Value != "" {
				return errErasedElsewhere
			}
			if p.Digest == "" || p.Value != "" || erased[p.Digest] {
				continue
			}
			value, err := w.open(ctx, p.Digest)
			if err != nil {
				return err
			}
			p.Value = value
		}
	}
	return nil
}

func (w *Workshop) open(ctx context.Context, digest string) (string, error) {
	r, _, err := w.Private.Get(ctx, digest)
	if registry.CodeOf(err) == registry.CodeNotFound {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	defer r.Close()
	data, err := io.ReadAll(io.LimitReader(r, maxPrivate+1))
	if err != nil {
		return "", err
	}
	var doc registry.PrivateDocument
	if err := json.Unmarshal(data, &doc); err != nil {
		return "", registry.Refuse(registry.CodeTampered, "Restore it from a backup.", "The withheld value %s cannot be read", digest)
	}
	return doc.Value, nil
}

// secret is a withheld value and the token that stands for it in free text.
type secret struct{ value, token string }

// secretsOf lists what must not stand in free text: the names of the people and
// the whole numbers of the machine, longest first. It knows those on record and
// those among the bodies that are to be recorded together, whatever their order.
func secretsOf(d *registry.Dossier, more ...registry.Body) []secret {
	var out []secret
	add := func(b registry.Body) {
		switch b := b.(type) {
		case *registry.Person:
			out = append(out, secret{b.Name.Value, "[[" + b.ID + "]]"})
		case *registry.Machine:
			for _, n := range b.Numbers {
				out = append(out, secret{n.AsRead.Value, "[[number:" + n.Where + "]]"})
			}
		}
	}
	for _, b := range more {
		add(b)
	}
	for _, e := range d.Entries() {
		add(e.Body)
	}
	out = slices.DeleteFunc(out, func(s secret) bool { return len([]rune(s.value)) < 4 })
	slices.SortStableFunc(out, func(a, b secret) int { return len(b.value) - len(a.value) })
	return out
}

// withhold replaces known names and numbers in the free text of a sealed body by
// tokens, so that the public edition of the text gives them away no more than
// the private values themselves do.
func withhold(b registry.Body, known []secret) (registry.Body, error) {
	if len(known) == 0 || !mayMention(reflect.ValueOf(b), known) {
		return b, nil
	}
	raw, err := json.Marshal(b)
	if err != nil {
		return nil, err
	}
	touched := false
	for _, s := range known {
		touched = touched || bytes.Contains(raw, []byte(s.value))
	}
	if !touched {
		return b, nil
	}
	var tree any
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.UseNumber()
	if err := dec.Decode(&tree); err != nil {
		return nil, err
	}
	raw, err = json.Marshal(mapStrings(tree, func(s string) string {
		for _, k := range known {
			s = strings.ReplaceAll(s, k.value, k.token)
		}
		return s
	}))
	if err != nil {
		return nil, err
	}
	out, err := registry.DecodeBody(b.Kind(), registry.SchemaVersion(b.Kind()), raw)
	if err != nil {
		return nil, err
	}
	values := registry.Privates(b)
	for i, p := range registry.Privates(out) {
		p.Value = values[i].Value
	}
	return out, nil
}

// pointing are the keys under which a text is an identifier, a date or a word
// of the vocabulary, and not somebody's own words.
var pointing = []string{"id", "supersedes", "valid", "year", "made", "taken", "from", "until", "expires",
	"by", "second", "to", "person", "owner", "custodian", "role", "witness", "gaps_signed_by", "on", "takes_back", "amends", "record", "decision", "resolves",
	"component", "components", "proposition", "states", "cluster", "where", "evidence", "photo", "photos", "listed", "opening", "openings", "joint", "joints", "behind",
	"question", "requires", "excludes", "fault", "option", "options", "recommended", "irreversible", "treatment", "work", "gate", "checks", "removed_parts", "cautions",
	"origin", "finish", "specification", "function", "custody", "purpose", "shows", "outcome", "answer", "channel", "currency", "price_kind",
	"passkey", "host", "credential", "public_key", "means", "account", "nonce", "authenticator_data", "client_data", "signature", "hash",
	"digest", "preview", "media_type", "method", "catalog", "standpoint"}

// mapStrings applies f to every text that is somebody's own words.
func mapStrings(v any, f func(string) string) any {
	switch v := v.(type) {
	case string:
		return f(v)
	case []any:
		for i := range v {
			v[i] = mapStrings(v[i], f)
		}
	case map[string]any:
		for k, x := range v {
			switch {
			case k == "withheld" || k == "input" || k == "result":
			case slices.Contains(pointing, k) && isText(x):
			default:
				v[k] = mapStrings(x, f)
			}
		}
	}
	return v
}

// isText says whether a value is a text or a list of texts.
func isText(v any) bool {
	if list, ok := v.([]any); ok {
		return !slices.ContainsFunc(list, func(x any) bool { return !isText(x) })
	}
	_, ok := v.(string)
	return ok
}

// Reader renders free text for somebody: tokens become names and numbers for
// those who may see them, and roles and masked numbers for the public.
type Reader struct{ pairs []string }

// numberToken begins the token of a number of the machine.
const numberToken = "[[number:"

// NewReader makes a Reader of a dossier's people and numbers.
func NewReader(d *registry.Dossier, public bool) Reader {
	var r Reader
	for _, p := range registry.Live[*registry.Person](d) {
		r.pairs = append(r.pairs, "[["+p.RecordID()+"]]", personName(p.Record, public))
	}
	if m, ok := d.MachineRecord(); ok {
		for _, n := range m.Numbers {
			shown := n.AsRead.Value
			if public || shown == "" {
				shown = n.Masked
			}
			r.pairs = append(r.pairs, numberToken+n.Where+"]]", shown)
		}
	}
	return r
}

// Text renders one piece of text.
func (r Reader) Text(s string) string {
	if !strings.Contains(s, "[[") {
		return s
	}
	return strings.NewReplacer(r.pairs...).Replace(s)
}

// names says whether a JSON text holds any of the reader's tokens. Lists of
// lists begin with two brackets as well, and are none.
func (r Reader) names(raw []byte) bool {
	for i := 0; i < len(r.pairs); i += 2 {
		token := r.pairs[i]
		if strings.HasPrefix(token, numberToken) {
			token = numberToken // where it stands may be escaped
		}
		if bytes.Contains(raw, []byte(token)) {
			return true
		}
	}
	return false
}

// raw renders the texts of a JSON value, as mapStrings does, and looks into
// nothing that holds no token: sums are long and hold none.
func (r Reader) raw(raw json.RawMessage) (json.RawMessage, error) {
	raw = bytes.TrimLeft(raw, " \t\r\n")
	if !r.names(raw) {
		return raw, nil
	}
	var err error
	switch raw[0] {
	case '"':
		var s string
		if err := json.Unmarshal(raw, &s); err != nil {
			return nil, err
		}
		return json.Marshal(r.Text(s))
	case '[':
		var list []json.RawMessage
		if err := json.Unmarshal(raw, &list); err != nil {
			return nil, err
		}
		for i := range list {
			if list[i], err = r.raw(list[i]); err != nil {
				return nil, err
			}
		}
		return json.Marshal(list)
	case '{':
		var object map[string]json.RawMessage
		if err := json.Unmarshal(raw, &object); err != nil {
			return nil, err
		}
		for k, x := range object {
			if spoken(k, x) {
				if object[k], err = r.raw(x); err != nil {
					return nil, err
				}
			}
		}
		return json.Marshal(object)
	}
	return raw, nil
}

// spoken says whether what stands under a key may be somebody's own words.
func spoken(key string, value json.RawMessage) bool {
	if key == "withheld" || key == "input" || key == "result" {
		return false
	}
	if !slices.Contains(pointing, key) {
		return true
	}
	var v any
	return json.Unmarshal(value, &v) == nil && !isText(v)
}

// personName is a person's name, or the role where it is withheld.
func personName(p *registry.Person, public bool) string {
	if !public && p.Name.Value != "" {
		return p.Name.Value
	}
	return "the " + strings.ReplaceAll(p.Role, "-", " ")
}

// PersonName names a person of the dossier, or gives the id when there is none.
func PersonName(d *registry.Dossier, id string, public bool) string {
	if p, ok := registry.Get[*registry.Person](d, id); ok {
		return personName(p.Record, public)
	}
	return id
}
