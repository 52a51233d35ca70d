package exchange

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"example.org/asfound/registry"
)

// WriteCalendar writes what is to be looked at again, and until when offers
// stand, as iCalendar (RFC 5545; its name by RFC 7986). A date makes an event of whole days, a moment
// one of no length; what waits for a distance or a number of heat cycles has no
// place in a calendar and is a task without a date. The moments of recording
// stand as DTSTAMP, so that the same record gives the same bytes.
func WriteCalendar(in Input) ([]byte, error) {
	c := &calendar{in: in}
	c.line("BEGIN", "VCALENDAR")
	c.line("VERSION", "2.0")
	c.line("PRODID", "-//asfound//calendar 1//EN")
	c.line("NAME", text(in.Report.Machine.Name))
	begun := c.b.Len()
	c.rechecks()
	c.offers()
	if c.b.Len() == begun {
		c.zone()
	}
	c.line("END", "VCALENDAR")
	return []byte(c.b.String()), nil
}

type calendar struct {
	in Input
	b  strings.Builder
}

func (c *calendar) rechecks() {
	said := map[string]string{}
	when := map[string]string{}
	for _, d := range c.in.Report.Due {
		said[d.ID], when[d.ID] = d.What, d.When
	}
	for _, r := range registry.Live[*registry.RecheckDue](c.in.Dossier) {
		what, due := said[r.RecordID()]
		if !due {
			continue
		}
		kind := "VTODO"
		span, err := r.Record.On.Span()
		if r.Record.On != "" && err == nil {
			kind = "VEVENT"
		}
		c.line("BEGIN", kind)
		c.common("recheck", r.RecordID(), r.Recorded, fmt.Sprintf("%s: look again at %s", c.in.Report.Machine.Name, what), fmt.Sprintf("Due %s.", when[r.RecordID()]))
		if kind == "VEVENT" {
			first, last := span.First, span.Last
			if first.IsZero() {
				first = last
			}
			if last.IsZero() {
				last = first
			}
			c.line("DTSTART;VALUE=DATE", first.Format("20060102"))
			c.line("DTEND;VALUE=DATE", last.AddDate(0, 0, 1).Format("20060102")) // exclusive (3.6.1)
			c.line("TRANSP", "TRANSPARENT")
		}
		c.line("END", kind)
	}
}

func (c *calendar) offers() {
	for _, o := range c.in.Report.Offers {
		if o.Superseded || o.Standing != "" || o.Offer.Expires.IsZero() {
			continue
		}
		c.line("BEGIN", "VEVENT")
		c.common("offer", o.ID, o.Recorded, fmt.Sprintf("%s: an offer to %s ends without an answer", c.in.Report.Machine.Name, o.To), fmt.Sprintf("At most %s. After this moment the offer cannot be answered.", o.Offer.Ceiling))
		c.line("DTSTART", utc(o.Offer.Expires))
		c.line("TRANSP", "TRANSPARENT")
		c.line("END", "VEVENT")
	}
}

// zone stands where nothing is due: a calendar holds at least one component
// (3.6), and the definition of a time zone is one that no calendar shows.
func (c *calendar) zone() {
	for _, l := range [][2]string{{"BEGIN", "VTIMEZONE"}, {"TZID", "Etc/UTC"}, {"BEGIN", "STANDARD"}, {"DTSTART", "19700101T000000"},
		{"TZOFFSETFROM", "+0000"}, {"TZOFFSETTO", "+0000"}, {"END", "STANDARD"}, {"END", "VTIMEZONE"}} {
		c.line(l[0], l[1])
	}
}

// common writes what each component has. Its UID follows from machine and from
// the first of a line of corrections, and SEQUENCE counts those, so that a
// calendar that is read again changes and does not double.
func (c *calendar) common(what, id string, recorded time.Time, summary, description string) {
	if c.in.Report.Machine.Invented {
		description += " " + invented
	}
	_, host, _ := strings.Cut(c.in.base(), "://")
	host, _, _ = strings.Cut(host, "/")
	revises, first, corrections := revisions(c.in.Dossier), id, 0
	for revises[first] != "" {
		first, corrections = revises[first], corrections+1
	}
	c.line("UID", fmt.Sprintf("%s-%s-%s@%s", what, c.in.Report.Machine.ID, first, host))
	c.line("SEQUENCE", fmt.Sprint(corrections))
	c.line("DTSTAMP", utc(recorded))
	c.line("SUMMARY", text(summary))
	c.line("DESCRIPTION", text(description))
}

func utc(t time.Time) string { return t.UTC().Format("20060102T150405Z") }

// text escapes a TEXT value (3.3.11) and leaves control characters out.
func text(s string) string {
	s = strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(s)
	s = strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`).Replace(s)
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return -1
		}
		return r
	}, s)
}

// line writes a content line, folded before it is longer than 75 octets and
// never within a character (3.1).
func (c *calendar) line(name, value string) {
	rest := name + ":" + value
	for limit := 75; len(rest) > limit; limit = 74 { // a folded line begins with a space
		cut := limit
		for !utf8.RuneStart(rest[cut]) {
			cut--
		}
		c.b.WriteString(rest[:cut] + "\r\n ")
		rest = rest[cut:]
	}
	c.b.WriteString(rest + "\r\n")
}
