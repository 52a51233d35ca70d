package workshop

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// numbered takes a machine in, with its frame number.
func (b *bench) numbered(machine, maker, number string, doubtful ...registry.DoubtfulCharacter) {
	b.t.Helper()
	b.on(machine, &registry.Machine{Common: registry.Common{ID: "machine"}, Make: maker, Model: "Vole", Year: "1931", Invented: true,
		Numbers: []registry.Number{{Where: "frame", AsRead: registry.Private{Value: number}, Doubtful: doubtful}}}, aPerson("mechanic", "mechanic", "Tamsin Orde"))
}

func (b *bench) duplicates() []string {
	b.t.Helper()
	l, err := b.Duplicates(context.Background(), "")
	require.NoError(b.t, err)
	out := []string{}
	for _, d := range l.Duplicates {
		said := ""
		if d.Said != nil {
			said = " " + d.Said.Says
		}
		out = append(out, fmt.Sprintf("%s %s=%s %s=%s %s%s", d.Where, d.Machines[0].Machine, d.Machines[0].Reading, d.Machines[1].Machine, d.Machines[1].Reading, d.Sure, said))
	}
	return out
}

func TestDuplicates(t *testing.T) {
	b := newBench(t)
	b.numbered("a", "Skerrow", "SK 6018")
	b.numbered("b", "SKERROW", "sk-6018")
	b.numbered("c", "Skerrow", "SK6O18")
	b.numbered("d", "Élan & Brüder", "SK6018")
	b.numbered("e", "Skerrow", "SK6038")
	b.numbered("f", "Skerrow", "SK9038", registry.DoubtfulCharacter{Place: 3, Readings: []string{"6"}})
	b.numbered("g", "Skerrow", "? – –")
	b.numbered("h", "Skerrow", "?")
	want := []string{"frame a=SK 6018 b=sk-6018 exact", "frame a=SK 6018 c=SK6O18 one-apart", "frame b=sk-6018 c=SK6O18 one-apart", "frame e=SK6038 f=SK6038 doubtful"}
	require.Equal(t, want, b.duplicates(), "of one make, and in one reading")

	// What is said settles it, and can be said of nothing else.
	say := func(machine, other, says string) error {
		_, err := b.SayOfNumber(context.Background(), Request{Machine: machine, Actor: "mechanic"},
			&registry.SharedNumber{Where: "frame", Other: registry.Private{Value: other}, Says: says, Why: "both were looked at", By: "mechanic"})
		return err
	}
	require.NoError(t, say("b", "a", "same-machine"))
	refused(t, say("d", "a", "same-machine"), registry.CodeInvalid, "no number in common")
	refused(t, say("a", "a", "same-machine"), registry.CodeInvalid, "no number in common")
	b.pass(1e9)
	require.NoError(t, say("a", "b", "different-machines"))
	list, err := b.Duplicates(context.Background(), "")
	require.NoError(t, err)
	require.Equal(t, 3, list.Open)
	require.Equal(t, "frame a=SK 6018 b=sk-6018 exact different-machines", b.duplicates()[3], "the last word counts, and stands behind what is open")

	// A corrected number is no longer shared, and neither is one that is mended the other way.
	mended := &registry.Machine{Common: registry.Common{ID: "machine-2", Supersedes: "machine"}, Make: "Skerrow", Model: "Vole", Year: "1931",
		Numbers: []registry.Number{{Where: "frame", AsRead: registry.Private{Value: "SK 7777"}}}}
	b.on("a", mended)
	require.Equal(t, []string{want[2], want[3]}, b.duplicates())
	of, err := b.DuplicatesOf(context.Background(), "c")
	require.NoError(t, err)
	require.Len(t, of.Duplicates, 1)
	require.Contains(t, of.Cautions("c")[0], "The machine b has a frame number that differs in one character")

	// Derived anew, and in one go, it is the same.
	before := b.duplicates()
	require.NoError(t, b.Rebuild(context.Background(), nil))
	require.Equal(t, before, b.duplicates())
}

// TestARegistrationIsOfNoMake: an office gives it, to machines of any make.
func TestARegistrationIsOfNoMake(t *testing.T) {
	b := newBench(t)
	for machine, maker := range map[string]string{"a": "Skerrow", "b": "Élan & Brüder"} {
		b.on(machine, &registry.Machine{Common: registry.Common{ID: "machine"}, Make: maker, Model: "Vole", Year: "1931", Invented: true,
			Numbers: []registry.Number{{Where: "Registration", AsRead: registry.Private{Value: "ABC 123"}}, {Where: "engine", AsRead: registry.Private{Value: "7"}}}})
	}
	require.Equal(t, []string{"registration a=ABC 123 b=ABC 123 exact"}, b.duplicates())
}

