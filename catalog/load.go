package catalog

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"

	"example.org/asfound/registry"
)

//go:embed data/*.json
var house embed.FS

// houseFiles are the embedded files, in the order in which they are read.
var houseFiles = [...]string{"anatomy", "assemblies", "priors", "signs", "treatments", "cautions", "conditions", "standpoints",
	"gates", "openings", "photos", "words", "value", "causes", "observations", "tests", "complaints", "measures", "published",
	"threads-metric", "threads-unified", "threads-whitworth", "threads-pipe", "threads-cycle", "threads-ba", "threads-fittings", "fasteners", "bench"}

// Catalog is the house's data with the packs laid over them. It never changes
// and may be used from several goroutines.
type Catalog struct {
	groups           table[Group]
	components       table[Component]
	assemblies       table[Assembly]
	priors           table[PriorClass]
	signs            table[Sign]
	survey           table[SurveyTable]
	treatments       table[Treatment]
	cautions         table[Caution]
	conditions       table[Condition]
	standpoints      table[Standpoint]
	gates            table[Gate]
	openings         table[Opening]
	photos           table[Photo]
	words            table[Word]
	value            table[ValueAssumption]
	causes           table[Cause]
	observations     table[Observation]
	tests            table[FaultTest]
	complaints       table[Complaint]
	aliases          map[string]string // code → id
	identity         Identity
	measures         table[MeasureAssumption]
	published        table[PublishedRule]
	threads          table[Thread]
	threadConfusions table[ThreadConfusion]
	grades           table[FastenerGrade]
	lubrications     table[Lubrication]
	schemes          table[StampScheme]
	misreadings      table[Misreading]
	numberSeries     table[NumberSeries]
	bench            table[BenchAssumption]
}

// file is one file of the house.
type file struct {
	ID               string              `json:"id"`
	Version          string              `json:"version"`
	Source           string              `json:"source"`
	Assumption       string              `json:"assumption"`
	Groups           []Group             `json:"groups"`
	Components       []Component         `json:"components"`
	Assemblies       []Assembly          `json:"assemblies"`
	Priors           []PriorClass        `json:"priors"`
	Signs            []Sign              `json:"signs"`
	Survey           []SurveyTable       `json:"survey"`
	Treatments       []Treatment         `json:"treatments"`
	Cautions         []Caution           `json:"cautions"`
	Conditions       []Condition         `json:"conditions"`
	Standpoints      []Standpoint        `json:"standpoints"`
	Gates            []Gate              `json:"gates"`
	Openings         []Opening           `json:"openings"`
	Photos           []Photo             `json:"photos"`
	Words            []Word              `json:"words"`
	Value            []ValueAssumption   `json:"value"`
	Causes           []Cause             `json:"causes"`
	Observations     []Observation       `json:"observations"`
	Tests            []FaultTest         `json:"tests"`
	Complaints       []Complaint         `json:"complaints"`
	Measures         []MeasureAssumption `json:"measures"`
	Published        []PublishedRule     `json:"published"`
	Threads          []Thread            `json:"threads"`
	ThreadConfusions []ThreadConfusion   `json:"thread_confusions"`
	FastenerGrades   []FastenerGrade     `json:"fastener_grades"`
	Lubrications     []Lubrication       `json:"lubrications"`
	StampSchemes     []StampScheme       `json:"stamp_schemes"`
	Misreadings      []Misreading        `json:"misreadings"`
	NumberSeries     []NumberSeries      `json:"number_series"`
	Bench            []BenchAssumption   `json:"bench"`
}

// Load reads the house's data and lays packs over them in the order given, the
// last word being that of the last. A pack is a folder of JSON files, one of
// them manifest.json; os.DirFS makes one of a path.
//
// All faults of all packs are listed in one *registry.Error (CodeInvalid), each
// with its file, its JSON Pointer, what was found and what is allowed.
func Load(packs ...fs.FS) (*Catalog, error) {
	b := &builder{places: map[string]place{}}
	if err := b.house(); err != nil {
		return nil, err
	}
	for i, p := range packs {
		b.pack(i+1, p)
	}
	if len(b.faults) == 0 {
		b.finish()
		if len(packs) > 0 { // the house's own data are checked by a test
			b.check()
		}
	}
	if err := b.faults.err(); err != nil {
		return nil, err
	}
	sum, err := b.c.digest()
	if err != nil {
		return nil, fmt.Errorf("catalog: digest: %w", err)
	}
	b.c.identity.Digest = sum
	b.c.tests.rows = append(b.c.tests.rows, b.c.putRight()...) // behind the digest, which is of what was written
	b.c.tests.index()
	return &b.c, nil
}

// builder puts a catalog together and remembers where each item stood.
type builder struct {
	c      Catalog
	places map[string]place // by section and key; absent for the house's
	faults faults
}

