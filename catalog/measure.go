package catalog

import "strings"

// What is assumed of measurements and their judging, by id.
const (
	MeasureFilmPanelSD         = "film-panel-sd"
	MeasureFilmRepaintAdds     = "film-repaint-adds"
	MeasureFilmRepaintSD       = "film-repaint-sd"
	MeasureFilmLeak            = "film-leak"
	MeasureFilmLeakSpan        = "film-leak-span"
	MeasureFilmReadingSD       = "film-reading-sd"
	MeasureFilmDetect          = "film-detect"
	MeasureFilmPower           = "film-power"
	MeasureFilmSignificance    = "film-significance"
	MeasureCardLeastPatches    = "card-least-patches"
	MeasureCardLargestResidual = "card-largest-residual"
	MeasureCardLargestClipped  = "card-largest-clipped"
	MeasureCardUneven          = "card-uneven"
	MeasureCriteriaSupports    = "criteria-supports"
	MeasureCriteriaAgainst     = "criteria-against"
	MeasureKappaSettle         = "kappa-settle"
	MeasureAgeAbout            = "age-about-years"
)

// measureRanges are what the methods take.
var measureRanges = map[string][2]float64{
	MeasureFilmPanelSD: {0.1, 1000}, MeasureFilmRepaintAdds: {0.1, 1000}, MeasureFilmRepaintSD: {0.1, 1000}, MeasureFilmLeak: {0, 0.5},
	MeasureFilmLeakSpan: {1, 10000}, MeasureFilmReadingSD: {0.1, 1000}, MeasureFilmDetect: {1, 1000}, MeasureFilmPower: {0.5, 0.999},
	MeasureFilmSignificance: {0.001, 0.5}, MeasureCardLeastPatches: {6, 200}, MeasureCardLargestResidual: {0.1, 20},
	MeasureCardLargestClipped: {0, 0.5}, MeasureCardUneven: {0.001, 10}, MeasureCriteriaSupports: {0, 1}, MeasureCriteriaAgainst: {0, 1},
	MeasureKappaSettle: {0, 1}, MeasureAgeAbout: {0, 200},
}

// MeasureAssumption is one number behind the reading of measurements.
type MeasureAssumption struct {
	ID    string  `json:"id"`
	Title string  `json:"title"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
	Basis
}

func (m MeasureAssumption) key() string              { return m.ID }
func (m MeasureAssumption) clone() MeasureAssumption { return m }

// MeasureAssumption gives one of the numbers behind measurements, by id.
func (c *Catalog) MeasureAssumption(id string) (MeasureAssumption, bool) { return c.measures.get(id) }

// MeasureAssumptions lists all of them.
func (c *Catalog) MeasureAssumptions() []MeasureAssumption { return c.measures.all() }

func (b *builder) checkMeasures() {
	for _, x := range b.c.measures.rows {
		s := b.spot("measures", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.text("/title", x.Title)
		s.text("/unit", x.Unit)
		r, known := measureRanges[x.ID]
		if !known {
			s.add("/id", quote(x.ID), strings.Join(sortedKeys(measureRanges), ", "), "Nothing here is measured by this number", "Use one of the listed ids.")
			continue
		}
		s.between("/value", x.Value, r[0], r[1])
	}
	for _, id := range sortedKeys(measureRanges) {
		if !b.c.measures.has(id) {
			b.spot("measures", id).add("", "nothing", "", "An assumption behind measurements is missing", "")
		}
	}
}
