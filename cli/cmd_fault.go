package cli

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

type faultCommand struct {
	Add        faultAddCommand        `cmd:"" help:"record a fault by the complaint that it is"`
	Seen       faultSeenCommand       `cmd:"" help:"record what was seen, or not seen, in looking for its cause"`
	Next       faultNextCommand       `cmd:"" help:"say which test to make next, least invasive first, and what each outcome leads to"`
	Show       faultShowCommand       `cmd:"" help:"show what may be the cause of a fault, or list a machine's faults"`
	Options    faultOptionsCommand    `cmd:"" help:"draft an option for each treatment of a cause, \"leave\" first"`
	Complaints faultComplaintsCommand `cmd:"" help:"list the complaints of the symptom library"`
}

type faultAddCommand struct {
	Target    target   `embed:""`
	Words     []string `arg:"" optional:"" help:"what is wrong, in one's own words; the complaint's title when left out"`
	Complaint []string `help:"a complaint of the library, such as no-spark; may be repeated"`
	Component []string `help:"a component in which it shows; may be repeated; that of the likeliest cause when left out"`
	Grave     bool     `help:"it could hurt someone"`
	ID        string   `help:"name of the fault in the record; the complaint's when left out"`
	By        string   `help:"person id; --as when left out"`
	Date      string   `help:"when, today when left out"`
}

// Run records a fault with its complaints as seen.
func (x *faultAddCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	id, receipt, err := w.AddFault(c.ctx, x.Target.request(c), workshop.NewFault{ID: x.ID, Complaints: x.Complaint, Words: strings.Join(x.Words, " "),
		Components: x.Component, Grave: x.Grave, By: orElse(x.By, c.line.As), Valid: registry.Date(x.Date)})
	if err != nil {
		return err
	}
	return c.printReceipt(receipt, fmt.Sprintf("The fault is recorded as %q", id))
}

type faultSeenCommand struct {
	Target   target `embed:""`
	Fault    string `arg:"" help:"the fault"`
	What     string `arg:"" help:"the observation, or with --cause the cause, by its name in the library"`
	Answer   string `arg:"" help:"yes or no: whether it was so" enum:"yes,no"`
	Cause    bool   `help:"the cause itself was looked at"`
	Test     string `help:"the test of the library that showed it; a repair tried in vain is one"`
	Reading  string `help:"a figure with its unit, such as \"capacity=0.02 uF\""`
	With     string `help:"instrument of the reading"`
	Sure     bool   `help:"the reading is far from the usual, and was looked at again"`
	How      string `help:"how it showed, in words"`
	Corrects string `help:"an earlier finding that this one corrects"`
	ID       string `help:"name of the finding in the record"`
	By       string `help:"person id; --as when left out"`
	Date     string `help:"when, today when left out"`
}

// Run records one finding.
func (x *faultSeenCommand) Run(c *call) error {
	f := &registry.Finding{Common: registry.Common{ID: x.ID, Valid: registry.Date(x.Date), Supersedes: x.Corrects}, Fault: x.Fault, Seen: x.Answer == "yes",
		Test: x.Test, How: x.How, Sure: x.Sure, By: orElse(x.By, c.line.As)}
	if x.Cause {
		f.Cause = x.What
	} else {
		f.Observation = x.What
	}
	if x.Reading != "" {
		reading, err := parseReading(x.Reading)
		if err != nil {
			return err
		}
		reading.Instrument = x.With
		f.Reading = &reading
	}
	return c.record(x.Target, "The finding is recorded", f)
}

// searchRates are what an hour and a point are worth in looking for a cause.
type searchRates struct {
	MinutesPerPoint *float64 `help:"minutes of work that one point of 1000 lost for good is worth; 60 when left out"`
	MoneyPerHour    *float64 `help:"money that an hour of work is worth; 30 when left out"`
	Specialist      *float64 `help:"what it would cost to hand it to a specialist"`
}

func (r searchRates) question() workshop.FaultQuestion {
	return workshop.FaultQuestion{MinutesPerPoint: r.MinutesPerPoint, MoneyPerHour: r.MoneyPerHour, Specialist: r.Specialist}
}

type faultNextCommand struct {
	Machine string      `arg:"" help:"the machine's name in the registry"`
	Fault   string      `arg:"" help:"the fault"`
	Rates   searchRates `embed:""`
}

// Run says which test comes next.
func (x *faultNextCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	r, err := w.FaultSearch(c.ctx, x.Machine, x.Fault, x.Rates.question())
	if err != nil {
		return err
	}
	if err := r.Err(); err != nil {
		return err
	}
	return c.print(r, func(w io.Writer) { writeNextTest(w, r) })
}

type faultShowCommand struct {
	Machine string      `arg:"" help:"the machine's name in the registry"`
	Fault   string      `arg:"" optional:"" help:"one fault; a list of all when left out"`
	Rates   searchRates `embed:""`
}

