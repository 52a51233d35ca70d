package dossier

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"example.org/asfound/registry"
)

// line is one line of events.jsonl.
type line struct {
	bytes []byte
	hash  string
	event registry.Envelope
	ok    bool          // the envelope could be read
	body  registry.Body // nil when it could not be read
}

// readEvents reads the history, says for each event that is not the one that
// was written what became of it, and replays what can be read.
func (c *check) readEvents() {
	data, ok := c.text(fileEvents)
	if !ok {
		return
	}
	if len(data) == 0 || data[len(data)-1] != '\n' {
		c.find(FindingEvent, fileEvents, "The file was cut short: its last line has no end")
	}
	history := registry.History{Machine: c.manifest.Machine}
	broken := false
	for i, raw := range bytes.Split(bytes.TrimSuffix(data, []byte("\n")), []byte("\n")) {
		l := line{bytes: raw, hash: registry.LeafHash(raw)}
		c.tree.Add(raw)
		if e, err := registry.DecodeEvent(raw); err == nil {
			l.event, l.ok = e, true
			if canonical, err := registry.CanonicalJSON(rawJSON(raw)); err != nil || !bytes.Equal(canonical, raw) {
				c.find(FindingEvent, c.where(i, l), "It is not in canonical form; the program never writes it so")
			}
		} else if registry.CodeOf(err) == registry.CodeUnsupported {
			c.report.NotRead = append(c.report.NotRead, fmt.Sprintf("line %d of %s: %v", i+1, fileEvents, err))
		}
		if !broken {
			_, err := history.Add(raw)
			broken = err != nil && registry.CodeOf(err) == registry.CodeTampered
		}
		c.lines = append(c.lines, l)
	}
	if broken {
		c.diagnose()
	}
	c.replay()
	c.compareHead()
}

// where names an event: its line, what it records and the record.
func (c *check) where(i int, l line) string {
	if !l.ok {
		return fmt.Sprintf("%s line %d", fileEvents, i+1)
	}
	return fmt.Sprintf("%s line %d (%s)", fileEvents, i+1, shorten(string(l.event.Kind)))
}

// diagnose says what happened to a history that does not hold together. Each
// event carries its number and the hash of the one before it, so a change, a
// gap, a doubling and a wrong order can be told apart.
func (c *check) diagnose() {
	machine := c.majorityMachine()
	first := map[uint64]int{} // version → line
	highest := uint64(0)
	for i, l := range c.lines {
		where := c.where(i, l)
		switch {
		case !l.ok:
			c.find(FindingEvent, where, "Event %d was changed: it can no longer be read", i+1)
			if _, taken := first[uint64(i+1)]; !taken {
				first[uint64(i+1)] = i
			}
			continue
		case l.event.Machine != machine:
			c.find(FindingEvent, where, "It belongs to the machine %q, not to %q", shorten(l.event.Machine), machine)
			continue
		}
		v := l.event.Version
		if c.onlyNumberChanged(i) {
			c.find(FindingEvent, where, "Event %d was changed: it says that it is event %d", i+1, v)
			first[uint64(i+1)] = i
			continue
		}
		if at, seen := first[v]; seen {
			if c.lines[at].hash == l.hash {
				c.find(FindingEvent, where, "Event %d stands there twice; it stood on line %d already", v, at+1)
			} else {
				c.find(FindingEvent, where, "Two different events say that they are event %d; the other stands on line %d", v, at+1)
			}
			continue
		}
		if v < highest {
			c.find(FindingEvent, where, "Event %d is out of order: it stands after event %d", v, highest)
		}
		first[v] = i
		highest = max(highest, v)
	}
	c.missing(first)
	// broken(v) says that event v+1 was not written on top of event v.
	broken := func(v uint64) bool {
		a, okA := first[v]
		b, okB := first[v+1]
		if v == 0 {
			return okB && c.lines[b].ok && c.lines[b].event.Previous != ""
		}
		return okA && okB && c.lines[a].ok && c.lines[b].ok && c.lines[b].event.Previous != c.lines[a].hash
	}
	skip := uint64(math.MaxUint64)
	for _, v := range append([]uint64{0}, slices.Sorted(maps.Keys(first))...) {
		if v == skip || !broken(v) {
			continue
		}
		changed := v
		if v == 0 || broken(v+1) {
			changed = v + 1 // both its neighbours disagree with it
			skip = changed
		}
		i := first[changed]
		c.find(FindingEvent, c.where(i, c.lines[i]), "Event %d was changed after it was written: its neighbours name another hash", changed)
	}
}

// onlyNumberChanged says whether a line stands between the right neighbours and
// bears another number than its place.
func (c *check) onlyNumberChanged(i int) bool {
	is := func(i int) bool { return c.lines[i].ok && c.lines[i].event.Version == uint64(i+1) }
	if is(i) || i > 0 && !is(i-1) {
		return false
	}
	if i+1 < len(c.lines) {
		return is(i + 1)
	}
	return c.listed && c.manifest.Version == uint64(len(c.lines))
}

