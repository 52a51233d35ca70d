package workshop

import (
	"context"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// attach keeps one computation as evidence.
func (b *bench) attach(component, method, input string, more ...func(*BenchEvidence)) AttachedEvidence {
	b.t.Helper()
	e := BenchEvidence{Component: component, Method: method, Input: json.RawMessage(input)}
	for _, f := range more {
		f(&e)
	}
	out, err := b.AttachEvidence(context.Background(), request(), e)
	require.NoError(b.t, err)
	return out
}

// chance is how a question stands.
func (b *bench) chance(component string, p registry.Proposition, state string) float64 {
	b.t.Helper()
	_, c, err := b.Component(context.Background(), drover, component, ReportOptions{})
	require.NoError(b.t, err)
	for _, claim := range c.Claims() {
		if claim.Proposition == p {
			v, _ := claim.Posterior.Get(state)
			return v
		}
	}
	return -1
}

// again computes what an event holds once more.
func (b *bench) again(event string) Recalculated {
	b.t.Helper()
	list, err := b.Recalc(context.Background(), event)
	require.NoError(b.t, err)
	require.Len(b.t, list, 1)
	return list[0]
}

const dynamoStamp = `{"build": "1957-06", "stamps": [{"id": "dynamo", "code": "3/57", "scheme": "month-year"}]}`

// The ratio 27.9 of the worked example becomes a share of 27.9/28.9, and the
// signs cap what it is worth: origin against donor is at most 0.85 : 0.30.
func TestAStampBecomesEvidenceAndIsCapped(t *testing.T) {
	b := drafted(t)
	before := b.chance("electrical.dynamo", registry.PropositionOrigin, "original")
	out := b.attach("electrical.dynamo", "stamp", dynamoStamp)
	e := out.Evidence
	require.Equal(t, "stamp/1", e.Estimate.Method)
	require.Equal(t, b.catalogIdentity(), e.Estimate.Catalog)
	require.Equal(t, "stamp", e.Cluster)
	require.Equal(t, "date-stamp", e.Evidence)
	require.Contains(t, e.Limits, "not that it is the part")
	require.Contains(t, e.Says, "3/57 reads as 1957-03")
	l := e.Bears[0].Likelihood
	share := 27.9 / 28.9
	require.InDelta(t, share*0.85+(1-share)*0.04, l["original"], 1e-3)
	require.InDelta(t, share*0.30+(1-share)*0.40, l["donor"], 1e-3)
	require.Less(t, l["original"]/l["donor"], 0.85/0.30)
	require.Greater(t, b.chance("electrical.dynamo", registry.PropositionOrigin, "original"), before, "a stamp of the right age speaks for it")

	r := b.again(out.Receipt.Records[0].Event)
	require.True(t, r.Same)
	require.Contains(t, string(r.Input), `"mean_months":4`, "the tables of the catalog stand in the input")

	// A stamp from after the machine was built speaks against it.
	right := b.chance("electrical.dynamo", registry.PropositionOrigin, "original")
	b.attach("electrical.dynamo", "stamp", strings.Replace(dynamoStamp, "3/57", "11/58", 1))
	require.Less(t, b.chance("electrical.dynamo", registry.PropositionOrigin, "original"), right)
}

// The worked example 6.27 × 26 to the inch: without an angle half and half, which
// moves nothing; at 55.5° it is BSF, which is what is listed or is not.
func TestAThreadBecomesEvidence(t *testing.T) {
	b := drafted(t)
	const part = "engine.crankcase-drive"
	p := func() float64 { return b.chance(part, registry.PropositionSpecification, "to-catalogue") }
	listed := func(s string) func(*BenchEvidence) { return func(e *BenchEvidence) { e.Listed = s } }
	before := p()
	b.attach(part, "thread", `{"od_mm": 6.27, "tpi": 26}`)
	require.InDelta(t, before, p(), 1e-12, "nothing was said of what is listed")
	half := b.attach(part, "thread", `{"od_mm": 6.27, "tpi": 26}`, listed("BSF 1/4"))
	for _, v := range half.Evidence.Bears[0].Likelihood {
		require.InDelta(t, 0.5, v, 0.01)
	}
	require.InDelta(t, before, p(), 1e-3, "cannot tell")
	as := b.attach(part, "thread", `{"od_mm": 6.27, "tpi": 26, "angle_deg": 55.5}`, listed("bsf 1/4"))
	require.InDelta(t, 0.988*0.95+0.012*0.05, as.Evidence.Bears[0].Likelihood["to-catalogue"], 2e-3)
	good := p()
	require.Greater(t, good, before)
	b.attach(part, "thread", `{"od_mm": 6.27, "tpi": 26, "angle_deg": 59.5}`, listed("BSF 1/4"))
	require.Less(t, p(), good)
	require.True(t, b.again(as.Receipt.Records[0].Event).Same)

	_, err := b.AttachEvidence(context.Background(), request(), BenchEvidence{Component: part, Method: "thread", Input: json.RawMessage(`{"od_mm": 6.6, "pitch_mm": 1.1}`), Listed: "BSF 1/4"})
	refused(t, err, registry.CodeRefused, "Nothing fits")
	_, err = b.AttachEvidence(context.Background(), request(), BenchEvidence{Component: part, Method: "thread", Input: json.RawMessage(`{"od_mm": 6.27, "tpi": 26}`), Listed: "BSF 9/4"})
	refused(t, err, registry.CodeInvalid, "no thread")
}

// The worked example of the rear mudguard: tempered ratio 17.7.
const mudguardFilm = `{"unit": "µm", "reference": {"id": "under the saddle", "instrument": "gauge 1", "readings": [78, 84, 91, 80, 88, 83]},
"areas": [{"id": "rear mudguard", "instrument": "gauge 1", "readings": [142, 155, 149, 138, 160, 151]}]}`

func TestFilmAndColourAreOneCluster(t *testing.T) {
	b := drafted(t)
	const part = "tinware.rear-mudguard"
	before := b.chance(part, registry.PropositionFinish, "refinished")
	film := b.attach(part, "film", mudguardFilm)
	require.Equal(t, "film", film.Evidence.Cluster)
	share := 17.7 / 18.7
	require.InDelta(t, share*0.55+(1-share)*0.06, film.Evidence.Bears[0].Likelihood["refinished"], 1e-3)
	require.Greater(t, b.chance(part, registry.PropositionFinish, "refinished"), before)
	thin := b.attach(part, "film", strings.Replace(mudguardFilm, "142, 155, 149, 138, 160, 151", "12, 15, 14, 13, 16, 15", 1))
	require.Equal(t, 0.7, thin.Evidence.Bears[0].Likelihood["bare"], "much thinner, by its own sign")

	colour := func(l, a string) AttachedEvidence {
		return b.attach(part, "colour", `{"reference": {"id": "sheltered", "instrument": "m", "white": "D50", "readings": [{"L": 30, "a": 20, "b": 10}, {"L": 30.1, "a": 20, "b": 10}, {"L": 29.9, "a": 20.1, "b": 10}]},
"area": {"id": "top", "instrument": "m", "white": "D50", "readings": [{"L": `+l+`, "a": `+a+`, "b": 10}, {"L": `+l+`, "a": `+a+`, "b": 10.1}, {"L": `+l+`, "a": `+a+`, "b": 9.9}]}}`)
	}
	same, faded, dark := colour("30.5", "20"), colour("40", "14"), colour("20", "28")
	require.Equal(t, film.Evidence.Cluster, same.Evidence.Cluster)
	require.Equal(t, 0.85, same.Evidence.Bears[0].Likelihood["worn"])
	require.Equal(t, 1.0, faded.Evidence.Bears[0].Likelihood["refinished"], "what fading would do says nothing")
	require.Equal(t, film.Evidence.Cluster, faded.Evidence.Cluster)
	require.Equal(t, 0.6, dark.Evidence.Bears[0].Likelihood["refinished"])
	for _, x := range []AttachedEvidence{film, thin, same, faded, dark} {
		require.True(t, b.again(x.Receipt.Records[0].Event).Same)
	}
}

// A whole number never stands in an event, and is still computed again.
func TestNumbersAreWithheld(t *testing.T) {
	b := drafted(t)
	const numbers = `{"numbers": [{"where": "frame", "read": "SK6138"}, {"where": "engine", "read": "E6138"}], "record": {"authentic": "yes", "basis": "works ledger, seen", "numbers": [{"where": "frame", "number": "SK6138"}, {"where": "engine", "number": "E6138"}]}}`
	before := b.chance("frame.main", registry.PropositionOrigin, "original")
	out := b.attach("frame.main", "identity", numbers)
	require.Equal(t, 0.95, out.Evidence.Bears[0].Likelihood["original"])
	require.Greater(t, b.chance("frame.main", registry.PropositionOrigin, "original"), before)
	event := out.Receipt.Records[0].Event
	r := b.again(event)
	require.True(t, r.Same)
	require.Contains(t, string(r.Input), "SK6138")
	events, err := b.Events(context.Background(), drover)
	require.NoError(t, err)
	for _, e := range events {
		require.NotContains(t, string(e), "SK6138")
	}
	altered := b.attach("frame.main", "identity", strings.Replace(numbers, `"read": "SK6138"`, `"read": "SK6138", "altered": true`, 1))
	require.Equal(t, 1.0, altered.Evidence.Bears[0].Likelihood["original"], "an altered number proves nothing by agreeing")
	require.Contains(t, altered.Evidence.Limits, "Stop.")
	vin := b.attach("frame.main", "vin", `{"number": "1HGCM82633A004352", "check_digit": "used"}`)
	require.Contains(t, string(b.again(vin.Receipt.Records[0].Event).Input), "1HGCM82633A004352")

	// Somebody else's figures are held against their input, withheld ones too.
	for _, forged := range []string{`{"method":"tyre/1","catalog":"x","input":{"code":"127"},"result":{"week":12}}`, `nonsense`} {
		e := *altered.Evidence
		e.ID, e.EstimateWithheld = "", registry.Private{Value: forged}
		_, err = b.Record(context.Background(), request(), &e)
		require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
	}
}

// A tyre of the 1970s never left the factory on a machine of 1957; a code that
// may be of its day says nothing.
func TestTyresReckoningsAndWhatIsOfNoComponent(t *testing.T) {
	b := drafted(t)
	late := b.attach("wheels.front.tyre", "tyre", `{"code": "127"}`)
	require.Equal(t, 0.02, late.Evidence.Bears[0].Likelihood["original"])
	require.Contains(t, late.Evidence.Says, "1977 or 1987 or 1997")
	kept := b.attach("engine.barrel", "capacity", `{"bore_mm": 73, "stroke_mm": 83, "cylinders": 1}`)
	require.Contains(t, kept.Evidence.Says, "347.4 cm³") // 73 × 83
	require.Contains(t, kept.Evidence.Bears[0].Why, "moves nothing")
	for method, code := range map[string]registry.Code{"survivors": registry.CodeRefused, "origin": registry.CodeRefused, "luck": registry.CodeNotFound} {
		_, err := b.AttachEvidence(context.Background(), request(), BenchEvidence{Component: "engine.barrel", Method: method, Input: json.RawMessage(`{}`)})
		require.Equal(t, code, registry.CodeOf(err), method)
	}
	_, err := b.AttachEvidence(context.Background(), request(), BenchEvidence{Component: "engine.wings", Method: "tyre", Input: json.RawMessage(`{"code": "127"}`)})
	require.Equal(t, registry.CodeNotFound, registry.CodeOf(err))
	_, err = b.AttachEvidence(context.Background(), request(), BenchEvidence{Component: "engine.barrel", Method: "stamp", Input: json.RawMessage(`{"build": "1957-06", "stamps": [{"id": "a", "code": "3/57", "scheme": "month-year"}, {"id": "b", "code": "4/57", "scheme": "month-year"}]}`)})
	refused(t, err, registry.CodeInvalid, "which reading is meant")
}

// Every method that bears on a component is said in words, and is one that there is.
func TestBenchMethodsAreWhole(t *testing.T) {
	names := map[string]bool{}
	for _, m := range scoring.Methods() {
		names[m.Name] = true
	}
	for name := range benchReadings {
		require.True(t, names[name], name)
		require.NotNil(t, benchSayings[name], name)
	}
}