// Run shows one fault, or lists all.
func (x *faultShowCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	if x.Fault != "" {
		r, err := w.FaultSearch(c.ctx, x.Machine, x.Fault, x.Rates.question())
		if err != nil {
			return err
		}
		return c.print(r, func(w io.Writer) { writeFault(w, r) })
	}
	list, err := w.FaultSearches(c.ctx, x.Machine)
	if err != nil {
		return err
	}
	return c.print(list, func(w io.Writer) {
		if len(list) == 0 {
			fmt.Fprintln(w, "No fault is recorded. Record one with \"asfound fault add\".")
		}
		for _, r := range list {
			wrap(w, fmt.Sprintf("%s: %s. %s", r.Fault, strings.TrimSuffix(r.Words, "."), leadingWords(r)), "  ")
		}
	})
}

// leadingWords says how far the search for a cause is.
func leadingWords(r *workshop.FaultSearch) string {
	if len(r.Causes) == 0 {
		return "Its cause has not been looked for here."
	}
	said := fmt.Sprintf("Likeliest cause: %s, %s.", r.Causes[0].Title, r.Causes[0].Shown)
	if r.Next != nil {
		said += " Next: " + r.Next.Title + "."
	}
	if r.Stop != nil {
		said += " Ask a specialist."
	}
	return said
}

// causesShown is how many causes a page of text lists.
const causesShown = 6

func writeFault(w io.Writer, r *workshop.FaultSearch) {
	wrap(w, r.Fault+": "+r.Words, "  ")
	for _, c := range r.Complaints {
		fmt.Fprintf(w, "\n%s. %s\n", c.Title, c.Sentence)
		for _, line := range append(append([]string{}, c.Not...), c.First...) {
			wrap(w, "- "+line, "  ")
		}
	}
	if len(r.Findings) > 0 {
		heading(w, "What was found")
	}
	for _, f := range r.Findings {
		line := "- " + map[bool]string{true: "yes: ", false: "no: "}[f.Seen] + f.Title
		if x := f.Reading; x != nil {
			line += fmt.Sprintf(" (%s %s)", x.Quantity, workshop.Reading(x.Value, x.Uncertainty, x.Unit))
		}
		if f.TestTitle != "" {
			line += "; by the test “" + f.TestTitle + "”"
		}
		wrap(w, line+"; "+f.Person+" ["+f.ID+"]", "  ")
	}
	if len(r.Causes) > 0 {
		heading(w, "What may cause it")
	}
	for _, c := range r.Causes[:min(len(r.Causes), causesShown)] {
		fmt.Fprintf(w, "%10s  %s [%s]\n", c.Shown, c.Title, c.ID)
		if x := c.For; x != nil {
			fmt.Fprintf(w, "%12sfor it: %s (%s without that)\n", "", speaksWords(x), x.Without)
		}
		if x := c.Against; x != nil {
			fmt.Fprintf(w, "%12sagainst it: %s (%s without that)\n", "", speaksWords(x), x.Without)
		}
	}
	if n := len(r.Causes) - causesShown; n > 0 {
		fmt.Fprintf(w, "  and %d less likely; --json gives all\n", n)
	}
	if r.Refused != nil {
		fmt.Fprintln(w)
		wrap(w, "No next test: "+sentence(r.Refused.Message)+" "+r.Refused.Fix, "  ")
		return
	}
	writeNextTest(w, r)
}

func speaksWords(x *workshop.SpeaksReport) string {
	if x.Seen {
		return x.Title
	}
	return "not so: " + x.Title
}

// rivalsShown is how many tests besides the next one are told.
const rivalsShown = 4

func writeNextTest(w io.Writer, r *workshop.FaultSearch) {
	for _, c := range r.Cautions {
		wrap(w, "! "+c, "  ")
	}
	if r.Stop != nil {
		heading(w, "Stop here")
		wrap(w, r.Stop.Say, "")
	}
	for _, c := range r.Causes {
		if r.Confirmed(c.ID) {
			wrap(w, "The cause was seen itself: "+c.Title+". Put that right first (asfound fault options "+r.Machine+" "+r.Fault+" "+c.ID+"), and go on here only if the complaint stays.", "")
		}
	}
	if t := r.Next; t != nil {
		heading(w, "Next: "+t.Title+" ["+t.ID+"]")
		fmt.Fprintf(w, "Level %d: %s.\n", t.Level, t.LevelWords)
		for _, x := range t.Cautions {
			wrap(w, "! "+strings.ToUpper(x.Level)+": "+x.Text, "  ")
		}
		wrap(w, t.How, "")
		line := fmt.Sprintf("%g min", t.Minutes)
		if !t.Money.IsZero() {
			line += ", " + t.Money.String()
		}
		if t.Points > 0 {
			line += fmt.Sprintf(", %g points of 1000 lost for good", t.Points)
		}
		fmt.Fprintf(w, "Takes: %s.\n", line)
		for _, x := range []struct {
			name string
			list []string
		}{{"Tools", t.Tools}, {"In hand first", t.Consumables}, {"Comes off", titlesOf(t.Opens)}} {
			if len(x.list) > 0 {
				wrap(w, x.name+": "+strings.Join(x.list, ", ")+".", "  ")
			}
		}
		if t.SlavePart != "" {
			wrap(w, "Borrowed, so that nothing of its own is touched: "+t.SlavePart+".", "  ")
		}
		if o := t.Observation; o != nil {
			wrap(w, "Yes ("+o.ID+"): "+o.Yes+" "+t.IfYes, "  ")
			wrap(w, "No: "+o.No+" "+t.IfNo, "  ")
		} else {
			wrap(w, "If it is cured: "+t.IfYes, "  ")
			wrap(w, "If not: "+t.IfNo, "  ")
		}
		heading(w, "What each outcome leads to")
		writeTree(w, r.Tree, "")
	}
	if len(r.Ranking) > 1 {
		heading(w, "The others")
		for _, x := range r.Ranking[1:min(len(r.Ranking), 1+rivalsShown)] {
			wrap(w, fmt.Sprintf("- %s, level %d: %s", x.Title, x.Level, x.Reason), "  ")
		}
	}
	fmt.Fprintln(w)
	wrap(w, r.StopWhen, "")
	for _, a := range r.Assumptions {
		wrap(w, "- "+a, "  ")
	}
}

