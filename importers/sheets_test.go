package importers_test

import (
	"bytes"
	"encoding/csv"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"example.org/asfound/catalog"
	"example.org/asfound/importers"
	"example.org/asfound/registry"
	"example.org/asfound/schema"
)

func TestEvidence(t *testing.T) {
	text := "id,kind,component,proposition,sign,why,cluster,reliability,made,made by,says,limits,recollected,photos,by,note,likelihood original,P(donor),likelihood other\n" +
		"ev-1,Period photograph,fuel-033; main frame,origin,,two prints compared,photo,\"95 %\",1959-08~,third party,Same crease.,One print.,no,ph-1,per-a,n,0.5,1%,\"0,2\"\n" +
		"ev-2,physical trait,fuel.tank,,fret-marks-fit,,Patina of tank,,,,Fret marks fit.,,yes,,,,,,\n" +
		"ev-3,opinion,magneto-condenser,assembly,,x,talk,,,,Says so.,,,,,,,,\n" +
		"ev-4,opinion,fuel.tank,finish,fret-marks-fit,,talk,1.5,,,Says so.,,,,,,,,\n"
	drafts, report := load(t, "evidence", []byte(text), options("e.csv"))
	e := body[*registry.Evidence](t, drafts[0])
	require.Equal(t, "period-photograph", e.Evidence)
	require.Len(t, e.Bears, 2)
	require.Equal(t, registry.Bearing{Component: "frame.main", Proposition: "origin", Why: "two prints compared",
		Likelihood: map[string]float64{"original": 0.5, "donor": 0.01, "other": 0.2}}, e.Bears[1])
	require.InDelta(t, 0.95, *e.Reliability, 1e-12)
	require.Equal(t, registry.Date("1959-08~"), e.Made)
	e = body[*registry.Evidence](t, drafts[1])
	require.Equal(t, registry.PropositionOrigin, e.Bears[0].Proposition, "the sign says which question")
	require.Equal(t, "patina-of-tank", e.Cluster)
	require.True(t, e.Recollected)
	require.Contains(t, messages(drafts[2])[0], "neither a sign of the catalog nor a likelihood")
	all := strings.Join(messages(drafts[3]), "\n")
	require.Contains(t, all, `Column "reliability": A probability lies between 0 and 1 (found "1.5")`)
	require.Contains(t, all, `The sign fret-marks-fit speaks to another question`)
	require.Empty(t, report.Warnings)
}

func TestPartsBecomeFittings(t *testing.T) {
	text := "component,part,stamp,from,to,origin,evidence\n" +
		"fuel-033,first tank,A 57,1957-06,1959-10,original,ev-1|ev-2\n" +
		"fuel-033,second tank,,1959-10,,donor,\n" +
		"main frame,frame,,,1961,,\n" +
		"brake-113,linings,,1961,1960,,\n" +
		"wheel-103,rim,,,,,\n" +
		"wheel-104,rim,,1957,,,\nwheel-104,rim,,1957,1960,,\n"
	drafts, _ := load(t, "parts", []byte(text), options("p.csv"))
	f := body[*registry.Fitting](t, drafts[0])
	require.Equal(t, &registry.Fitting{Common: registry.Common{ID: "ft-fuel.tank-1957-06", Valid: "1957-06/1959-10"},
		Component: "fuel.tank", Part: "first tank", Stamp: "A 57", Origin: "original", Evidence: []string{"ev-1", "ev-2"}}, f)
	require.Equal(t, registry.Date("1959-10/.."), body[*registry.Fitting](t, drafts[1]).Valid)
	require.Equal(t, registry.Date("../1961"), body[*registry.Fitting](t, drafts[2]).Valid)
	require.Contains(t, messages(drafts[3])[0], "The span ends before it begins")
	for _, d := range drafts[5:] {
		require.Contains(t, messages(d)[0], "Rows 7 and 8: two rows fit a part to one position at the same time")
	}
	require.Contains(t, messages(drafts[4])[0], "It is not said when the part was fitted")
}