// Whoever sees one machine alone learns that there is another, and not which.
func TestDuplicatesAreHiddenWithTheMachine(t *testing.T) {
	b := newBench(t)
	b.numbered("a", "Skerrow", "SK 6018")
	b.numbered("b", "Skerrow", "SK 6018")
	ctx := WithActing(context.Background(), &Acting{Sees: func(m string) bool { return m == "a" }})
	list, err := b.Duplicates(ctx, "")
	require.NoError(t, err)
	require.Empty(t, list.Duplicates)
	of, err := b.DuplicatesOf(ctx, "a")
	require.NoError(t, err)
	require.Contains(t, of.Cautions("a")[0], "not yours to see")
	require.Equal(t, DuplicateBearer{}, of.Duplicates[0].Machines[1])
	_, err = b.DuplicatesOf(ctx, "b")
	refused(t, err, registry.CodeNotFound, "no machine")
	report, err := b.Report(context.Background(), "a", ReportOptions{Public: true})
	require.NoError(t, err)
	require.NotContains(t, fmt.Sprint(report), "SK 6018")
}

// What one record costs does not grow with the register.
func TestDuplicatesCostGrowsWithTheMachine(t *testing.T) {
	b := newBench(t)
	count := func(n int, from int) int {
		for i := range n {
			b.numbered(fmt.Sprintf("m%04d", from+i), "Skerrow", fmt.Sprintf("SK %04d7", from+i))
		}
		views := &countingViews{Views: b.Views}
		b.Views = views
		b.numbered(fmt.Sprintf("z%04d", from), "Skerrow", fmt.Sprintf("ZZ %04d", from))
		b.Views = views.Views
		return views.number
	}
	few := count(5, 0)
	require.Equal(t, few, count(60, 100))
}

// countingViews counts what is read and written of shared numbers.
type countingViews struct {
	Views
	number int
}

func (v *countingViews) Update(ctx context.Context, at registry.Position, fn func(tx ViewTx) error) error {
	return v.Views.Update(ctx, at, func(tx ViewTx) error { return fn(&countingTx{tx, v}) })
}

type countingTx struct {
	ViewTx
	v *countingViews
}

func (t *countingTx) Get(key string) ([]byte, bool, error) {
	if strings.HasPrefix(key, "number/") {
		t.v.number++
	}
	return t.ViewTx.Get(key)
}

func (t *countingTx) Put(key string, value []byte) {
	if strings.HasPrefix(key, "number/") {
		t.v.number++
	}
	t.ViewTx.Put(key, value)
}

// Between two looks at the views a number may be corrected: what is gone by then
// is left out.
func TestDuplicatesWhileANumberIsCorrected(t *testing.T) {
	b := newBench(t)
	b.numbered("a", "Skerrow", "SK 6018")
	b.numbered("b", "Skerrow", "SK 6018")
	b.Views = pairless{b.Views}
	of, err := b.DuplicatesOf(context.Background(), "a")
	require.NoError(t, err)
	require.Empty(t, of.Duplicates)
	require.Empty(t, of.Cautions("a"))
}

// pairless are views in which every pair was just taken out.
type pairless struct{ Views }

func (v pairless) Get(ctx context.Context, key string) ([]byte, bool, error) {
	if strings.HasPrefix(key, numberPair) {
		return nil, false, nil
	}
	return v.Views.Get(ctx, key)
}

// What was recorded does not wait for whoever brings a whole register's views
// up, and is told of shared numbers at the next look.
func TestTakingInDoesNotWaitForTheViews(t *testing.T) {
	b := newBench(t)
	b.numbered("a", "Skerrow", "SK 6018")
	second := &registry.Machine{Common: registry.Common{ID: "machine"}, Make: "Skerrow", Model: "Vole", Year: "1931",
		Numbers: []registry.Number{{Where: "frame", AsRead: registry.Private{Value: "SK 6018"}}}}
	b.refreshing.Lock()
	r, err := b.Record(context.Background(), Request{Machine: "b", Actor: "mechanic"}, second)
	b.refreshing.Unlock()
	require.NoError(t, err)
	require.Empty(t, r.Cautions)
	of, err := b.DuplicatesOf(context.Background(), "b")
	require.NoError(t, err)
	require.Len(t, of.Cautions("b"), 1)
}

// A register in which hundreds of machines have "unknown" for a number is
// derived all the same, and at a cost that does not grow with them.
func TestWhatEveryMachineHasIsNoNumber(t *testing.T) {
	b := newBench(t)
	for i := range maxBearers + 20 {
		b.numbered(fmt.Sprintf("m-%03d", i), "Skerrow", "unknown")
	}
	views := &countingViews{Views: b.Views}
	b.Views = views
	b.numbered("n", "Skerrow", "unknown")
	require.Less(t, views.number, 10)
	b.Views = views.Views
	list, err := b.DuplicatesOf(context.Background(), "n")
	require.NoError(t, err)
	require.Empty(t, list.Duplicates)
	b.numbered("a", "Skerrow", "SK 6018")
	b.on("m-000", &registry.Machine{Common: registry.Common{ID: "machine-2", Supersedes: "machine"}, Make: "Skerrow", Model: "Vole", Year: "1931",
		Numbers: []registry.Number{{Where: "frame", AsRead: registry.Private{Value: "SK 6018"}}}})
	list, err = b.DuplicatesOf(context.Background(), "m-000")
	require.NoError(t, err)
	require.Len(t, list.Duplicates, 1)
	require.Equal(t, "a", list.Duplicates[0].Machines[0].Machine)
}
