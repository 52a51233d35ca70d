package catalog

import (
	"bytes"
	"encoding/json"
)

// Supply adds to the input of a computation what the catalog knows and the
// input leaves out: the table of threads, the grades of fasteners, the lag of a
// date stamp and the like. What comes back computes the same for ever, whatever
// becomes of the catalog, because the tables stand in it. Keys that the input
// has are left as they are. An input that is no object, and a method that needs
// nothing, come back unchanged. A method goes by its full name, because a later
// version may take other tables.
func (c *Catalog) Supply(method string, input []byte) ([]byte, error) {
	var given map[string]json.RawMessage
	if json.Unmarshal(input, &given) != nil || given == nil {
		return input, nil
	}
	text := func(name string) (s string) {
		_ = json.Unmarshal(given[name], &s)
		return s
	}
	var more []supplied
	switch method {
	case "thread/1":
		more = []supplied{
			{"readings", map[string]float64{"under_mm": c.assumed("thread-under"), "od_sd_mm": c.assumed("thread-od-sd"),
				"pitch_sd_mm": c.assumed("thread-pitch-sd"), "angle_sd_deg": c.assumed("thread-angle-sd")}},
			{"table", bare(c.threads.all())},
		}
		if _, own := given["table"]; !own { // they go by the ids of the table
			more = append(more, supplied{"confusions", confusionsOf(c.threadConfusions.rows)})
		}
	case "stamp/1":
		more = []supplied{
			{"prior", c.assumed("stamp-prior")},
			{"lag", map[string]float64{"shape": c.assumed("stamp-lag-shape"), "mean_months": c.assumed("stamp-lag-mean"),
				"leak": c.assumed("stamp-leak"), "span_months": c.assumed("stamp-span")}},
			{"schemes", schemesOf(c.schemes.rows)},
			{"confusions", bare(c.misreadings.all())},
		}
	case "film/1":
		more = []supplied{{"assumed", map[string]float64{"panel_sd": c.measured(MeasureFilmPanelSD), "repaint_adds": c.measured(MeasureFilmRepaintAdds),
			"repaint_sd": c.measured(MeasureFilmRepaintSD), "leak": c.measured(MeasureFilmLeak), "leak_span": c.measured(MeasureFilmLeakSpan),
			"reading_sd": c.measured(MeasureFilmReadingSD), "detect": c.measured(MeasureFilmDetect), "power": c.measured(MeasureFilmPower),
			"significance": c.measured(MeasureFilmSignificance)}}}
	case "card/1":
		more = []supplied{{"assumed", map[string]float64{"least_patches": c.measured(MeasureCardLeastPatches), "largest_residual": c.measured(MeasureCardLargestResidual),
			"largest_clipped": c.measured(MeasureCardLargestClipped), "uneven": c.measured(MeasureCardUneven)}}}
	case "criteria/1":
		more = []supplied{{"supports", c.measured(MeasureCriteriaSupports)}, {"against", c.measured(MeasureCriteriaAgainst)}}
	case "serial/1":
		batch := c.assumed("serial-batch")
		if n, ok := c.numberSeries.get(text("series")); ok {
			if n.Batch > 0 {
				batch = n.Batch
			}
			more = append(more, supplied{"anchors", append([]SerialAnchor{}, n.Anchors...)})
		}
		more = append(more, supplied{"batch", batch}, supplied{"level", c.assumed("serial-level")})
	case "identity/1":
		more = []supplied{{"series", seriesOf(c.numberSeries.rows, text("make"))}}
	case "torque/1":
		more = []supplied{{"share", c.assumed("torque-share")}, {"grades", gradesOf(c.grades.rows)}, {"lubrications", lubricationsOf(c.lubrications.rows)}}
	}
	return splice(input, given, more)
}

// supplied is one key with its value.
type supplied struct {
	key   string
	value any
}

// splice writes keys before the closing brace of an object, and leaves the rest
// as it was, so that a key which stands twice is still seen to.
func splice(object []byte, given map[string]json.RawMessage, more []supplied) ([]byte, error) {
	object = bytes.TrimRight(object, " \t\r\n")
	out := bytes.NewBuffer(bytes.Clone(object[:len(object)-1]))
	comma := len(given) > 0
	for _, m := range more {
		if _, own := given[m.key]; own {
			continue
		}
		raw, err := json.Marshal(map[string]any{m.key: m.value})
		if err != nil {
			return nil, err
		}
		if comma {
			out.WriteByte(',')
		}
		out.Write(raw[1 : len(raw)-1])
		comma = true
	}
	out.WriteByte('}')
	return out.Bytes(), nil
}

// assumed is the value of a number that the bench assumes; the check has seen
// to it that there is one.
func (c *Catalog) assumed(id string) float64 {
	a, _ := c.bench.get(id)
	return a.Value
}

// measured is the value of a number behind measurements, as assumed is of the
// bench.
func (c *Catalog) measured(id string) float64 {
	m, _ := c.measures.get(id)
	return m.Value
}

// bare takes the basis off rows that go into an input as they are.
func bare[T any, P based[T]](rows []T) []T {
	for i := range rows {
		*P(&rows[i]).basis() = Basis{}
	}
	return rows
}

func confusionsOf(rows []ThreadConfusion) []any {
	out := []any{}
	for _, x := range rows {
		out = append(out, map[string]any{"threads": x.Threads, "text": x.Text})
	}
	return out
}

func schemesOf(rows []StampScheme) []any {
	out := []any{}
	for _, x := range rows {
		s := map[string]any{"id": x.ID, "fields": x.Fields, "century": x.Century}
		if len(x.Letters) > 0 {
			s["letters"] = x.Letters
		}
		out = append(out, s)
	}
	return out
}

func seriesOf(rows []NumberSeries, maker string) []any {
	out := []any{}
	for _, x := range rows {
		if x.Make == maker {
			out = append(out, map[string]any{"id": x.ID, "where": x.Where, "form": x.Form, "ranges": append([]NumberRange{}, x.Ranges...)})
		}
	}
	return out
}

func gradesOf(rows []FastenerGrade) []any {
	out := []any{}
	for _, x := range rows {
		for _, p := range x.Proof {
			out = append(out, map[string]any{"id": x.ID, "form": x.Form, "up_to_mm": p.UpTo, "proof_mpa": p.Proof})
		}
	}
	return out
}

func lubricationsOf(rows []Lubrication) []any {
	out := []any{}
	for _, x := range rows {
		out = append(out, map[string]any{"id": x.ID, "k_low": x.Low, "k_high": x.High})
	}
	return out
}
