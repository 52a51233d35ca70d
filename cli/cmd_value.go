package cli

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

type valueCommand struct {
	Machine        string   `arg:"" help:"the machine's name in the registry"`
	Options        []string `name:"option" help:"an option to value by itself; may be repeated"`
	Together       bool     `help:"value the options together, as one plan"`
	Plans          []string `name:"plan" help:"options under a name, such as run=condenser-outside+tank-solder; may be repeated" sep:"none"`
	Distance       string   `help:"what the dial shows, with its unit, such as 21000mi or 33800km" required:""`
	Condition      *float64 `help:"condition as it stands, 0 to 5; the mean of the survey when left out"`
	ConditionAfter []string `help:"condition afterwards, such as 3, or of one plan run=3; as it stands when left out; may be repeated"`
	Documented     bool     `help:"its papers are there"`
	Running        bool     `help:"it runs as it stands"`
	RunningAfter   []string `help:"whether it runs afterwards, yes or no, or of one plan run=yes; as it stands when left out; may be repeated"`
	Index          string   `type:"path" help:"price series, a CSV file with the columns date and value; none comes with the program"`
	Level          *float64 `help:"what a middling machine fetches, in the currency of the sales"`
	Currency       string   `help:"use only the sales in this currency, ISO 4217"`
	PriceKind      string   `help:"use only prices of this kind: hammer, with-premium or private"`
	Brief          bool     `help:"print the answer alone, in a few sentences"`
	Shared         []string `help:"a sale on the record of another machine, whose owner permits it, such as vole-1931/sale-2; \"sales\" lists them; may be repeated" sep:"none"`
	ResidualShare  *float64 `help:"share of what the features do not explain that stays with the machine, 0 to 1; 1 when left out"`
}

// Run compares what the machine is worth before and after options.
func (x *valueCommand) Run(c *call) error {
	q, err := x.question()
	if err != nil {
		return err
	}
	w, err := c.workshop()
	if err != nil {
		return err
	}
	r, err := w.Value(c.ctx, x.Machine, q)
	if err != nil {
		return err
	}
	return c.print(r, func(w io.Writer) {
		wrap(w, r.Words, "")
		if !x.Brief {
			writeValue(w, r)
		}
	})
}

func (x *valueCommand) question() (workshop.ValueQuestion, error) {
	q := workshop.ValueQuestion{Together: x.Together, Shared: x.Shared, ConditionBefore: x.Condition, Documented: x.Documented, Running: x.Running,
		Currency: strings.ToUpper(x.Currency), PriceKind: x.PriceKind, Level: x.Level, ResidualShare: x.ResidualShare}
	for _, p := range x.Plans {
		id, options, ok := strings.Cut(p, "=")
		if !ok || id == "" || options == "" {
			return q, badFlag("--plan", p, "run=condenser-outside+tank-solder")
		}
		q.Plans = append(q.Plans, workshop.ValuePlan{ID: id, Options: strings.Split(options, "+")})
	}
	if x.Together {
		q.Options = x.Options
	} else {
		for _, o := range x.Options { // each may have a condition of its own
			q.Plans = append(q.Plans, workshop.ValuePlan{ID: o, Options: []string{o}})
		}
	}
	var err error
	if q.Distance, err = milesOf(x.Distance); err != nil {
		return q, err
	}
	for _, said := range x.ConditionAfter {
		err = errors.Join(err, ofPlan(&q, "--condition-after", said, "run=3", func(text string) (func(p *workshop.ValuePlan), bool) {
			v, err := strconv.ParseFloat(text, 64)
			return func(p *workshop.ValuePlan) {
				if p == nil {
					q.ConditionAfter = &v
				} else {
					p.Condition = &v
				}
			}, err == nil && finite(v)
		}))
	}
	for _, said := range x.RunningAfter {
		err = errors.Join(err, ofPlan(&q, "--running-after", said, "run=yes", func(text string) (func(p *workshop.ValuePlan), bool) {
			v := text == "yes"
			return func(p *workshop.ValuePlan) {
				if p == nil {
					q.RunningAfter = &v
				} else {
					p.Running = &v
				}
			}, v || text == "no"
		}))
	}
	if err == nil && x.Index != "" {
		q.Series, err = readSeries(x.Index)
	}
	return q, err
}