// missing names the gaps in the numbers of the events.
func (c *check) missing(first map[uint64]int) {
	next := uint64(1)
	for _, v := range slices.Sorted(maps.Keys(first)) {
		switch {
		case v == next+1:
			c.find(FindingEvent, fileEvents, "Event %d is missing", next)
		case v > next:
			c.find(FindingEvent, fileEvents, "Events %d to %d are missing", next, v-1)
		}
		next = v + 1
	}
}

// majorityMachine is the machine that most events belong to.
func (c *check) majorityMachine() string {
	count, best := map[string]int{}, ""
	for _, l := range c.lines {
		if l.ok {
			if count[l.event.Machine]++; count[l.event.Machine] > count[best] {
				best = l.event.Machine
			}
		}
	}
	return best
}

// replay reads the bodies, with the older schema versions brought up to date,
// and applies them to a dossier. What rests on the state before an event is
// compared on the way.
func (c *check) replay() {
	c.dossier = registry.NewDossier(c.majorityMachine())
	for i := range c.lines {
		l := &c.lines[i]
		if !l.ok {
			continue
		}
		if c.report.From.IsZero() {
			c.report.From = l.event.Recorded
		}
		c.report.To = l.event.Recorded
		body, err := registry.DecodeBody(l.event.Kind, l.event.Schema, l.event.Body)
		switch {
		case registry.CodeOf(err) == registry.CodeUnsupported:
			c.report.NotRead = append(c.report.NotRead, fmt.Sprintf("event %d: %v", l.event.Version, err))
			continue
		case err != nil:
			c.find(FindingRecord, c.where(i, *l), "The record cannot be read: %v", err)
			continue
		}
		l.body = body
		if l.event.Machine == c.dossier.ID {
			c.checkBefore(i, *l)
			c.dossier.Apply(metaOf(l.event, l.hash), body)
		}
	}
	c.report.Events, c.report.Machine = len(c.lines), c.dossier.ID
	if m, ok := c.dossier.MachineRecord(); ok {
		c.report.Name, c.report.Invented = m.Name(), m.Invented
	}
}

// checkBefore compares what an event says of the record before it.
func (c *check) checkBefore(i int, l line) {
	switch b := l.body.(type) {
	case *registry.SurveySeal:
		if b.Digest != c.dossier.SurveyDigest() {
			c.find(FindingSeal, c.where(i, l), "The seal %s is not of the survey entries that stood then", shorten(b.ID))
		}
	case *registry.Decision:
		e, ok := c.dossier.Entry(b.On)
		var digest string
		var offer registry.Offer
		if ok {
			switch o := e.Body.(type) {
			case *registry.Proposal:
				digest, offer = o.Digest, o.Offer
			case *registry.ChangeRequest:
				digest, offer = o.Digest, o.Offer
			}
		}
		c.report.Decisions++
		switch {
		case digest == "":
			c.find(FindingDecision, c.where(i, l), "The decision %s answers %s, and nothing of that name was asked before", shorten(b.ID), shorten(b.On))
		case digest != b.Digest:
			c.find(FindingDecision, c.where(i, l), "The decision %s answers another offer than %s holds", shorten(b.ID), shorten(b.On))
		case slices.ContainsFunc(b.Options, func(id string) bool { _, ok := offer.Option(id); return !ok }):
			c.find(FindingDecision, c.where(i, l), "The decision %s names an option that was not offered", shorten(b.ID))
		}
		if b.Assertion != nil && c.holds(FindingPasskey, i, l, c.dossier.CheckAssertion(b)) {
			c.report.Confirmed++
		}
	case *registry.SecondSignature:
		if c.holds(FindingSecond, i, l, c.dossier.CheckSecond(b)) {
			c.report.SecondSigned++
		}
	}
}

// holds lists what is wrong with a person's signature, and says whether nothing
// is.
func (c *check) holds(code string, i int, l line, err error) bool {
	if err != nil {
		c.find(code, c.where(i, l), "%s", shortenTo(plain(err), 300))
	}
	return err == nil
}

