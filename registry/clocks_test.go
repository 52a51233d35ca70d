package registry

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// fittedAt asks both clocks: which part sat on the magneto's place on a day, by
// what was known at a moment.
func fittedAt(t require.TestingT, b *bench, day string, known time.Time) string {
	d, err := Replay(b.d.ID, b.events, known)
	require.NoError(t, err)
	require.Equal(t, b.d.Version(), d.Version(), "the version counts what is left out")
	f, ok := d.FittedOn("ignition.magneto", onDay(day))
	if !ok {
		return "nothing known"
	}
	return f.Record.Part
}

// TestTwoClocks is a worked example: on 10 March the record knows one magneto
// from 1957 on. On 20 April a warranty card of 1961 turns up: the works had
// fitted another one in May of that year. Asked about 1965 as known in March
// the answer stays what it was; as known at the end of April it is the other.
func TestTwoClocks(t *testing.T) {
	b := newBench(t)
	takenIn(b)
	b.now = time.Date(2026, 3, 10, 10, 0, 0, 0, time.UTC)
	b.do(fitting("mg-a", "magneto A", "1957-06/.."))
	march := time.Date(2026, 3, 10, 23, 59, 59, 0, time.UTC)
	require.Equal(t, "magneto A", fittedAt(t, b, "1965-07-01", march))

	b.now = time.Date(2026, 4, 20, 10, 0, 0, 0, time.UTC)
	card := evidence("card", "ignition.magneto")
	card.Evidence, card.Made, card.Says = "factory-record", "1961-05", "warranty card: magneto exchanged at the works"
	b.do(card, with(fitting("mg-a-until", "magneto A", "1957-06/1961-05"), func(f *Fitting) { f.Supersedes = "mg-a" })(b),
		with(fitting("mg-b", "magneto B", "1961-05/.."), func(f *Fitting) { f.Evidence = []string{"card"} })(b))
	april := time.Date(2026, 4, 30, 12, 0, 0, 0, time.UTC)

	for range 2 { // and both can be asked again
		require.Equal(t, "magneto A", fittedAt(t, b, "1965-07-01", march))
		require.Equal(t, "magneto B", fittedAt(t, b, "1965-07-01", april))
		require.Equal(t, "magneto B", fittedAt(t, b, "1965-07-01", time.Time{}))
		require.Equal(t, "magneto A", fittedAt(t, b, "1959-01-01", april))
		require.Equal(t, "nothing known", fittedAt(t, b, "1956-01-01", april))
		require.Equal(t, "nothing known", fittedAt(t, b, "1965-07-01", monday), "before anybody knew anything")
	}
}

// TestAsOf: the machine as it stood on a day leaves out what began later.
func TestAsOf(t *testing.T) {
	b := newBench(t)
	tagged(b)
	b.do(fitting("mg-a", "magneto A", "1957-06/1961-05"), fitting("mg-b", "magneto B", "1961-05/.."))
	in1960 := b.d.AsOf(onDay("1960-01-01"))
	require.Len(t, in1960.FittingsOf("ignition.magneto"), 1)
	require.Empty(t, Live[*Work](in1960), "work of 2026 has not been done")
	require.Empty(t, in1960.Layers("ignition.magneto", PropositionOrigin))
	_, ok := in1960.MachineRecord()
	require.True(t, ok, "what has no date stays")
	require.Equal(t, b.d.Version(), in1960.Version())
	require.Equal(t, b.d.Last(), in1960.Last())
	require.Equal(t, snapshot(t, b.d), snapshot(t, b.d.AsOf(b.now)), "today is everything")
	require.Len(t, b.d.FittingsOf("ignition.magneto"), 2, "asking changes nothing")
}

// TestAnswersStay: for a fixed pair of clocks the answer never changes, whatever
// is recorded afterwards.
func TestAnswersStay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t)
		takenIn(b)
		type question struct {
			day   string
			known time.Time
		}
		answers := map[question]string{}
		ask := func(q question) string {
			d, err := Replay(b.d.ID, b.events, q.known)
			require.NoError(t, err)
			asOf := d.AsOf(onDay(q.day))
			out := fmt.Sprint(asOf.FunctionOf("ignition.magneto"), asOf.Layers("fuel.tank", PropositionFinish))
			for _, f := range asOf.FittingsOf("ignition.magneto") {
				out += fmt.Sprint(" ", f.RecordID(), f.Record.Part, f.Record.Valid)
			}
			for _, e := range asOf.Entries() {
				out += " " + e.RecordID() + fmt.Sprint(e.Live())
			}
			return out
		}
		for i := range rapid.IntRange(1, 12).Draw(t, "steps") {
			b.now = b.now.Add(time.Duration(rapid.IntRange(0, 72).Draw(t, "hours later")) * time.Hour)
			from := rapid.IntRange(1950, 1990).Draw(t, "from")
			valid := Date(fmt.Sprintf("%d/%d", from, from+rapid.IntRange(0, 20).Draw(t, "years")))
			var body Body = fitting(fmt.Sprintf("f-%d", i), fmt.Sprintf("part %d", i), valid)
			live := Live[*Fitting](b.d)
			if len(live) > 0 {
				old := rapid.SampledFrom(live).Draw(t, "old").RecordID()
				switch rapid.IntRange(0, 4).Draw(t, "what") {
				case 0:
					body.common().Supersedes = old
				case 1:
					body = &Withdrawal{Common: Common{ID: fmt.Sprintf("w-%d", i)}, Record: old, Why: "misread", By: "tamsin"}
				case 2:
					body = aCheck(fmt.Sprintf("c-%d", i), rapid.SampledFrom([]string{"passed", "failed"}).Draw(t, "outcome"), "ignition.magneto")
				}
			}
			_ = b.try(body) // an overlap is refused, which is as good
			for q, was := range answers {
				require.Equal(t, was, ask(q), "%v", q)
			}
			q := question{fmt.Sprintf("%d-07-01", rapid.SampledFrom([]int{1955, 1960, 1965, 1975, 2026}).Draw(t, "day")), b.now}
			answers[q] = ask(q)
		}
	})
}
