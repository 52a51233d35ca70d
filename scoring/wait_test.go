package scoring

import (
	"math"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Worked example: three sightings in eight years, prices 200, 350 and 600,
// waiting at 60 a year, a substitute at 520.
func waitExample() WaitInput {
	return WaitInput{Search: &WaitSearch{"2017-04-01", "2025-04-01", []string{"2018-06-02", "2021-10-10", "2024-03-17"}}, Ahead: 2,
		Buy: &WaitBuy{Rate: amount(0.45), Offers: []WaitOffer{{200, 0.3}, {350, 0.5}, {600, 0.2}}, Waiting: 60, Discount: 0.03, Substitute: 520, Years: 5}}
}

func TestWaitExample(t *testing.T) {
	in := waitExample()
	out, err := Wait(in)
	require.NoError(t, err)
	require.Equal(t, 8.0, out.Years)
	near(t, 0.5421, out.Seen, 4)
	near(t, 3.5/8, out.Rate, 12)
	for i, want := range []float64{483, 494, 510, 532, 565} {
		near(t, want, out.Buy.Reservation[i], 0)
	}
	near(t, 428.289345, out.Buy.Expected, 6)
	near(t, 92, out.Buy.Worth, 0)

	in.Search.Sightings = nil
	in.Buy.Rate = nil
	out, err = Wait(in)
	require.NoError(t, err)
	near(t, 0.106, out.Seen, 3) // none seen is not none there
	near(t, 0.5/8, out.Buy.Rate, 12)
}

// cheapest tries every rule "in year y take these prices" and gives the least
// expected spending, by enumeration of all rules and all offers.
func cheapest(b *WaitBuy) float64 {
	chance := 1 - math.Exp(-*b.Rate)
	rules := 1
	for range b.Years * len(b.Offers) {
		rules *= 2
	}
	least := math.Inf(1)
	for rule := range rules {
		spent, still, worth := 0.0, 1.0, 1.0
		for year := range b.Years {
			go1 := 0.0 // chance to go on
			for i, o := range b.Offers {
				if rule&(1<<(year*len(b.Offers)+i)) != 0 {
					spent += still * worth * chance * o.Chance * o.Price
				} else {
					go1 += chance * o.Chance
				}
			}
			go1 += 1 - chance
			still *= go1
			spent += still * worth * b.Waiting
			worth /= 1 + b.Discount
		}
		least = min(least, spent+still*worth*b.Substitute)
	}
	return least
}

func TestWaitEqualsEnumeration(t *testing.T) {
	require.InDelta(t, 428.289345, cheapest(waitExample().Buy), 1e-6)
	rapid.Check(t, func(t *rapid.T) {
		in := waitExample()
		number := rapid.Float64Range(0, 1000)
		in.Buy = &WaitBuy{Rate: amount(rapid.Float64Range(0, 3).Draw(t, "rate")), Waiting: number.Draw(t, "waiting"), Substitute: number.Draw(t, "substitute"),
			Discount: rapid.Float64Range(0, 0.5).Draw(t, "discount"), Years: rapid.IntRange(1, 3).Draw(t, "years")}
		for _, p := range drawShares(t, 3, "chances") {
			in.Buy.Offers = append(in.Buy.Offers, WaitOffer{number.Draw(t, "price"), p})
		}
		out, err := Wait(in)
		require.NoError(t, err)
		require.InDelta(t, cheapest(in.Buy), out.Buy.Expected, 1e-7)
		require.GreaterOrEqual(t, out.Buy.Worth, 0.0)
	})
}

// More sightings and longer looking ahead never make a find less likely.
func TestWaitRises(t *testing.T) {
	last := 0.0
	in := WaitInput{Search: &WaitSearch{Since: "2015-01-01", Until: "2025-01-01"}, Ahead: 1}
	for range 20 {
		out, err := Wait(in)
		require.NoError(t, err)
		require.Greater(t, out.Seen, last)
		last = out.Seen
		in.Search.Sightings = append(in.Search.Sightings, "2020-01-01")
	}
}

func TestWaitRefusals(t *testing.T) {
	for _, input := range []string{`{"ahead":2}`, `{"ahead":2,"search":{"sightings":[]}}`, `{"ahead":2,"search":{"since":"2020-01-01","sightings":[]}}`} {
		_, err := Run(MethodWait, []byte(input))
		refused(t, err, registry.CodeInsufficient, "/search")
		require.ErrorContains(t, err, "how many years")
	}
	for input, pointer := range map[string]string{
		`{"ahead":2,"search":{"since":"2020","until":"2021-01-01","sightings":[]}}`:                                                                                                     "/search/since",
		`{"ahead":2,"search":{"since":"2021-01-01","until":"2021-01-01","sightings":[]}}`:                                                                                               "/search/until",
		`{"ahead":2,"search":{"since":"2020-01-01","until":"2021-01-01","sightings":["2022-01-01"]}}`:                                                                                   "/search/sightings/0",
		`{"ahead":0,"search":{"since":"2020-01-01","until":"2021-01-01","sightings":[]}}`:                                                                                               "/ahead",
		`{"ahead":1,"search":{"since":"2020-01-01","until":"2021-01-01","sightings":[]},"buy":{"offers":[],"waiting":1,"discount":0,"substitute":1,"years":1}}`:                         "/buy/offers",
		`{"ahead":1,"search":{"since":"2020-01-01","until":"2021-01-01","sightings":[]},"buy":{"offers":[{"price":1,"chance":1}],"waiting":-1,"discount":0,"substitute":1,"years":1}}`:  "/buy/waiting",
		`{"ahead":1,"search":{"since":"2020-01-01","until":"2021-01-01","sightings":[]},"buy":{"offers":[{"price":1,"chance":1}],"waiting":1,"discount":0,"substitute":1,"years":1.5}}`: "/buy/years",
		`{"ahead":1,"search":{"since":"2020-01-01","until":"2021-01-01","sightings":[]},"buy":{"offers":[{"price":1,"chance":1}],"waiting":1,"discount":0,"substitute":1,"years":101}}`: "/buy/years",
	} {
		_, err := Run(MethodWait, []byte(input))
		refused(t, err, registry.CodeInvalid, pointer)
	}
}
