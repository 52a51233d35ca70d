package workshop

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// sale is a small record that a sheet of sales would give.
func sale(id string) *registry.ComparableSale {
	return &registry.ComparableSale{Common: registry.Common{ID: id, Valid: "2025-05"}, Source: "worked example", PriceKind: "hammer", Price: pounds("4000"), Make: "Skerrow Engineering", Model: "Drover 350"}
}

// sales are rows 2, 3, … of a sheet.
func sales(n int, machine string) (out []Draft) {
	for i := range n {
		out = append(out, Draft{File: "sales.csv", Row: i + 2, Machine: machine, Body: sale(fmt.Sprintf("sale-%d", i))})
	}
	return out
}

func imported(t testing.TB, b *bench, req ImportRequest, drafts ...Draft) ImportReport {
	t.Helper()
	req.Machine, req.Actor = drover, "mechanic"
	if req.Digest == "" {
		req.Digest = "file"
	}
	r, err := b.Import(context.Background(), req, sourceOf(drafts...))
	require.NoError(t, err)
	return r
}

// mixed is a sheet with two bad rows: one that its reader found, and one that
// the rules of the registry do not let in.
func mixed() []Draft {
	rows := sales(6, "")
	rows[2].Faults = []registry.Field{{File: "sales.csv", Row: 4, Pointer: "/price", Message: "This is not a number"}}
	rows[2].Body, rows[2].Cells = nil, []string{"a", "many"}
	tomorrow := sale("sale-4")
	tomorrow.Valid = "2031"
	rows[4].Body, rows[4].Cells = tomorrow, []string{"b", "2031"}
	return rows
}

func TestOneBadRowMeansThatNothingIsRecorded(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	before := b.version()
	r, err := b.Import(context.Background(), ImportRequest{Machine: drover, Actor: "mechanic", Digest: "file"}, sourceOf(mixed()...))
	refused(t, err, registry.CodeInvalid, "2 of 6 rows cannot be recorded; nothing was")
	require.Equal(t, before, b.version())
	// Every bad row is named with its place, those that were read well too.
	var e *registry.Error
	require.True(t, errors.As(err, &e))
	require.Equal(t, r.Faults, e.Fields)
	require.Len(t, r.Faults, 2)
	require.Equal(t, "sales.csv, row 4, /price: This is not a number", r.Faults[0].String())
	require.Contains(t, r.Faults[1].String(), "sales.csv, row 6, /valid: The sale lies in the future")
	require.Equal(t, ImportReport{Rows: 6, Rejected: 2, Faults: r.Faults, Machines: []string{drover}}, r)
}

func TestAcceptGood(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	before := b.version()
	var bad []Draft
	r := imported(t, b, ImportRequest{AcceptGood: true, Rejected: func(d Draft) error { bad = append(bad, d); return nil }}, mixed()...)
	require.Equal(t, 4, r.Recorded)
	require.Equal(t, 2, r.Rejected)
	require.Equal(t, before+4, b.version())
	require.Len(t, bad, 2)
	require.Equal(t, []string{"a", "many"}, bad[0].Cells)
	require.Equal(t, []string{"b", "2031"}, bad[1].Cells)
	require.NotEmpty(t, bad[1].Faults)

	// The mended file records what was missing, and nothing twice.
	mended := sales(6, "")
	r = imported(t, b, ImportRequest{Digest: "mended"}, mended...)
	require.Equal(t, ImportReport{Rows: 6, Recorded: 2, Already: 4, Machines: []string{drover}}, r)
}

