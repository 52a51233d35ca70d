package workshop

import (
	"context"
	"encoding/json"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// shelf is a register of machines with these frame numbers.
func shelf(t *testing.T, numbers ...string) *bench {
	b := newBench(t)
	for i, n := range numbers {
		m := &registry.Machine{Common: registry.Common{ID: "machine"}, Make: "Skerrow Engineering", Model: "Drover 350", Year: "1957", Invented: true,
			Numbers: []registry.Number{{Where: "frame", AsRead: registry.Private{Value: n}}}}
		_, err := b.Record(context.Background(), Request{Machine: fmt.Sprintf("m-%03d", i), Actor: "mechanic"}, m)
		require.NoError(t, err)
	}
	return b
}

func firstOf(v float64) *float64 { return &v }

// The places 19, 40, 42 and 60 of the run give 74 built (Goodman, 1952) and a
// bound of 60/0.05^(1/4) = 126.9; both are rounded to tens, so that the largest
// number, 6059 in a run that begins with 6000, does not follow from them.
func TestBuiltByTheRegister(t *testing.T) {
	b := shelf(t, "SK 6018", "SK-6039", "sk6041", "SK6059", "unknown")
	out, err := b.RegisterSurvivors(context.Background(), SurvivorsQuestion{Make: "skerrow engineering", Model: "Drover 350", First: firstOf(6000)})
	require.NoError(t, err)
	require.Equal(t, [2]int{5, 4}, [2]int{out.Machines, out.Read})
	require.Equal(t, 70.0, out.Built.Count)
	require.Equal(t, 130.0, out.Built.Bound)
	raw, err := json.Marshal(out)
	require.NoError(t, err)
	for _, n := range []string{"6018", "6039", "6041", "6059", "SK", "60,"} {
		require.NotContains(t, string(raw), n)
	}
	require.Contains(t, out.Warnings[0], "without a number at this place that can be read without doubt: 1")
	require.Contains(t, out.Warnings[1], "only if every number up to the last was used")
}

func TestBuiltIsRefused(t *testing.T) {
	for want, c := range map[string]struct {
		numbers []string
		q       SurvivorsQuestion
	}{
		"Fewer than four numbers":        {[]string{"1", "2", "3"}, SurvivorsQuestion{First: firstOf(1)}},
		"The numbers have gaps":          {[]string{"1", "2", "3", "4"}, SurvivorsQuestion{First: firstOf(1), Gaps: true}},
		"The numbers begin in 2 ways":    {[]string{"A1", "A2", "B3", "B4"}, SurvivorsQuestion{First: firstOf(1)}},
		"Nothing was asked that a count": {[]string{"A1"}, SurvivorsQuestion{}},
	} {
		c.q.Make, c.q.Model = "Skerrow Engineering", "Drover 350"
		out, err := shelf(t, c.numbers...).RegisterSurvivors(context.Background(), c.q)
		require.NoError(t, err)
		require.Len(t, out.Refused, 1)
		require.Contains(t, out.Refused[0], want)
		require.Nil(t, out.Built)
	}
	b := shelf(t, "SK6018", "SK6018", "SK6041", "SK6059", "SK6060")
	out, err := b.RegisterSurvivors(context.Background(), SurvivorsQuestion{Make: "Skerrow Engineering", Model: "Drover 350", First: firstOf(6000)})
	require.NoError(t, err)
	require.Equal(t, 1, out.Twice)
	_, err = b.RegisterSurvivors(context.Background(), SurvivorsQuestion{Make: "Skerrow Engineering", Model: "Drover 350", First: firstOf(6030)})
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
	require.NotContains(t, fmt.Sprintf("%#v", err), "6018", "an error names no number either")
	_, err = b.RegisterSurvivors(context.Background(), SurvivorsQuestion{Make: "Skerrow Engineering", Model: "Fell"})
	require.Equal(t, registry.CodeNotFound, registry.CodeOf(err))
	_, err = b.RegisterSurvivors(context.Background(), SurvivorsQuestion{Make: "Skerrow Engineering"})
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
}

// Chapman: 12 here, 10 there, 8 in both give 13·11/9 − 1 = 14.9.
func TestSurvivorsByTheRegister(t *testing.T) {
	var here, there []string
	for i := range 12 {
		here = append(here, fmt.Sprintf("SK%d", 6100+i))
	}
	for i := range 10 {
		there = append(there, fmt.Sprintf("sk 6%d", 104+i)) // 6104 to 6113: eight of them are here
	}
	b := shelf(t, here...)
	q := SurvivorsQuestion{Make: "Skerrow Engineering", Model: "Drover 350", KnownBy: []string{"visits"}, List: &NumberList{Name: "sales", Sources: []string{"catalogues"}, Numbers: append(there, "6104", "none")}}
	out, err := b.RegisterSurvivors(context.Background(), q)
	require.NoError(t, err)
	require.Equal(t, [4]int{12, 10, 8, 1}, [4]int{out.Read, out.Listed, out.Both, out.Unlisted})
	require.InDelta(t, 13.0*11/9-1, out.Survivors.Count, 1e-12)
	require.Contains(t, out.Warnings[1], "Keen owners stand in both lists")

	q.List.Sources = []string{"visits"}
	out, err = b.RegisterSurvivors(context.Background(), q)
	require.NoError(t, err)
	require.Nil(t, out.Survivors)
	require.Contains(t, out.Refused[0], "The lists share the source")
	q.KnownBy, q.List.Sources = nil, []string{"catalogues"}
	out, err = b.RegisterSurvivors(context.Background(), q)
	require.NoError(t, err)
	require.Contains(t, out.Refused[0], "Where this list has its entries from is not known")
	q.KnownBy, q.List.Numbers = []string{"visits"}, there[:6]
	out, err = b.RegisterSurvivors(context.Background(), q)
	require.NoError(t, err)
	require.Contains(t, out.Refused[0], "Fewer than seven machines stand in both lists")
}

// TestNumbersOfTheViewsAreThoseOfTheRecord: what the views know of a number and
// what the record says come to the same, in doubt, at two places and elsewhere.
func TestNumbersOfTheViewsAreThoseOfTheRecord(t *testing.T) {
	ctx := context.Background()
	b := newBench(t)
	b.Registry = "here"
	add := func(id string, numbers ...registry.Number) {
		_, err := b.Record(ctx, Request{Machine: id, Actor: "mechanic"}, &registry.Machine{Common: registry.Common{ID: "machine"}, Make: "Skerrow Engineering", Model: "Drover 350", Year: "1957", Invented: true, Numbers: numbers})
		require.NoError(t, err)
	}
	number := func(where, read string, doubtful ...registry.DoubtfulCharacter) registry.Number {
		return registry.Number{Where: where, AsRead: registry.Private{Value: read}, Doubtful: doubtful}
	}
	inDoubt := registry.DoubtfulCharacter{Place: 2, Readings: []string{"1", "7"}}
	add("plain", number("frame", "SK 6018"))
	add("unread", number("frame", "?"))
	add("doubt", number("frame", "6100", inDoubt))
	add("both", number("frame", "6200", inDoubt), number("Frame", "6201"))
	add("two", number("frame", "6300"), number("frame", "6301"))
	add("engine", number("engine", "77"))
	add("gone", number("frame", "6400"))
	_, err := b.Record(ctx, Request{Machine: "gone", Actor: "mechanic"}, &registry.Person{Common: registry.Common{ID: "mechanic"}, Role: "mechanic", Name: registry.Private{Value: "Tamsin Orde"}})
	require.NoError(t, err)
	_, err = b.HandOver(ctx, Request{Machine: "gone", Actor: "mechanic"}, "sold")
	require.NoError(t, err)
	got := map[string]string{}
	machines, err := b.Machines(ctx, "", 0)
	require.NoError(t, err)
	for _, m := range machines {
		got[m.ID], err = b.numberAtPlace(ctx, m, "frame")
		require.NoError(t, err)
	}
	require.Equal(t, map[string]string{"plain": "SK 6018", "unread": "", "doubt": "", "both": "6201", "two": "6300", "engine": "", "gone": "6400"}, got)
	models, err := b.ModelsOnRecord(ctx)
	require.NoError(t, err)
	require.Len(t, models, 1)
	require.Equal(t, len(machines)-1, models[0].Machines, "one is kept elsewhere")
}
