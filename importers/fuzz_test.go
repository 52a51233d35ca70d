package importers_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"example.org/asfound/importers"
	"example.org/asfound/registry"
	"example.org/asfound/schema"
)

// coded wants a refusal with a code and words for a person.
func coded(t *testing.T, err error) {
	t.Helper()
	var e *registry.Error
	require.ErrorAs(t, err, &e)
	require.NotEqual(t, registry.CodeInternal, e.Code)
	require.NotEmpty(t, e.Message)
}

// FuzzMapping: a mapping is read and written as the same, or refused with every
// place; with one that is read, any table of a gauge gives measurements above 0
// that the domain takes, or rows with faults. Reading twice gives the same.
func FuzzMapping(f *testing.F) {
	set, err := schema.Compile()
	require.NoError(f, err)
	for _, x := range []struct {
		m     importers.Mapping
		table string
	}{{mappingA, gaugeA}, {mappingB, gaugeB},
		{importers.Mapping{Name: "bare", Sheet: "film", NoHeadings: true, Separator: "tab", Decimal: "point", Columns: []importers.MappedColumn{{Fills: "area", From: []string{"#2"}}, {Fills: "reading", From: []string{"#3", "#4"}},
			{Fills: "unit", Always: "thou"}, {Fills: "instrument", Always: "g"}}}, "1\tfuel.tank\t1,081.5\t1e3\n2\tfuel.tank\tNaN\t-1\n"}} {
		raw, err := json.Marshal(x.m)
		require.NoError(f, err)
		f.Add(raw, []byte(x.table))
	}
	f.Add([]byte(`{"name":"x","sheet":"survey","columns":[{"fills":"component","from":["#9999"]},{"fills":"origin","always":"original"}]}`), []byte("a\n\"b\n"))
	f.Add([]byte(`{"name":"x","sheet":"survey","columns":[{"fills":"component","from":[" #1"]},{"fills":"origin","always":" original\n"}]}`), []byte("a\n"))
	f.Add([]byte(`{"name":"x","sheet":"survey","columns":[{"fills":"component","from":["\u00a0"]},{"fills":"origin","always":"\u00a0"}]}`), []byte("a\n"))
	f.Add([]byte(`{"name":"x","sheet":"survey","columns":[{"fills":"component","from":["a;b"]},{"fills":"origin","always":"original"}]}`), []byte("a;b\n"))
	f.Fuzz(func(t *testing.T, mapping, table []byte) {
		m, err := importers.ReadMapping(mapping, set)
		if err != nil {
			coded(t, err)
			return
		}
		require.NoError(t, m.Check(set))
		columns, err := importers.ParseMappedColumns(m.Lines())
		if err == nil && len(columns) == len(m.Columns) {
			again := m
			again.Columns = columns
			require.Equal(t, strings.Join(m.Lines(), "\n"), strings.Join(again.Lines(), "\n"))
		}
		read := func() (out []importers.Draft, report importers.Report) {
			i, err := importers.Named(m.Sheet)
			if err != nil {
				coded(t, err)
				return
			}
			o := mapped("f", m)
			o.Workers = 1
			s, err := i.Open(bytes.NewReader(table), o)
			if err != nil {
				coded(t, err)
				return
			}
			err = s.Each(func(d importers.Draft) error { out = append(out, d); return nil })
			if err != nil {
				coded(t, err)
			}
			require.NoError(t, s.Close())
			return out, s.Report()
		}
		drafts, report := read()
		good := 0
		for _, d := range drafts {
			if !d.Good() {
				require.NotEmpty(t, d.Faults)
				continue
			}
			good++
			require.NoError(t, registry.CheckBody(d.Body))
			if film, ok := d.Body.(*registry.Measurement); ok && m.Sheet == "film" {
				require.True(t, film.Value > 0 && !math.IsInf(film.Value, 0), "%v", film.Value)
			}
		}
		require.Equal(t, good, report.Records)
		again, _ := read()
		require.Equal(t, drafts, again)
	})
}