// A row of a sheet may become two records, which stand or fall together.
func TestARowStandsOrFallsAsAWhole(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	joint := func(id, name, component string) *registry.Joint {
		return &registry.Joint{Common: registry.Common{ID: id}, Joint: name, Components: []string{component}, Witness: "undisturbed", Sign: "dirt line", By: "mechanic"}
	}
	b.do(aSurvey("fork.legs"), joint("jt-1", "spindle", "fork.legs"))
	donor := aSurvey("fork.legs")
	donor.Origin = "donor"
	cells := func(row int) []string { return []string{fmt.Sprint("row ", row)} }
	var rows []Draft
	add := func(row int, bodies ...registry.Body) {
		for _, body := range bodies {
			rows = append(rows, Draft{File: "survey.csv", Row: row, Body: body, Cells: cells(row)})
		}
	}
	add(2, donor, joint("jt-1", "spindle", "fork.legs"))                      // the part is there otherwise, the joint very much so
	add(3, aSurvey("fork.shrouds"), joint("jt-2", "spindle", "fork.shrouds")) // the joint has been described already
	add(4, aSurvey("fork.bottom-yoke"), joint("jt-3", "stem", "fork.bottom-yoke"))
	add(5, donor, joint("jt-4", "spindle", "fork.legs")) // both are refused

	var bad []Draft
	before := b.version()
	r := imported(t, b, ImportRequest{AcceptGood: true, Rejected: func(d Draft) error { bad = append(bad, d); return nil }}, rows...)
	require.Equal(t, 2, r.Recorded, "row 4 alone")
	require.Equal(t, before+2, b.version())
	require.Equal(t, 1, r.Already)
	require.Equal(t, 5, r.Rejected)
	require.Len(t, bad, 3, "each bad row once")
	for i, row := range []int{2, 3, 5} {
		require.Equal(t, cells(row), bad[i].Cells)
	}
	require.Len(t, bad[2].Faults, 2, "everything that is wrong with it")
	// What was held back can come again, mended.
	rows[3].Body.(*registry.Joint).Joint = "shroud"
	require.Equal(t, 2, imported(t, b, ImportRequest{Digest: "mended"}, rows[2:4]...).Recorded)
}

func TestDryRun(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	before := b.events()
	r := imported(t, b, ImportRequest{DryRun: true}, sales(3, "")...)
	require.Equal(t, 3, r.Rows)
	require.Zero(t, r.Recorded)
	require.Equal(t, before, b.events())
}

func TestImportingTwiceRecordsNothingNew(t *testing.T) {
	b := takenIn(t)
	b.file("openings.json")
	b.file("survey.csv")
	b.file("faults-and-options.json")
	before := b.events()
	for _, name := range []string{"take-in.json", "openings.json", "survey.csv", "faults-and-options.json"} {
		rows := drafts(t, "drover/"+name)
		for _, digest := range []string{name, "another file with the same rows"} {
			r := imported(t, b, ImportRequest{Digest: digest}, rows...)
			require.Equal(t, len(rows), r.Already, name)
			require.Zero(t, r.Recorded)
		}
	}
	require.Equal(t, before, b.events())
	// Nor does another process see anything new in it.
	c := b.restarted()
	require.Equal(t, len(drafts(t, "drover/take-in.json")), imported(t, c, ImportRequest{}, drafts(t, "drover/take-in.json")...).Already)
}

func TestRowsThatNamePeopleAreKnownAgain(t *testing.T) {
	b := newBench(t)
	b.do(aMachine(), aPerson("mechanic", "mechanic", "Tamsin Orde"))
	e := someEvidence("ev-1", "fuel.tank")
	e.Says = "Winifred Aske never replaced it."
	row := Draft{Row: 2, Body: e}
	require.Equal(t, 1, imported(t, b, ImportRequest{}, row).Recorded)
	b.do(aPerson("first-owner", "previous-owner", "Winifred Aske"))
	require.Equal(t, 1, imported(t, b, ImportRequest{Digest: "again"}, row).Already)
}

func TestAClaimIsKnownAgain(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	b.do(someEvidence("ev-1", "fuel.tank"))
	row := Draft{Row: 1, Body: &registry.Claim{Common: registry.Common{ID: "cl-1"}, Component: "fuel.tank", Proposition: registry.PropositionOrigin,
		Statement: "It is the first one.", Evidence: []string{"ev-1"}, By: "mechanic"}}
	require.Equal(t, 1, imported(t, b, ImportRequest{}, row).Recorded) // with the estimate that the program adds
	require.Equal(t, 1, imported(t, b, ImportRequest{Digest: "again"}, row).Already)
}

func TestAComponentsOtherNamesAreKnownAgain(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	rows := draftsOf(t, "evidence.json", []byte(`[{"record":"evidence","id":"ev-1","evidence":"physical-trait","cluster":"marks","says":"Right form.","by":"mechanic",
		"bears":[{"component":"fuel-033","proposition":"origin","sign":"mark-form-right"}]}]`))
	require.Equal(t, 1, imported(t, b, ImportRequest{}, rows...).Recorded)
	require.Equal(t, 1, imported(t, b, ImportRequest{Digest: "again"}, rows...).Already)
}

func TestAChangedRowIsNotTheSameRow(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	imported(t, b, ImportRequest{}, sales(2, "")...)
	rows := sales(2, "")
	rows[1].Body.(*registry.ComparableSale).Price = pounds("9000")
	_, err := b.Import(context.Background(), ImportRequest{Machine: drover, Actor: "mechanic", Digest: "changed"}, sourceOf(rows...))
	refused(t, err, registry.CodeInvalid, "1 of 2 rows")
	var e *registry.Error
	require.True(t, errors.As(err, &e))
	require.Contains(t, e.Fields[0].String(), "already there")
}