// offerValue are the flags of a proposal that asks what the recommended options
// do to the value.
type offerValue struct {
	Distance       string   `help:"show the owner what the recommended options do to the value: what the dial shows, such as 21000mi"`
	Condition      *float64 `help:"condition as it stands, 0 to 5; the mean of the survey when left out"`
	ConditionAfter *float64 `help:"condition afterwards; as it stands when left out"`
	Documented     bool     `help:"its papers are there"`
	Running        bool     `help:"it runs as it stands"`
	RunningAfter   bool     `help:"it runs afterwards"`
	Index          string   `type:"path" help:"price series, as for value"`
}

// question is nil when no valuation is asked for.
func (x *offerValue) question() (*workshop.ValueQuestion, error) {
	if x.Distance == "" {
		if x.Condition != nil || x.ConditionAfter != nil || x.Documented || x.Running || x.RunningAfter || x.Index != "" {
			return nil, registry.Refuse(registry.CodeInvalid, "Add --value-distance, or leave the other flags that begin with --value- out.", "A valuation is asked for, and it is not said what the dial shows")
		}
		return nil, nil
	}
	q := &workshop.ValueQuestion{ConditionBefore: x.Condition, ConditionAfter: x.ConditionAfter, Documented: x.Documented, Running: x.Running}
	if after := x.Running || x.RunningAfter; after {
		q.RunningAfter = &after
	}
	var err error
	if q.Distance, err = milesOf(x.Distance); err == nil && x.Index != "" {
		q.Series, err = readSeries(x.Index)
	}
	return q, err
}

// ofPlan reads VALUE, or PLAN=VALUE for one plan alone, and sets it; the plan
// handed to set is nil when the value is for all.
func ofPlan(q *workshop.ValueQuestion, flag, said, example string, read func(text string) (set func(p *workshop.ValuePlan), ok bool)) error {
	id, text, one := strings.Cut(said, "=")
	if !one {
		text = said
	}
	set, ok := read(text)
	if !ok {
		return badFlag(flag, said, example)
	}
	if !one {
		set(nil)
		return nil
	}
	i := slices.IndexFunc(q.Plans, func(p workshop.ValuePlan) bool { return p.ID == id })
	if i < 0 {
		return registry.Refuse(registry.CodeInvalid, "Name it with --plan or --option.", "%s speaks of %q, which is not asked for", flag, id)
	}
	set(&q.Plans[i])
	return nil
}

// milesOf reads a distance with its unit.
func milesOf(text string) (*float64, error) {
	number, per := strings.TrimSpace(text), 1.0
	switch {
	case strings.HasSuffix(number, "mi"):
		number = strings.TrimSuffix(number, "mi")
	case strings.HasSuffix(number, "km"):
		number, per = strings.TrimSuffix(number, "km"), workshop.KilometresPerMile
	default:
		return nil, badFlag("--distance", text, "21000mi or 33800km")
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil || !finite(v) {
		return nil, badFlag("--distance", text, "21000mi or 33800km")
	}
	v /= per
	return &v, nil
}

// maxSeries is how many rows of a price series are read.
const maxSeries = 100_000

// readSeries reads a CSV file with the columns date and value.
func readSeries(name string) ([]workshop.PricePoint, error) {
	f, err := openInput(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	bad := func(row int, format string, args ...any) error {
		return &registry.Error{Code: registry.CodeInvalid, Message: fmt.Sprintf("The price series %s, row %d: ", name, row) + fmt.Sprintf(format, args...),
			Fix: "Write a CSV file with the headings date and value, a row for each date, with commas between columns and a point for decimals."}
	}
	rows := csv.NewReader(f)
	rows.TrimLeadingSpace = true
	heading, err := rows.Read()
	if err != nil {
		return nil, bad(1, "it cannot be read as CSV")
	}
	at := map[string]int{}
	for i, h := range heading {
		at[strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))] = i
	}
	date, hasDate := at["date"]
	value, hasValue := at["value"]
	if !hasDate || !hasValue {
		return nil, bad(1, "the headings are %s", strings.Join(heading, ", "))
	}
	var out []workshop.PricePoint
	for {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			n := 0
			if at := (*csv.ParseError)(nil); errors.As(err, &at) {
				n, err = at.StartLine, at.Err
			}
			return nil, bad(n, "%v", err)
		}
		n, _ := rows.FieldPos(0)
		if len(out) == maxSeries {
			return nil, registry.Refuse(registry.CodeTooLarge, "Thin it out.", "The price series has more than %d rows", maxSeries)
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(row[value]), 64)
		if err != nil || !finite(v) {
			return nil, bad(n, "%q is no number", row[value])
		}
		out = append(out, workshop.PricePoint{Date: registry.Date(strings.TrimSpace(row[date])), Value: v})
	}
}