func titlesOf(list []workshop.NamedID) []string {
	var out []string
	for _, x := range list {
		out = append(out, x.Name)
	}
	return out
}

func writeTree(w io.Writer, branches []workshop.TreeReport, indent string) {
	for _, b := range branches {
		line := indent + "- " + b.Outcome + " (" + b.Chance + ")"
		if len(b.Leaders) > 0 {
			line += " Then: " + strings.Join(b.Leaders, ", ") + "."
		}
		if b.Next != "" {
			line += " Next: " + b.Next + "."
		}
		if b.Stop != "" {
			line += " " + sentence(strings.ToUpper(b.Stop[:1])+b.Stop[1:])
		}
		wrap(w, line, indent+"  ")
		writeTree(w, b.Then, indent+"    ")
	}
}

type faultOptionsCommand struct {
	Target target `embed:""`
	Fault  string `arg:"" help:"the fault"`
	Cause  string `arg:"" help:"the cause, by its name in the library"`
	Record bool   `help:"record the drafts as they are"`
	Write  string `type:"path" help:"write the drafts here as records, to be mended and imported"`
}

// Run drafts options for a cause.
func (x *faultOptionsCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	drafts, err := w.DraftOptions(c.ctx, x.Target.Machine, x.Fault, x.Cause, c.line.As)
	if err != nil {
		return err
	}
	if x.Write != "" {
		if err := writeFile(x.Write, func(w io.Writer) error { return writeRecords(w, drafts.Bodies(nil)) }); err != nil {
			return err
		}
	}
	if x.Record {
		return c.record(x.Target, fmt.Sprintf("%d options are recorded; weigh them next", len(drafts.Options)), drafts.Bodies(nil)...)
	}
	return c.print(drafts, func(w io.Writer) {
		writeDrafts(w, drafts)
		if x.Write != "" {
			fmt.Fprintf(w, "Written: %s. Mend it, and then: asfound import %s --machine %s\n", x.Write, x.Write, x.Target.Machine)
		}
	})
}

// writeRecords writes bodies in the form in which import takes them.
func writeRecords(w io.Writer, bodies []registry.Body) error {
	out := []json.RawMessage{}
	for _, b := range bodies {
		raw, err := json.Marshal(b)
		if err != nil {
			return err
		}
		out = append(out, append([]byte(`{"record":"`+string(b.Kind())+`",`), raw[1:]...))
	}
	return printJSON(w, out)
}

func writeDrafts(w io.Writer, d *workshop.OptionDrafts) {
	fmt.Fprintf(w, "What can be done about it: %s (%s)\n", d.Cause.Name, d.Component.Name)
	for _, o := range d.Options {
		line := fmt.Sprintf("- %s: %s. %g h", o.ID, o.Title, o.Hours)
		if !o.Money.IsZero() {
			line += ", " + o.Money.String()
		}
		if o.Works != nil && *o.Works == 0 {
			line += "; cures nothing"
		} else if o.Works != nil {
			line += "; cures it with a chance of " + scoring.Percent(*o.Works)
		}
		if len(o.OpeningTitles) > 0 {
			line += "; needs " + strings.Join(o.OpeningTitles, ", ")
		}
		if o.OwnApproval {
			line += "; the owner must approve it by name"
		}
		wrap(w, line+".", "  ")
		wrap(w, "    Go there when: "+o.When, "    ")
	}
	for _, n := range d.Notes {
		wrap(w, "! "+n, "  ")
	}
}

type faultComplaintsCommand struct{}

// Run lists the complaints.
func (faultComplaintsCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	list := w.ComplaintList()
	return c.print(list, func(w io.Writer) {
		for _, x := range list {
			fmt.Fprintf(w, "%-22s %-10s %s\n", x.ID, x.Group, x.Title)
		}
	})
}