func TestRowsWithoutAnIdentifierAreRecordedOncePerFile(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	rows := []Draft{{Row: 2, Body: sale("named")}, {Row: 3, Body: sale("")}, {Row: 4, Body: sale("")}}
	require.Equal(t, 3, imported(t, b, ImportRequest{}, rows...).Recorded)
	before := b.version()
	r := imported(t, b, ImportRequest{}, rows...)
	require.Equal(t, before, b.version())
	require.Zero(t, r.Recorded, "the report claims rows that were not recorded")
	require.Equal(t, 3, r.Already)
}

func TestRowsOfOneMachineNeedNotStandTogether(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	_, err := b.Record(context.Background(), Request{Machine: "thirlbeck", Actor: "mechanic"}, people()...)
	require.NoError(t, err)
	var rows []Draft
	for i, d := range sales(10, "") {
		d.Machine = []string{drover, "thirlbeck"}[i%2]
		rows = append(rows, d)
	}
	var order []int
	r := imported(t, b, ImportRequest{Progress: func(n int) { order = append(order, n) }}, rows...)
	require.Equal(t, 10, r.Recorded)
	require.Equal(t, []string{drover, "thirlbeck"}, r.Machines)
	require.EqualValues(t, 3+5, b.version())
	commits := 0
	require.NoError(t, b.memory.ReadAll(context.Background(), 0, func(registry.Record) error { commits++; return nil }))
	require.Equal(t, 2+2, commits, "the rows of one machine are one commit")
}

func TestARowThatNamesNoMachine(t *testing.T) {
	b := newBench(t)
	_, err := b.Import(context.Background(), ImportRequest{Actor: "mechanic", Digest: "file"}, sourceOf(Draft{Row: 2, File: "sales.csv", Body: sale("s")}))
	refused(t, err, registry.CodeInvalid, "1 of 1 rows")
	var e *registry.Error
	require.True(t, errors.As(err, &e))
	require.Contains(t, e.Fields[0].Message, "to which machine")
}

// A file that is too long to be held has to have the rows of each machine
// together.
func TestLongFiles(t *testing.T) {
	b := newBench(t)
	const machines = 4
	var rows []Draft
	for m := range machines {
		id := fmt.Sprintf("m-%d", m)
		_, err := b.Record(context.Background(), Request{Machine: id, Actor: "mechanic"}, people()...)
		require.NoError(t, err)
		rows = append(rows, sales(sortedRows/machines+1, id)...)
	}
	require.Greater(t, len(rows), sortedRows)
	// One row of the first machine at the very end.
	apart := append(rows[:len(rows):len(rows)], Draft{File: "sales.csv", Row: len(rows) + 2, Machine: "m-0", Body: sale("last")})
	_, err := b.Import(context.Background(), ImportRequest{Actor: "mechanic", Digest: "apart"}, sourceOf(apart...))
	refused(t, err, registry.CodeInvalid, "must stand together")
	require.Contains(t, err.Error(), "Sort the file by machine")
	h, err := b.memory.Head(context.Background(), "m-0")
	require.NoError(t, err)
	require.EqualValues(t, 3, h.Version, "nothing was recorded")

	// The error comes before anything is written even though the first machines
	// were complete; together, every row gets in.
	r, err := b.Import(context.Background(), ImportRequest{Actor: "mechanic", Digest: "together"}, sourceOf(rows...))
	require.NoError(t, err)
	require.Equal(t, len(rows), r.Recorded)
}

// failing is a ledger that fails from the nth append on.
type failing struct {
	registry.Ledger
	left int
}

var errCut = errors.New("the power went")

func (f *failing) Append(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
	if f.left == 0 {
		return registry.Receipt{}, errCut
	}
	f.left--
	return f.Ledger.Append(ctx, c)
}

// forgetful stores and then says that nobody knows.
type forgetful struct {
	registry.Ledger
	times int
}

func (f *forgetful) Append(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
	r, err := f.Ledger.Append(ctx, c)
	if err == nil && f.times > 0 {
		f.times--
		return registry.Receipt{}, registry.Refuse(registry.CodeUnknown, "Repeat it.", "The answer was lost")
	}
	return r, err
}

