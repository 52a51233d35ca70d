package cli

import (
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"example.org/asfound/dossier"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// questionsShown is how many open questions a page of text lists.
const questionsShown = 10

// lineWidth is how wide text is set.
const lineWidth = 96

// writeReport prints a machine as a page of text.
func writeReport(w io.Writer, r *workshop.Report) {
	title := fmt.Sprintf("%s — %s %s, %s", r.Machine.Name, r.Machine.Make, r.Machine.Model, r.Machine.Year)
	fmt.Fprintf(w, "%s\n%s\n", title, strings.Repeat("=", utf8.RuneCountInString(title)))
	if r.Machine.Invented {
		fmt.Fprintln(w, "Invented: no such machine, maker or people exist.")
	}
	for _, n := range r.Machine.Numbers {
		fmt.Fprintf(w, "%s number %s. ", n.Where, n.Shown)
	}
	fmt.Fprintf(w, "Phase: %s. Record at version %d.\n", r.Phase, r.Version)
	if r.Elsewhere != "" {
		wrap(w, r.Elsewhere, "")
	}
	if r.AsOf != "" {
		fmt.Fprintf(w, "As it stood on %s. ", r.AsOf)
	}
	if r.KnownAt != "" {
		fmt.Fprintf(w, "As far as was known at %s.", r.KnownAt)
	}
	if r.AsOf != "" || r.KnownAt != "" {
		fmt.Fprintln(w)
	}
	heading(w, "How original is it?")
	writeIndices(w, &r.Indices)
	fmt.Fprintf(w, "The survey covers %d of %d components; %s of the substance weight rests on evidence.\n", r.Survey.Surveyed, r.Survey.Of, scoring.Percent(r.Coverage))
	if len(r.Uncertain) > 0 {
		heading(w, "What is least certain, and what would settle it")
		for _, u := range r.Uncertain[:min(len(r.Uncertain), 6)] {
			wrap(w, fmt.Sprintf("- %s, %s (%g points): %s. Look: %s.", u.Name, u.Proposition, u.Points, u.Why, u.Settle), "  ")
		}
	}
	if len(r.Fittings) > 0 {
		heading(w, "What sat where, and when")
		for _, f := range r.Fittings {
			wrap(w, fmt.Sprintf("- %s: %s, %s (recorded %s)", f.Name, f.Part, f.Valid, f.Recorded.Format("2 January 2006")), "  ")
		}
	}
	if len(r.Faults) > 0 {
		heading(w, "Faults and options")
		for _, f := range r.Faults {
			wrap(w, fmt.Sprintf("- %s: %s", f.ID, f.Complaint), "  ")
			writeOptions(w, f.Options)
		}
	}
	if len(r.Offers) > 0 {
		heading(w, "What the owner was asked")
		for _, o := range r.Offers {
			writeOffer(w, o)
		}
	}
	if len(r.Work) > 0 {
		heading(w, "Work")
		for _, x := range r.Work {
			undone := ""
			if x.Undone {
				undone = "; undone since"
			}
			wrap(w, fmt.Sprintf("- %s: %s [%s%s] %g h %s", x.Valid, x.Did, strings.ToUpper(x.Standing.Mark), undone, x.Hours, x.Spent), "  ")
			for _, why := range x.Standing.Why {
				wrap(w, "    missing: "+why, "    ")
			}
		}
	}
	if len(r.Removed) > 0 {
		heading(w, "Removed parts")
		for _, p := range r.Removed {
			wrap(w, fmt.Sprintf("- tag %s: %s, %s", p.Tag, p.What, words(p.Custody)), "  ")
		}
	}
	if len(r.Checks) > 0 {
		heading(w, "Checks")
		for _, c := range r.Checks {
			wrap(w, fmt.Sprintf("- %s: %s, %s%s", c.Valid, c.What, words(c.Outcome), readings(c.Readings)), "  ")
		}
	}
	writeGates(w, r.Gates)
	if h := r.HandBack; h != nil {
		heading(w, "Handed back")
		wrap(w, fmt.Sprintf("On %s to %s by %s, with %d removed parts; the inventory balances.", h.On, h.To, h.By, len(h.RemovedParts)), "")
		for _, l := range h.KnownLimits {
			wrap(w, "- known limit: "+l, "  ")
		}
	}
	if len(r.Questions) > 0 {
		heading(w, "Left open")
		for _, q := range r.Questions[:min(len(r.Questions), questionsShown)] {
			wrap(w, "- "+q, "  ")
		}
		if more := len(r.Questions) - questionsShown; more > 0 {
			fmt.Fprintf(w, "- and %d more\n", more)
		}
	}
}

func heading(w io.Writer, s string) { fmt.Fprintf(w, "\n%s\n", s) }

func words(s string) string { return strings.ReplaceAll(s, "-", " ") }

// wrap prints text set to lineWidth, later lines indented.
func wrap(w io.Writer, text, indent string) {
	line := ""
	for _, word := range strings.Fields(text) {
		switch {
		case line == "":
			line = word
			if strings.HasPrefix(text, "    ") {
				line = "    " + word
			}
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > lineWidth:
			fmt.Fprintln(w, line)
			line = indent + word
		default:
			line += " " + word
		}
	}
	fmt.Fprintln(w, line)
}

func writeIndices(w io.Writer, i *workshop.Indices) {
	fmt.Fprintf(w, "%-12s %-28s %-28s %s\n", "index (0–1)", "now: median (80 % interval)", "if kept parts went back", "weights ±30 %")
	i.Each(func(name string, r *workshop.IndexReport) {
		if r.Now == nil {
			wrap(w, fmt.Sprintf("%-12s %s", name, r.Refused), strings.Repeat(" ", 13))
			return
		}
		fmt.Fprintf(w, "%-12s %-28s %-28s %.2f–%.2f\n", name, interval(r.Now), interval(r.Recoverable), r.Now.WeightBand[0], r.Now.WeightBand[1])
		if len(r.Now.Modes) > 1 {
			fmt.Fprintf(w, "%13s", "")
			for k, m := range r.Now.Modes {
				if k > 0 {
					fmt.Fprint(w, "; ")
				}
				fmt.Fprintf(w, "%s chance of about %.2f", scoring.Percent(m.Mass), m.At)
			}
			fmt.Fprintln(w)
		}
	})
}

func interval(r *scoring.IndexResult) string {
	return fmt.Sprintf("%.3f (%.3f–%.3f)", r.Median, r.Low80, r.High80)
}

// writeOptions prints options one under the other, and under each what it does
// to the indices that it touches.
func writeOptions(w io.Writer, options []workshop.OptionReport) {
	for _, o := range options {
		undo := "can be undone"
		if !o.Reversible {
			undo = "CANNOT BE UNDONE"
		}
		fmt.Fprintf(w, "  %-26s %10s %6.1f h  %-18s %s\n", clip(o.ID, 26), amount(o.Money), o.Hours, undo, clip(o.Title, 44))
		if o.Effects == nil {
			fmt.Fprintln(w, "      not weighed yet")
			continue
		}
		touched := false
		o.Effects.Each(func(name string, r *scoring.EffectResult) {
			if len(r.Parts) == 0 && len(r.Openings) == 0 {
				return
			}
			touched = true
			fmt.Fprintf(w, "      %-12s points lost now %-24s for good %s\n", name, points(r.Now), points(r.ForGood))
		})
		if !touched {
			fmt.Fprintln(w, "      nothing is lost")
		}
		if len(o.First) > 0 {
			fmt.Fprintf(w, "      in hand first: %s\n", strings.Join(o.First, "; "))
		}
	}
}

// points prints a loss in thousandths of its index, median and 80 % interval.
func points(s scoring.Summary) string {
	return fmt.Sprintf("%.1f (%.1f to %.1f)", s.Median*1000, s.Low80*1000, s.High80*1000)
}

func amount(m registry.Money) string {
	if m.IsZero() {
		return "0"
	}
	return m.Amount.String() + " " + m.Currency
}

func clip(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n-1]) + "…"
	}
	return s
}