func TestRemovedPartsJointsAndSales(t *testing.T) {
	drafts, _ := load(t, "removed", []byte("component,tag,what,custody,place,reason,date\nbrake-113,T 14,\"lining, upper\",kept with machine,box 3,oil,2026-04\nbrake-113,T 14,x,fitted,,,\n"), options("r.csv"))
	require.Contains(t, strings.Join(messages(drafts[0]), ""), "two parts have one tag")
	require.Contains(t, strings.Join(messages(drafts[1]), ""), "kept-with-machine, evidence-only, elsewhere, lost, destroyed")
	drafts, _ = load(t, "removed", []byte("component,tag,what,custody,place,reason,date\nbrake-113,T 14,\"lining, upper\",kept with machine,box 3,oil,2026-04\n"), options("r.csv"))
	r := body[*registry.RemovedPart](t, drafts[0])
	require.Equal(t, "rp-t-14", r.ID)
	require.Equal(t, registry.Private{Value: "box 3"}, r.Place)

	drafts, _ = load(t, "joints", []byte("joint;components;witness;sign\ntank-bolt;petrol tank | main frame;undisturbed;paint bridge\n"), options("j.csv"))
	j := body[*registry.Joint](t, drafts[0])
	require.Equal(t, []string{"fuel.tank", "frame.main"}, j.Components)
	require.Equal(t, "jt-tank-bolt", j.ID)

	text := "id;source;date;price kind;price;currency;make;model;substance;distance;distance unit;running\n" +
		"sale-1;printed results;2024-05;hammer;4200,50;gbp;Skerrow;Drover 350;70 %;31204;mi;no\n" +
		"sale-2;printed results;2024-05;hammer;1.234;GBP;Skerrow;Drover 350;;;;\n"
	drafts, _ = load(t, "sales", []byte(text), options("s.csv"))
	s := body[*registry.ComparableSale](t, drafts[0])
	require.Equal(t, "4200.50 GBP", s.Price.String())
	require.InDelta(t, 0.7, *s.Substance, 1e-12)
	require.False(t, *s.Running)
	require.Contains(t, messages(drafts[1])[0], `Column "price": This is not an amount of money without doubt (found "1.234")`)
}

func TestInventory(t *testing.T) {
	text := "what,count,photo\n\"Tool roll, unopened\",,\nSpare linings,2,ph-1\nkeys,two,PH\nkeys,1,\n"
	var items []registry.InventoryItem
	var bad []importers.InventoryDraft
	report, err := importers.ReadInventory(strings.NewReader(text), options("i.csv"), func(d importers.InventoryDraft) error {
		if d.Good() {
			items = append(items, d.Item)
		} else {
			bad = append(bad, d)
		}
		return nil
	})
	require.NoError(t, err)
	require.Equal(t, []registry.InventoryItem{{ID: "in-tool-roll-unopened", What: "Tool roll, unopened", Count: 1},
		{ID: "in-spare-linings", What: "Spare linings", Count: 2, Photo: "ph-1"}}, items)
	require.Len(t, bad, 2)
	all := strings.Join(messages(bad[0].Draft), "\n")
	require.Contains(t, all, `Column "count": This is not a number`)
	require.Contains(t, all, `Column "photo": The identifier cannot be used`)
	require.Contains(t, all, "Rows 4 and 5")
	require.Equal(t, 2, report.Rejected)
}

func TestDetect(t *testing.T) {
	for text, want := range map[string]string{
		"component,origin\nx,y\n":                                                "survey",
		"component;part;from\nx;y;z\n":                                           "parts",
		`[{"record":"survey"}]`:                                                  "json",
		"\ufeff {\"record\":\"joint\"}":                                          "json",
		"id,kind,component,cluster,says\n1,2,3,4,5\n":                            "evidence",
		"joint,components,witness,sign\na,b,c,d\n":                               "joints",
		"component,tag,what,custody,reason\n1,2,3,4,5\n":                         "removed",
		"id,source,date,price kind,price,currency,make,model\n1,2,3,4,5,6,7,8\n": "sales",
	} {
		i, err := importers.Detect(strings.NewReader(text), options("x"))
		require.NoError(t, err, text)
		require.Equal(t, want, i.Name, text)
	}
	_, err := importers.Detect(strings.NewReader("a,b\n1,2\n"), options("x.csv"))
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
	_, err = importers.Named("everything")
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
}

func TestNumbersThatCanBeReadInTwoWays(t *testing.T) {
	for text, want := range map[string]string{"31204": "", "31 204": "", "31,5": "", "0.125": "",
		"31,204": "two ways", "31.204": "two ways", "1.234,5": "two ways", "many": "not a number", "1e999": "not a number"} {
		head := "id;source;date;price kind;price;currency;make;model;distance;distance unit\n"
		drafts, _ := load(t, "sales", []byte(head+"s;x;2024;hammer;1;GBP;a;b;"+text+";km\n"), options("s.csv"))
		if want == "" {
			require.Empty(t, messages(drafts[0]), text)
		} else {
			require.Contains(t, strings.Join(messages(drafts[0]), ""), want, text)
		}
	}
}

