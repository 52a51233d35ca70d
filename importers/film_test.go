package importers_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/importers"
	"example.org/asfound/registry"
)

func TestReadingsOfAGaugeBecomeMeasurements(t *testing.T) {
	text := "Area;Component;Thickness;Unit;Gauge;Date;Note\n" +
		"under the strap;fuel-033;78,5;um;gauge 1;2026-03-11;\n" +
		"under the strap;fuel-033;78,5;µm;gauge 1;2026-03-11;warm day\n" +
		"petrol tank;;3.3;mils;gauge 1;2026-03-11;\n" +
		"under the strap;fuel-033;80;;gauge 1;;\n" +
		"under the strap;fuel-033;80;mm;gauge 1;;\n" +
		"under the strap;fuel-033;0;µm;gauge 1;;\n" +
		"left side;;80;µm;gauge 1;;\n" +
		"under the strap;fuel-033;80;µm;;;\n" +
		"under the strap;fuel-033;;µm;gauge 1;2026-03-11;\n"
	drafts, report := load(t, "film", []byte(text), options("gauge.csv"))
	m := body[*registry.Measurement](t, drafts[0])
	require.Equal(t, &registry.Measurement{Common: registry.Common{ID: "fm-fuel.tank-under-the-strap-2026-03-11-2", Valid: "2026-03-11"}, Component: "fuel.tank",
		Quantity: "film thickness", Value: 78.5, Unit: "µm", Instrument: "gauge 1", Place: "under the strap", By: "per-mechanic"}, m)
	require.NotEqual(t, m.ID, body[*registry.Measurement](t, drafts[1]).ID, "equal readings are two readings")
	m = body[*registry.Measurement](t, drafts[2])
	require.Equal(t, "fuel.tank", m.Component, "the area names its component")
	require.Equal(t, "mil", m.Unit, "a reading stays as it was read")
	for i, want := range map[int]string{
		3: `Column "Unit": The unit is missing`, 4: `Column "Unit": This is no unit of a film`, 5: `Column "Thickness": This is no film`,
		6: `Column "Area": It is not said to which component this area belongs`, 7: `Column "Gauge": The instrument is missing`,
	} {
		require.Contains(t, strings.Join(messages(drafts[i]), "\n"), want)
	}
	require.Equal(t, 1, report.LeftOut, "a row without a reading")
	require.Len(t, drafts, 8)

	again, _ := load(t, "film", []byte(text), options("gauge.csv"))
	for i := range drafts[:3] {
		require.Equal(t, body[*registry.Measurement](t, drafts[i]).ID, body[*registry.Measurement](t, again[i]).ID)
	}
	drafts, _ = load(t, "film", []byte("area,number,reading,unit,instrument\nfuel-033,1,80,µm,g\nfuel-033,1,82,µm,g\n"), options("gauge.csv"))
	require.Contains(t, strings.Join(messages(drafts[0]), "\n"), "two rows are one reading of one area")

	i, err := importers.Detect(strings.NewReader(text), options("gauge.csv"))
	require.NoError(t, err)
	require.Equal(t, "film", i.Name)
}