// FuzzLists: the sheets that are less than records. A row comes out sound or
// with its faults, a file that cannot be read is refused with a code.
func FuzzLists(f *testing.F) {
	f.Add([]byte("what,count,photo\ntool roll,1,\n,0,ph 1\n\"x\n"))
	f.Add([]byte("hole;x;y;length;hand\n1;12,5;40;42;right\n2;101;-1;1001;?\n1;NaN;1e9;;\n"))
	f.Add([]byte("hole;x;y;length\n1;101;40;42\n2;12;40;1001\n3;100;0;0\n"))
	f.Add([]byte("name,left,top,width,height,L,a,b\npatch 1,0,0,0.1,0.1,50,0,-0.5\narea,0.2,0,0.1,0.1\n,,,,\nx,1\n"))
	f.Add([]byte("frame number (left lug)\nDR57-10482\n\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		o := options("f")
		_, err := importers.ReadInventory(bytes.NewReader(data), o, func(d importers.InventoryDraft) error {
			if d.Good() {
				require.NotEmpty(t, d.Item.What)
				require.True(t, d.Item.Count >= 0 && d.Item.Count <= 1_000_000)
				require.NoError(t, registry.CheckID("/id", d.Item.ID))
			}
			return nil
		})
		if err != nil {
			coded(t, err)
		}
		_, err = importers.ReadFasteners(bytes.NewReader(data), o, func(d importers.FastenerDraft) error {
			if d.Good() {
				require.NotEmpty(t, d.Fastener.Hole)
				for _, share := range []float64{d.Fastener.X, d.Fastener.Y, d.Fastener.Length / 1000} {
					require.True(t, share >= 0 && share <= 1, "%v", d.Fastener)
				}
			}
			return nil
		})
		if err != nil {
			coded(t, err)
		}
		marks, err := importers.ReadCardMarks(bytes.NewReader(data), o)
		if err != nil {
			coded(t, err)
			require.Empty(t, marks)
		}
		for _, m := range marks {
			require.NotEmpty(t, m.ID)
			require.False(t, math.IsNaN(m.X+m.Y+m.Width+m.Height))
		}
		numbers, err := importers.ReadNumbers(bytes.NewReader(data), o)
		if err != nil {
			coded(t, err)
			return
		}
		require.NotEmpty(t, numbers)
		for _, n := range numbers {
			require.Equal(t, strings.TrimSpace(n), n)
			require.NotEmpty(t, n)
		}
	})
}

// FuzzPhotoFolder: whatever a picture is called and whatever stands in the
// sheet beside it, each file comes out once, as a photo that the domain takes
// or with what is wrong.
func FuzzPhotoFolder(f *testing.F) {
	f.Add("fuel.tank_as-found_left side.jpg", []byte("file,component,shows,caption\nfuel.tank_as-found_left side.jpg,fuel-033,after,\"the \"\"tank\"\"\"\nnone.jpg,,,\n"))
	f.Add("opening-cover_withhold__x.png", []byte{})
	f.Add("IMG_0001.JPG", []byte("file;position;taken;openings\r\nimg_0001.jpg;petrol tank | no.such;1957-13;a b\r\n"))
	grey := shot(f, 90)
	f.Fuzz(func(t *testing.T, name string, sidecar []byte) {
		files := fstest.MapFS{"a/" + strings.ReplaceAll(name, "/", "_"): {Data: grey}}
		if len(sidecar) > 0 {
			files["photos.csv"] = &fstest.MapFile{Data: sidecar}
		}
		o := importers.PhotoOptions{Options: options("shots")}
		o.Workers = 1
		folder, err := importers.OpenPhotoFolder(files, o)
		if err != nil {
			coded(t, err)
			return
		}
		seen := map[string]int{}
		err = folder.Each(func(d importers.PhotoDraft) error {
			if d.Good() {
				require.NoError(t, registry.CheckBody(d.Body))
				seen[d.Body.(*registry.Photo).FileName]++
			} else {
				require.NotEmpty(t, d.Faults)
			}
			return nil
		})
		if err != nil {
			var known *registry.Error
			if !errors.As(err, &known) { // a name that is none in a file system
				require.Contains(t, err.Error(), "list the folder")
			}
			return
		}
		require.NoError(t, folder.Close())
		for file, n := range seen {
			require.Equal(t, 1, n, "%q comes out twice", file)
		}
	})
}