func writeOffer(w io.Writer, o workshop.OfferReport) {
	what := "proposal"
	if o.Kind == "change-request" {
		what = "change request"
	}
	wrap(w, fmt.Sprintf("- %s %s: %s; ceiling %s; digest %s", what, o.ID, strings.Join(o.Recommended, ", "), o.Offer.Ceiling, short(o.Digest)), "  ")
	if o.Found != "" {
		wrap(w, "    found: "+o.Found, "    ")
	}
	switch {
	case o.Superseded:
		fmt.Fprintln(w, "    replaced by a later one; answers to it no longer count")
	case len(o.Answers) == 0:
		fmt.Fprintln(w, "    not answered yet")
	}
	for _, a := range o.Answers {
		text := fmt.Sprintf("    %s on %s: %s", a.Person, a.Recorded.Format("2 January 2006"), strings.ToUpper(words(a.Answer)))
		if len(a.Options) > 0 {
			text += " " + strings.Join(a.Options, ", ")
		}
		if len(a.Conditions) > 0 {
			text += "; on condition: " + strings.Join(a.Conditions, "; ")
		}
		switch {
		case a.Answer == "ask":
			text += fmt.Sprintf(" (%s): %s", a.ID, a.Reason)
		case a.Reason != "":
			text += "; because " + a.Reason
		}
		wrap(w, text, "    ")
		for _, r := range a.Replies {
			wrap(w, fmt.Sprintf("      %s replied: %s", r.By, r.Says), "      ")
		}
	}
}