// compareHead compares the end of the history with manifest and checkpoint.
func (c *check) compareHead() {
	n := len(c.lines)
	root, err := c.tree.Root(int64(n))
	if err != nil {
		c.find(FindingEvent, fileEvents, "The history has no root: %v", err)
		return
	}
	c.report.Root = root
	if n > 0 {
		c.report.Head = c.lines[n-1].hash
	}
	if text, ok := c.text(fileCheckpoint); ok {
		if c.sealed, err = ParseCheckpoint(text); err != nil {
			c.find(FindingCheckpoint, fileCheckpoint, "%v", plain(err))
		} else {
			c.compareCheckpoint(root)
		}
	}
	if !c.listed {
		return
	}
	m := c.manifest
	switch {
	case m.Version > uint64(n):
		c.find(FindingEvent, fileEvents, "The manifest says that there are %d events, and %d are there: events %d to %d are missing at the end", m.Version, n, n+1, m.Version)
	case m.Version < uint64(n):
		c.find(FindingEvent, fileEvents, "The manifest says that there are %d events, and %d are there: some were put in", m.Version, n)
	case m.Head != c.report.Head:
		c.find(FindingEvent, fileEvents, "The last event, %d, is not the one whose hash the manifest gives", n)
	case m.Root != root:
		c.find(FindingEvent, fileEvents, "The events do not make the root that the manifest gives")
	}
	if m.Machine != c.report.Machine {
		c.find(FindingManifest, fileManifest, "It names the machine %q, and the events belong to %q", shorten(m.Machine), c.report.Machine)
	}
	if len(c.report.NotRead) == 0 && (m.Name != c.report.Name || m.Invented != c.report.Invented) {
		c.find(FindingManifest, fileManifest, "It calls the machine otherwise than the record does")
	}
	if !m.MadeAt.Equal(c.report.To) {
		c.find(FindingManifest, fileManifest, "It is dated otherwise than the last event")
	}
	if c.sealed.Origin != "" && m.Origin != c.sealed.Origin {
		c.find(FindingManifest, fileManifest, "It gives another origin than the checkpoint")
	}
}

func (c *check) compareCheckpoint(root string) {
	s := c.sealed
	c.report.Origin = s.Origin
	n := int64(len(c.lines))
	switch {
	case s.Size < n:
		c.find(FindingCheckpoint, fileCheckpoint, "It is of %d events, and the bundle has %d: it is an older checkpoint, or events were put in", s.Size, n)
	case s.Size > n:
		c.find(FindingCheckpoint, fileCheckpoint, "It is of %d events, and the bundle has %d: events are missing at the end", s.Size, n)
	case s.Root != root:
		c.find(FindingCheckpoint, fileCheckpoint, "The events do not make the root that was signed: some event is not the one that was written")
	}
	if !strings.HasSuffix(s.Origin, "/"+c.report.Machine) {
		c.find(FindingCheckpoint, fileCheckpoint, "It is of %q, not of the machine %q", shorten(s.Origin), c.report.Machine)
	}
}

// checkSignatures checks who signed the checkpoint and the manifest.
func (c *check) checkSignatures() {
	keys := c.opts.Keys
	var own string
	if data, ok := c.text(fileKey); ok {
		own = strings.TrimSuffix(string(data), "\n")
		if KeyName(own) == "" || own+"\n" != string(data) {
			c.find(FindingSignature, fileKey, "It is not one line with a public key")
			own = ""
		}
	}
	pinned := len(keys) > 0
	if !pinned {
		if own == "" {
			return
		}
		keys = []string{own}
	}
	if !pinned && c.opts.Fingerprint == "" {
		c.note("The key came with the bundle. So it is shown that the bundle agrees with itself, not who made it: ask the registry for its public key and give it here. The fingerprint of this one is %s.", Fingerprint(own))
	}
	signedBy := ""
	if text, ok := c.files[fileCheckpoint]; ok {
		_, signed, err := OpenCheckpoint(text.data, keys...)
		switch {
		case err != nil && pinned:
			c.find(FindingSignature, fileCheckpoint, "No key that you trust signed this checkpoint: %v", plain(err))
		case err != nil:
			c.find(FindingSignature, fileCheckpoint, "The key in the bundle did not sign this checkpoint: %v", plain(err))
		default:
			signedBy = signed[0]
			c.report.Key, c.report.Fingerprint, c.report.Pinned = signedBy, Fingerprint(signedBy), pinned
		}
	}
	if want, err := Origin(KeyName(signedBy), c.report.Machine); signedBy != "" && c.sealed.Origin != "" && (err != nil || want != c.sealed.Origin) {
		c.find(FindingCheckpoint, fileCheckpoint, "Its origin %q is not of the registry that signed it, %q", shorten(c.sealed.Origin), KeyName(signedBy))
	}
	if seal, ok := c.text(fileSeal); ok {
		manifest := c.files[fileManifest]
		text, _, err := openNote(seal, keys...)
		switch {
		case err != nil && pinned:
			c.find(FindingSignature, fileSeal, "No key that you trust signed this manifest: %v", plain(err))
		case err != nil:
			c.find(FindingSignature, fileSeal, "The key in the bundle did not sign this manifest: %v", plain(err))
		case manifest != nil && text != sealText("sha256:"+manifest.sha256):
			c.find(FindingSignature, fileSeal, "It signs another manifest than the one in the bundle")
		}
	}
	if pinned && own != "" && signedBy != "" && own != signedBy && !slices.Contains(keys, own) {
		c.find(FindingSignature, fileKey, "The key in the bundle is not the one that signed it")
	}
}

// plain is an error's message without its advice.
func plain(err error) string {
	var e *registry.Error
	if errors.As(err, &e) {
		return e.Message
	}
	return err.Error()
}
