package workshop

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/asfound/registry"
)

// surveyed takes a machine in and surveys its tank.
func (b *bench) surveyed(machine, maker, model, year, origin, finish string) {
	b.t.Helper()
	b.on(machine, &registry.Machine{Common: registry.Common{ID: "machine"}, Make: maker, Model: model, Year: registry.Date(year), Invented: true}, aPerson("mechanic", "mechanic", "Tamsin Orde"),
		&registry.Survey{Common: registry.Common{ID: "tank"}, Component: "fuel.tank", Origin: origin, Finish: finish, By: "mechanic"})
}

func (b *bench) statistics(q StatisticsQuestion) *Statistics {
	b.t.Helper()
	s, err := b.Statistics(context.Background(), q)
	require.NoError(b.t, err)
	return s
}

func TestStatistics(t *testing.T) {
	b := newBench(t)
	for i := range 6 {
		b.surveyed(fmt.Sprintf("d%d", i), "Skerrow", "Drover", "1957", []string{"original", "original", "original", "reproduction", "undetermined", "donor"}[i], "worn")
	}
	b.surveyed("v", "Élan", "Vole", "193X", "original", "refinished")
	s := b.statistics(StatisticsQuestion{})
	require.Equal(t, 7, s.Machines)
	require.Equal(t, 7, s.Invented)
	require.Equal(t, []Group{{Name: "Skerrow Drover", Machines: 6, Make: "Skerrow", Model: "Drover"}, {Name: "Élan Vole", Machines: 1, Make: "Élan", Model: "Vole"}}, s.Models)
	require.Equal(t, []Group{{Name: "1930", Machines: 1}, {Name: "1950", Machines: 6}}, s.Decades)
	require.Equal(t, []Group{{Name: "surveying", Machines: 7}}, s.Phases)
	require.Len(t, s.Groups, 1)
	tank := s.Groups[0].Components[0]
	require.Equal(t, CountOf{4, 6}, tank.Original, "undetermined is not looked at with a result")
	require.Equal(t, CountOf{6, 7}, tank.Untouched)
	require.InDelta(t, 4.0/6, tank.Share.Share, 1e-12)
	// Wilson's interval for 4 of 6, by hand: z = 1.96, middle .6016, half .3016.
	require.InDelta(t, 0.3000, tank.Share.Low, 5e-4)
	require.InDelta(t, 0.9032, tank.Share.High, 5e-4)
	require.Contains(t, s.Refused[0], "It is known of 0 machines, and fewer than 5")

	one := b.statistics(StatisticsQuestion{Make: "skerrow", Model: "DROVER"})
	require.Equal(t, "Drover", one.Model)
	require.Equal(t, CountOf{3, 5}, one.Groups[0].Components[0].Original)
	_, err := b.Statistics(context.Background(), StatisticsQuestion{Make: "Skerrow", Model: "Fell"})
	refused(t, err, registry.CodeNotFound, "no machine Skerrow Fell")

	// A reader is not told of one machine, nor of what is left without it.
	s = b.statistics(StatisticsQuestion{Least: LeastCell})
	require.Equal(t, []Group{{Machines: 7, Together: 2}}, s.Models)
	_, err = b.Statistics(context.Background(), StatisticsQuestion{Make: "Élan", Model: "Vole", Least: LeastCell})
	refused(t, err, registry.CodeInsufficient, "Fewer than 5")
	_, err = b.Statistics(context.Background(), StatisticsQuestion{Make: "Skerrow", Model: "Drover", Least: LeastCell})
	refused(t, err, registry.CodeInsufficient, "or of all others")

	// Nor of the small one by what is left without two large ones: the smaller of
	// them is told together with it, and so is not told alone.
	big := newBench(t)
	for model, n := range map[string]int{"Drover": 7, "Tern": 5, "Vole": 2} {
		for i := range n {
			big.surveyed(fmt.Sprintf("m-%d-%d", n, i), "Skerrow", model, "1957", "original", "worn")
		}
	}
	require.Equal(t, []Group{{Name: "Skerrow Drover", Machines: 7, Make: "Skerrow", Model: "Drover"}, {Machines: 7, Together: 2}}, big.statistics(StatisticsQuestion{Least: LeastCell}).Models)
	require.Equal(t, 7, big.statistics(StatisticsQuestion{Make: "Skerrow", Model: "Drover", Least: LeastCell}).Machines)
	_, err = big.Statistics(context.Background(), StatisticsQuestion{Make: "Skerrow", Model: "Tern", Least: LeastCell})
	refused(t, err, registry.CodeInsufficient, "or of all others")

	// Work that replaces the tank takes it out of the originals; a correction of
	// the machine moves it from model to model.
	b.on("v", &registry.Machine{Common: registry.Common{ID: "machine-2", Supersedes: "machine"}, Make: "Skerrow", Model: "Drover", Year: "193X", Invented: true})
	s = b.statistics(StatisticsQuestion{})
	require.Equal(t, []Group{{Name: "Skerrow Drover", Machines: 7, Make: "Skerrow", Model: "Drover"}}, s.Models)
	before := *s
	require.NoError(t, b.Rebuild(context.Background(), nil))
	require.Equal(t, before, *b.statistics(StatisticsQuestion{}))
}

// A record that was handed over is counted where it is kept.
func TestStatisticsLeaveOutWhatMoved(t *testing.T) {
	b := newBench(t)
	b.Registry = "here"
	b.surveyed("a", "Skerrow", "Drover", "1957", "original", "worn")
	b.surveyed("c", "Skerrow", "Drover", "1957", "original", "worn")
	require.Equal(t, 2, b.statistics(StatisticsQuestion{}).Machines)
	_, err := b.HandOver(context.Background(), Request{Machine: "a", Actor: "mechanic"}, "sold")
	require.NoError(t, err)
	require.Equal(t, 1, b.statistics(StatisticsQuestion{}).Machines)
	_, err = b.TakeBackHandOver(context.Background(), Request{Machine: "a", Actor: "mechanic"}, "not sold")
	require.NoError(t, err)
	require.Equal(t, 2, b.statistics(StatisticsQuestion{}).Machines)
}

// Groups that are told keep their number of machines, none is small, and what
// is told together does not give a single one away.
func TestSmallGroupsAreToldTogether(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sizes := rapid.SliceOfN(rapid.IntRange(1, 12), 1, 12).Draw(t, "sizes")
		var list []Group
		sum := 0
		for i, n := range sizes {
			list = append(list, Group{Name: fmt.Sprint(i), Machines: n})
			sum += n
		}
		out := told(list, 5)
		got, single := 0, 0
		for _, g := range out {
			got += g.Machines
			if g.Together == 1 {
				single++
			}
			if sum >= 5 {
				require.GreaterOrEqual(t, g.Machines, 5)
			}
		}
		require.Equal(t, sum, got)
		if len(sizes) > 1 {
			require.Zero(t, single)
		}
	})
}