// place is where an item stands.
type place struct{ file, pointer string }

func (b *builder) house() error {
	from := "house " + HouseVersion
	b.c.identity.House = HouseVersion
	for _, name := range houseFiles {
		data, err := house.ReadFile("data/" + name + ".json")
		if err != nil {
			return fmt.Errorf("catalog: %w", err)
		}
		var f file
		if err := strict(data, &f); err != nil {
			return fmt.Errorf("catalog: data/%s.json: %w", name, err)
		}
		base := Basis{Source: f.Source, Assumption: f.Assumption, From: from}
		settle(&b.c.groups, f.Groups, base)
		settle(&b.c.components, f.Components, base)
		settle(&b.c.assemblies, f.Assemblies, base)
		settle(&b.c.priors, f.Priors, base)
		settle(&b.c.signs, f.Signs, base)
		settle(&b.c.survey, f.Survey, base)
		settle(&b.c.treatments, f.Treatments, base)
		settle(&b.c.cautions, f.Cautions, base)
		settle(&b.c.conditions, f.Conditions, base)
		settle(&b.c.standpoints, f.Standpoints, base)
		settle(&b.c.gates, f.Gates, base)
		settle(&b.c.openings, f.Openings, base)
		settle(&b.c.photos, f.Photos, base)
		settle(&b.c.words, f.Words, base)
		settle(&b.c.value, f.Value, base)
		settle(&b.c.causes, f.Causes, base)
		settle(&b.c.observations, f.Observations, base)
		settle(&b.c.tests, f.Tests, base)
		settle(&b.c.complaints, f.Complaints, base)
		settle(&b.c.measures, f.Measures, base)
		settle(&b.c.published, f.Published, base)
		settle(&b.c.threads, f.Threads, base)
		settle(&b.c.threadConfusions, f.ThreadConfusions, base)
		settle(&b.c.grades, f.FastenerGrades, base)
		settle(&b.c.lubrications, f.Lubrications, base)
		settle(&b.c.schemes, f.StampSchemes, base)
		settle(&b.c.misreadings, f.Misreadings, base)
		settle(&b.c.numberSeries, f.NumberSeries, base)
		settle(&b.c.bench, f.Bench, base)
	}
	return nil
}

// based is a pointer to a row, whose basis can be set.
type based[T any] interface {
	*T
	basis() *Basis
}

// settle takes the house's rows in; each inherits the basis of its file unless
// it has one of its own.
func settle[T row[T], P based[T]](t *table[T], rows []T, base Basis) {
	if len(rows) == 0 {
		return
	}
	for i := range rows {
		inherit(P(&rows[i]).basis(), base)
	}
	t.rows = append(t.rows, rows...)
	t.index()
}

func inherit(b *Basis, base Basis) {
	if b.Source == "" && b.Assumption == "" {
		b.Source, b.Assumption = base.Source, base.Assumption
	}
	b.From = base.From
}

// finish fills in what follows from the rest.
func (b *builder) finish() {
	c := &b.c
	c.aliases = make(map[string]string, len(c.components.rows))
	for i := range c.groups.rows {
		c.groups.rows[i].Points = 0
	}
	for i := range c.components.rows {
		x := &c.components.rows[i]
		if x.Station == "" && len(x.Sides) > 0 {
			x.Station = stationOfSide[x.Sides[0]]
		}
		if x.Code != "" {
			c.aliases[x.Code] = x.ID
		}
		if g, ok := c.groups.at[x.Group]; ok {
			x.GroupName = c.groups.rows[g].Name
			c.groups.rows[g].Points += x.Points
		}
	}
}

// strict decodes one JSON value and refuses unknown keys and anything after it.
func strict(data []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return err
	}
	if d.More() {
		return fmt.Errorf("something stands after the end of the record")
	}
	return nil
}

// faults collects every fault, so that all can be mended at once.
type faults []registry.Field

// maxFaults is how many are listed; more would not be read.
const maxFaults = 200

func (fs *faults) add(at place, found, allowed, message, fix string) {
	if len(*fs) < maxFaults {
		*fs = append(*fs, registry.Field{File: at.file, Pointer: at.pointer, Found: found, Allowed: allowed, Message: message, Fix: fix})
	}
}

func (fs faults) err() error {
	if len(fs) == 0 {
		return nil
	}
	message := "The catalog cannot be loaded: " + fs[0].String()
	if len(fs) > 1 {
		message = fmt.Sprintf("The catalog cannot be loaded: %d faults, the first is %s", len(fs), fs[0].String())
	}
	return &registry.Error{Code: registry.CodeInvalid, Message: message, Fix: "Mend the packs at the places listed, or load without them.", Fields: fs}
}
