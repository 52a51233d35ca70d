package workshop

// Drawn is how a machine is drawn, as far as its record tells.
type Drawn struct {
	// Engine is single or twin, Rear rigid, plunger or swinging-fork, and Front
	// telescopic or girder; "" where the record does not say.
	Engine, Rear, Front string
}

// DrawnAs is one aspect of a machine as it is drawn, and where that comes from.
type DrawnAs struct{ Aspect, Value, Source string }

// Sources of what is drawn.
const (
	drawnByChoice = "as chosen here"
	drawnByRecord = "by the components on record"
	drawnByNobody = "the record does not say"
)

// drawnWords are what is drawn, in words.
var drawnWords = map[string]string{"single": "a single", "twin": "a twin, side by side", "rigid": "a rigid frame", "plunger": "plungers",
	"swinging-fork": "a swinging fork", "telescopic": "telescopic", "girder": "girders"}

// DrawnWords are the words for one way of being drawn.
func DrawnWords(way string) string { return drawnWords[way] }

// DrawnAs settles how the machine is drawn: as was chosen, else as its record
// tells, else as a single with a rigid frame and a telescopic fork.
func (r *Report) DrawnAs(chosen Drawn) (Drawn, []DrawnAs) {
	record := r.Drawn()
	settle := func(aspect string, chosen *string, record, otherwise string) DrawnAs {
		source := drawnByChoice
		switch {
		case *chosen != "":
		case record != "":
			*chosen, source = record, drawnByRecord
		default:
			*chosen, source = otherwise, drawnByNobody
		}
		return DrawnAs{aspect, drawnWords[*chosen], source}
	}
	as := []DrawnAs{settle("Engine", &chosen.Engine, record.Engine, "single"), settle("Rear", &chosen.Rear, record.Rear, "rigid"),
		settle("Front fork", &chosen.Front, record.Front, "telescopic")}
	return chosen, as
}

// Drawn reads from the components that its type never had, and from those that
// were surveyed, how the machine is sprung. The record has no word for the
// number of cylinders.
func (r *Report) Drawn() Drawn {
	never, seen := map[string]bool{}, map[string]bool{}
	for _, g := range r.Groups {
		for _, c := range g.Components {
			never[c.ID] = c.NotFitted
			seen[c.ID] = c.Surveyed && c.Origin.Leading != "missing"
		}
	}
	var out Drawn
	units, bushes := "suspension.units", "suspension.bushes"
	switch {
	case never[units] && (never[bushes] || never["frame.swinging-arm"]):
		out.Rear = "rigid"
	case seen[units] && seen[bushes]:
		out.Rear = "swinging-fork"
	case seen[units] && never[bushes]:
		out.Rear = "plunger"
	}
	if never["fork.legs"] {
		out.Front = "girder"
	}
	return out
}