// fat are rows whose notes fill more than one commit.
func fat(n int) (rows []Draft) {
	for i, d := range sales(n, "") {
		d.Body.(*registry.ComparableSale).Note = strings.Repeat(fmt.Sprintf("row %d ", i), 12_000)
		rows = append(rows, d)
	}
	return rows
}

func TestAStopInTheMiddleIsMadeGoodByImportingAgain(t *testing.T) {
	for name, wrap := range map[string]func(registry.Ledger) registry.Ledger{
		"the second append fails":           func(l registry.Ledger) registry.Ledger { return &failing{l, 1} },
		"the answer of the first got lost":  func(l registry.Ledger) registry.Ledger { return &forgetful{l, 1} },
		"the first append fails":            func(l registry.Ledger) registry.Ledger { return &failing{l, 0} },
		"the answer of the second got lost": func(l registry.Ledger) registry.Ledger { return &lastForgetful{&failing{l, 1}} },
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			b.do(people()...)
			rows := fat(16) // about 1.4 MB
			b.Ledger = wrap(b.memory)
			r, err := b.Import(context.Background(), ImportRequest{Machine: drover, Actor: "mechanic", Digest: "file"}, sourceOf(rows...))
			require.Error(t, err)
			require.Less(t, r.Recorded, len(rows))
			stood := b.version() - 3

			again := b.restarted()
			again.Ledger = b.memory
			r = imported(t, again, ImportRequest{}, rows...)
			require.EqualValues(t, len(rows), r.Recorded+r.Already)
			require.EqualValues(t, stood, r.Already)
			require.EqualValues(t, 3+len(rows), b.version())
			all := b.events()
			for i := range rows {
				require.Equal(t, 1, strings.Count(all, fmt.Sprintf(`"id":"sale-%d"`, i)))
			}
		})
	}
}

// lastForgetful passes on an append that failed as one whose answer got lost,
// after storing it all the same.
type lastForgetful struct{ *failing }

func (l *lastForgetful) Append(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
	r, err := l.failing.Append(ctx, c)
	if errors.Is(err, errCut) {
		if _, err := l.Ledger.Append(ctx, c); err != nil {
			return r, err
		}
		return r, registry.Refuse(registry.CodeUnknown, "Repeat it.", "The answer was lost")
	}
	return r, err
}

func TestACancelledImportStops(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	ctx, cancel := context.WithCancel(context.Background())
	_, err := b.Import(ctx, ImportRequest{Machine: drover, Actor: "mechanic", Digest: "file"}, func(ctx context.Context, fn func(Draft) error) error {
		for i, d := range sales(10, "") {
			if i == 5 {
				cancel()
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := fn(d); err != nil {
				return err
			}
		}
		return nil
	})
	require.ErrorIs(t, err, context.Canceled)
	require.EqualValues(t, 3, b.version())
}

func TestManyFaultsAreCountedAndNotAllListed(t *testing.T) {
	b := newBench(t)
	b.do(people()...)
	var rows []Draft
	for i := range MaxFaults + 7 {
		rows = append(rows, Draft{Row: i + 2, Faults: []registry.Field{{Row: i + 2, Message: "bad"}}})
	}
	r, err := b.Import(context.Background(), ImportRequest{Machine: drover, Actor: "mechanic", Digest: "file"}, sourceOf(rows...))
	refused(t, err, registry.CodeInvalid, "nothing was")
	require.Len(t, r.Faults, MaxFaults)
	require.Equal(t, 7, r.More)
}

// Machines of a long file are decided side by side; what is wrong with them is
// told in the order of the file.
func TestLongFilesRejectInOrder(t *testing.T) {
	b := newBench(t)
	var rows []Draft
	var want []int
	for m := range 6 {
		id := fmt.Sprintf("m-%d", m)
		_, err := b.Record(context.Background(), Request{Machine: id, Actor: "mechanic"}, people()...)
		require.NoError(t, err)
		own := sales(sortedRows/3, id)
		for _, bad := range []int{2, len(own) - 1 - m} {
			own[bad].Body.(*registry.ComparableSale).Valid = "2031"
			own[bad].Row = len(rows) + bad
			want = append(want, own[bad].Row)
		}
		rows = append(rows, own...)
	}
	var told []int
	r, err := b.Import(context.Background(), ImportRequest{Actor: "mechanic", Digest: "long", AcceptGood: true,
		Rejected: func(d Draft) error { told = append(told, d.Row); return nil }}, sourceOf(rows...))
	require.NoError(t, err)
	require.Equal(t, want, told)
	require.Equal(t, len(rows)-len(want), r.Recorded)
	require.Equal(t, len(want), r.Rejected)
}