func short(digest string) string {
	if len(digest) > 19 {
		return digest[:19] + "…"
	}
	return digest
}

func readings(list []registry.Reading) string {
	var out []string
	for _, r := range list {
		s := fmt.Sprintf("%s %g", r.Quantity, r.Value)
		if r.Uncertainty > 0 {
			s += fmt.Sprintf(" ± %g", r.Uncertainty)
		}
		if r.Unit != "1" {
			s += " " + r.Unit
		}
		out = append(out, s)
	}
	if len(out) == 0 {
		return ""
	}
	return " (" + strings.Join(out, ", ") + ")"
}

func writeGates(w io.Writer, gates []workshop.GateReport) {
	any := false
	for _, g := range gates {
		any = any || g.Passed
	}
	if !any {
		return
	}
	heading(w, "Gates")
	for _, g := range gates {
		state := "not passed"
		if g.Passed {
			state = "passed " + g.On + " by " + g.By
			if g.Second != "" {
				state += " and " + g.Second
			}
		}
		fmt.Fprintf(w, "- %-38s %s\n", g.Title, state)
	}
}

// writeComponent prints one component with its evidence.
func writeComponent(w io.Writer, r *workshop.Report, c *workshop.ComponentReport) {
	fmt.Fprintf(w, "%s (%s, %s) — %s, %g points\n", c.Name, c.ID, c.Code, c.Group, c.Points)
	if c.NotFitted {
		fmt.Fprintln(w, "This type of machine never had it.")
		return
	}
	if r.AsOf != "" {
		writeFitted(w, r, c)
		return
	}
	fmt.Fprintf(w, "function: %s; custody: %s", words(c.Function), words(c.Custody))
	if c.Condition != nil {
		fmt.Fprintf(w, "; condition %d of 5: %s", *c.Condition, c.ConditionWords)
	}
	fmt.Fprintln(w)
	for _, claim := range c.Claims() {
		leading := words(claim.Leading)
		if leading == "" {
			leading = "undetermined"
		}
		fmt.Fprintf(w, "\n%s: %s, %s (basis: %s)\n", claim.Proposition, leading, claim.Shown, claim.Basis)
		for _, e := range claim.Posterior {
			if e.Value >= 0.005 {
				fmt.Fprintf(w, "  %-20s %5s", words(e.Key), scoring.Percent(e.Value))
				if claim.Band != nil {
					if b, ok := claim.Band.Get(e.Key); ok && scoring.Percent(b[0]) != scoring.Percent(b[1]) {
						fmt.Fprintf(w, "  (%s to %s as the evidence overlaps more or less)", scoring.Percent(b[0]), scoring.Percent(b[1]))
					}
				}
				fmt.Fprintln(w)
			}
		}
		for i, id := range claim.Evidence {
			if i+1 < len(claim.EntropyBits) {
				fmt.Fprintf(w, "  evidence %-40s uncertainty %.2f → %.2f bits\n", id, claim.EntropyBits[i], claim.EntropyBits[i+1])
			}
		}
		if claim.Conflict {
			fmt.Fprintln(w, "  CONFLICT: the evidence contradicts itself; both sides are shown, neither is dropped.")
		}
		if claim.Caution != "" {
			fmt.Fprintf(w, "  %s\n", claim.Caution)
		}
	}
	for _, f := range r.Fittings {
		if f.Component == c.ID {
			fmt.Fprintf(w, "  sat there %s: %s\n", f.Valid, f.Part)
		}
	}
}