func TestRejectedRowsCanBeMendedAndReadAgain(t *testing.T) {
	text := "component,origin,note\nfuel.tank,orignal,\"=HYPERLINK(\"\"http://x\"\")\"\nframe.main,original,fine\nbrake-113,donor,-5\nwheel-103,nonsense,@x\n"
	drafts, report := load(t, "survey", []byte(text), options("s.csv"))
	var out bytes.Buffer
	w := importers.NewRejectedWriter(&out, report.Headings)
	for _, d := range drafts {
		require.NoError(t, w.Write(d))
	}
	require.NoError(t, w.Flush())
	rows, err := csv.NewReader(bytes.NewReader(out.Bytes())).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"component", "origin", "note", "what is wrong"}, rows[0])
	require.Len(t, rows, 3)
	require.Equal(t, `'=HYPERLINK("http://x")`, rows[1][2])
	require.Equal(t, "'@x", rows[2][2])
	require.Contains(t, rows[1][3], `Row 2: Column "origin": This word is not in the vocabulary`)
	require.Contains(t, rows[1][3], "Did you mean original?")

	mended := strings.Replace(out.String(), "orignal", "original", 1)
	drafts, report = load(t, "survey", []byte(mended), options("s.csv"))
	require.Empty(t, report.Warnings, "the column of reasons is passed over")
	require.Equal(t, `=HYPERLINK("http://x")`, body[*registry.Survey](t, drafts[0]).Note)
	require.False(t, drafts[1].Good())
}

func TestGuardFormula(t *testing.T) {
	for in, want := range map[string]string{"=1": "'=1", "+1+1": "'+1+1", "-1": "-1", "-0,5": "-0,5", "-": "-", "-x": "'-x", "@a": "'@a", "\tx": "'\tx", " =1": "' =1", "plain": "plain", "": ""} {
		require.Equal(t, want, importers.GuardFormula(in), in)
	}
}

// house is the catalog's own anatomy.
func house(t testing.TB) *importers.Anatomy {
	t.Helper()
	c, err := catalog.Load()
	require.NoError(t, err)
	rules := c.Rules()
	var components []importers.Component
	for _, x := range c.ComponentsInWalk() {
		components = append(components, importers.Component{ID: x.ID, Code: x.Code, Name: x.Name, Group: x.Group})
	}
	var assemblies []string
	for id := range rules.Assemblies {
		assemblies = append(assemblies, id)
	}
	return importers.NewAnatomy(components, assemblies, rules.Signs)
}

func TestTemplatesReadBackAsNothing(t *testing.T) {
	a := house(t)
	require.Len(t, a.Components(), 160)
	for _, table := range importers.Tables() {
		for _, format := range []string{"xlsx", "csv"} {
			var b bytes.Buffer
			require.NoError(t, importers.WriteTemplate(&b, table.Name, format, a))
			o := options(table.Name + "." + format)
			o.Anatomy = a
			if table.Name == "fasteners" {
				report, err := importers.ReadFasteners(bytes.NewReader(b.Bytes()), o, func(importers.FastenerDraft) error { t.Fatal("a hole"); return nil })
				require.NoError(t, err)
				require.Empty(t, report.Warnings)
				continue
			}
			if table.Name == "inventory" {
				report, err := importers.ReadInventory(bytes.NewReader(b.Bytes()), o, func(importers.InventoryDraft) error { t.Fatal("an item"); return nil })
				require.NoError(t, err)
				require.Empty(t, report.Warnings)
				continue
			}
			if table.Name == "photos" {
				continue // read with its folder
			}
			found, err := importers.Detect(bytes.NewReader(b.Bytes()), o)
			require.NoError(t, err)
			require.Equal(t, table.Name, found.Name)
			drafts, report := load(t, table.Name, b.Bytes(), o)
			require.Empty(t, drafts, "%s.%s", table.Name, format)
			require.Empty(t, report.Warnings)
			if table.Name == "survey" {
				require.Equal(t, 160, report.LeftOut)
			}
		}
	}
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(importers.WriteTemplate(io.Discard, "x", "csv", a)))
	require.Equal(t, registry.CodeUnsupported, registry.CodeOf(importers.WriteTemplate(io.Discard, "survey", "ods", a)))
}