// influencesShown is how many sales a page of text names for their influence.
const influencesShown = 3

// writeValue prints what stands behind the answer.
func writeValue(w io.Writer, r *workshop.ValueReport) {
	if len(r.Plans) > 0 {
		fmt.Fprintf(w, "\n%-24s %-19s %-23s %6s %-26s %s\n", clip("after", 24), "ratio (80 %)", "level "+r.Currency, "cost", "net of cost", "chance of loss")
		for _, a := range r.Result.Afters {
			level, cost, net, loss := "none", "-", "none", "-"
			if a.Level != nil {
				level = workshop.ValueSpan(*a.Level)
			}
			if a.Cost != nil {
				cost = strconv.FormatFloat(math.Round(*a.Cost), 'f', 0, 64)
			}
			if a.Net != nil {
				net, loss = workshop.NetSpan(*a.Net), a.ChanceOfLoss.Printed
			}
			fmt.Fprintf(w, "%-24s %-19s %-23s %6s %-26s %s\n", clip(a.ID, 24), workshop.RatioSpan(a.Ratio), level, cost, net, loss)
		}
	}
	if len(r.Result.Influence) > 0 {
		fmt.Fprintf(w, "\nBy %d sales", r.Result.Sales)
		if h := r.Result.Held; h != nil {
			fmt.Fprintf(w, "; the others foretold %d of %d within their 80 %% range", h.Inside80, h.Of)
		}
		fmt.Fprintln(w, ". Without the most influential ones:")
		for _, i := range mostInfluential(r.Result.Influence) {
			fmt.Fprintf(w, "- without %s the level would be %.2f times as high%s\n", i.ID, i.Level, ratiosWithout(i.Ratios))
		}
	}
	said := slices.Clone(r.Cautions)
	for _, twins := range r.Result.Duplicates {
		said = append(said, "These may be one sale, recorded twice; both count until one is withdrawn: "+strings.Join(twins, ", ")+".")
	}
	for _, o := range r.Result.Outliers {
		said = append(said, "Look at "+o.ID+" again: "+strings.Join(o.Why, "; ")+".")
	}
	said = append(said, r.Result.Cautions...)
	list(w, "Cautions", append(said, ofSeveral(r.Result.Afters)...))
	var out []string
	for _, l := range r.LeftOut {
		out = append(out, l.ID+": "+l.Why)
	}
	list(w, "Sales left out", out)
	list(w, "What it rests on", r.Assumptions)
	if len(r.Prior) > 0 {
		heading(w, "Thought of prices before any sale was looked at")
		wrap(w, strings.Join(r.Prior, " "), "")
	}
}

// ofSeveral lists what is said of the plans; what is said of several is said
// once, with their names before it.
func ofSeveral(afters []scoring.AfterValue) []string {
	var order []string
	of := map[string][]string{}
	for _, a := range afters {
		for _, s := range append(slices.Clone(a.Refusals), a.Cautions...) {
			if of[s] == nil {
				order = append(order, s)
			}
			of[s] = append(of[s], a.ID)
		}
	}
	var out []string
	for _, s := range order {
		out = append(out, strings.Join(of[s], ", ")+": "+s)
	}
	return out
}

func list(w io.Writer, title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	heading(w, title)
	for _, line := range lines {
		wrap(w, "- "+line, "  ")
	}
}

// mostInfluential picks the sales without which a figure would change most.
func mostInfluential(all []scoring.Influence) []scoring.Influence {
	most := func(i scoring.Influence) float64 {
		m := math.Abs(math.Log(i.Level))
		for _, r := range i.Ratios {
			m = max(m, math.Abs(math.Log(r)))
		}
		return m
	}
	out := slices.Clone(all)
	slices.SortStableFunc(out, func(a, b scoring.Influence) int {
		switch x, y := most(a), most(b); {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return 0
	})
	return out[:min(len(out), influencesShown)]
}

func ratiosWithout(ratios []float64) string {
	if len(ratios) == 0 {
		return ""
	}
	var out []string
	for _, r := range ratios {
		out = append(out, fmt.Sprintf("%.3f", r))
	}
	return ", the ratio " + strings.Join(out, " and ") + " times"
}