// writeFitted prints what sat in one position on a day.
func writeFitted(w io.Writer, r *workshop.Report, c *workshop.ComponentReport) {
	day, err := time.Parse(time.DateOnly, r.AsOf)
	if err != nil {
		return
	}
	for _, f := range r.Fittings {
		if span, err := f.Valid.Span(); f.Component == c.ID && err == nil && !span.First.After(day) && (span.Last.IsZero() || !span.Last.Before(day)) {
			wrap(w, fmt.Sprintf("On %s: %s (%s), recorded on %s.", r.AsOf, f.Part, f.Valid, f.Recorded.Format("2 January 2006")), "  ")
			return
		}
	}
	fmt.Fprintf(w, "On %s: not known.\n", r.AsOf)
}

// writeVerified prints what the verifier saw.
func writeVerified(w io.Writer, r dossier.Report) {
	if r.Machine == "" {
		fmt.Fprintln(w, "It could not be read as a bundle.")
		writeFindings(w, r)
		return
	}
	fmt.Fprintf(w, "%s (%s), %s edition: %d events from %s to %s\n", r.Name, r.Machine, r.Edition, r.Events, r.From.Format("2 January 2006"), r.To.Format("2 January 2006"))
	fmt.Fprintf(w, "root %s, key %s\n", r.Root, r.Fingerprint)
	fmt.Fprintf(w, "compared with the events: %d pictures, %d originals, %d withheld values; kept back in this edition: %d pictures, %d values\n",
		r.Photos, r.Originals, r.Private, r.WithheldPhotos, r.WithheldPrivate)
	fmt.Fprintf(w, "%d offers and %d decisions hold together; %d recorded figures computed again gave the same\n", r.Offers, r.Decisions, r.Estimates)
	if r.Confirmed+r.SecondSigned > 0 {
		fmt.Fprintf(w, "%d answers are signed by a passkey, %d records by their second person’s own account\n", r.Confirmed, r.SecondSigned)
	}
	writeFindings(w, r)
}

func writeFindings(w io.Writer, r dossier.Report) {
	for _, n := range r.Notes {
		wrap(w, "note: "+n, "  ")
	}
	if len(r.Findings) == 0 {
		fmt.Fprintln(w, "Nothing was found that is not as it was made.")
	}
	for _, f := range r.Findings {
		wrap(w, fmt.Sprintf("FOUND (%s) %s: %s", f.Code, f.Where, f.What), "  ")
	}
}