func TestTheTemplateGuidesWhoeverFillsItIn(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, importers.WriteTemplate(&b, "survey", "xlsx", house(t)))
	f, err := excelize.OpenReader(bytes.NewReader(b.Bytes()))
	require.NoError(t, err)
	panes, err := f.GetPanes("asfound")
	require.NoError(t, err)
	require.True(t, panes.Freeze)
	lists, err := f.GetDataValidations("asfound")
	require.NoError(t, err)
	byRange := map[string]string{}
	for _, l := range lists {
		byRange[l.Sqref] = l.Formula1
	}
	require.Contains(t, byRange, "B3:B2000", "components")
	words, err := f.GetCols("lists")
	require.NoError(t, err)
	require.Len(t, words[0], 161)
	require.Equal(t, "original", words[1][1])
	shows, err := f.GetSheetVisible("lists")
	require.NoError(t, err)
	require.False(t, shows)

	// Filled in by hand, it gives records that the real schemas accept.
	set, err := schema.Compile()
	require.NoError(t, err)
	require.NoError(t, f.SetCellValue("asfound", "D3", "original"))
	require.NoError(t, f.SetCellValue("asfound", "G4", 3))
	buf, err := f.WriteToBuffer()
	require.NoError(t, err)
	o := options("survey.xlsx")
	o.Anatomy, o.Validator = house(t), set
	drafts, report := load(t, "survey", buf.Bytes(), o)
	require.Len(t, drafts, 2)
	for _, d := range drafts {
		require.Empty(t, messages(d))
	}
	require.Equal(t, 158, report.LeftOut)
}

func TestTheSchemasAcceptWhatTheDomainAccepts(t *testing.T) {
	set, err := schema.Compile()
	require.NoError(t, err)
	for importer, text := range map[string]string{
		"survey":   "machine;component;origin;condition;signs;joint;witness;sign of joint;date\ndrover-1957;fuel-033;donor;3;tide-line:0,8;tank-bolt;cannot tell;slot shine;1957~\n",
		"evidence": "id;kind;component;sign;cluster;says\nev-1;physical trait;fuel-033;fret-marks-fit;patina;Fits.\n",
		"parts":    "component;part;from\nfuel-033;tank;1957\n",
		"removed":  "component;tag;what;custody;reason;place\nfuel-033;T1;tank;kept with machine;leak;shelf\n",
		"joints":   "joint;components;witness;sign\nb;fuel-033;disturbed;slot shine\n",
		"sales":    "id;source;date;price kind;price;currency;make;model;year;condition\ns1;print;2024-05-06;hammer;4200;GBP;Skerrow;Drover;1957;3\n",
	} {
		o := options("x.csv")
		o.Validator = set
		drafts, _ := load(t, importer, []byte(text), o)
		for _, d := range drafts {
			require.Empty(t, messages(d), importer)
		}
	}
	o := options("x.csv")
	o.Validator = set
	drafts, _ := load(t, "survey", []byte("component,origin,by\nfuel.tank,original,Per X\n"), o)
	require.Len(t, drafts[0].Faults, 1, "schema and domain find one fault, told once: %v", messages(drafts[0]))
	require.Contains(t, messages(drafts[0])[0], `Column "by"`)
}

func TestAnatomyOfRules(t *testing.T) {
	a := importers.AnatomyOf(&registry.Rules{
		Components: map[string]registry.ComponentRule{"fuel.tank": {Name: "petrol tank"}},
		Aliases:    map[string]string{"fuel-033": "fuel.tank", "gas-tank": "fuel.tank"},
	})
	o := options("s.csv")
	o.Anatomy = a
	for _, name := range []string{"fuel.tank", "FUEL-033", "gas-tank", "Petrol Tank"} {
		drafts, _ := load(t, "survey", []byte("component,origin,signs\n"+name+",original,any-sign\n"), o)
		require.Equal(t, "fuel.tank", body[*registry.Survey](t, drafts[0]).Component)
	}
}

func FuzzSheets(f *testing.F) {
	f.Add([]byte("component;origin;signs;date\nfuel.tank;?;a:0,5 | b;1957~\n"))
	f.Add([]byte("id,kind,component,cluster,says,P(original)\ne,opinion,fuel.tank,c,s,50%\n"))
	f.Add([]byte("component,tag,what,custody,reason\n\"x\n\",',=,-,#\n"))
	f.Add([]byte("id,source,date,price kind,price,currency,make,model\n,,,,1.234,,,\n"))
	f.Add([]byte(`{"record":"check","schema":1,"id":"c","what":"x","passed":true}`))
	f.Add([]byte("component,origin\n\xe9\x81,\x00"))
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, i := range importers.Importers() {
			o := options("f")
			o.Workers = 1
			s, err := i.Open(bytes.NewReader(data), o)
			if err != nil {
				continue
			}
			_ = s.Each(func(d importers.Draft) error {
				if d.Good() && registry.CheckBody(d.Body) != nil {
					t.Fatal("a draft that the domain refuses")
				}
				return nil
			})
			_ = s.Close()
		}
	})
}
