package scoring

import (
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The standard library is the reference: it is within one unit in the last
// place itself.
func TestLogarithmAndExponentialAgreeWithTheStandardLibrary(t *testing.T) {
	require.Equal(t, math.Inf(-1), logarithm(0))
	require.Equal(t, 0.0, logarithm(1))
	require.Equal(t, 1.0, exponential(0))
	require.Equal(t, 0.0, exponential(math.Inf(-1)))
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(1e-300, 1e300).Draw(t, "x")
		p := rapid.Float64Range(0.001, 3).Draw(t, "p")
		y := rapid.Float64Range(-700, 700).Draw(t, "y")
		for _, v := range []float64{x, p} {
			if want, got := math.Log(v), logarithm(v); math.Abs(got-want) > 4e-16*math.Abs(want)+1e-300 {
				t.Fatalf("log %v = %v, want %v", v, got, want)
			}
		}
		if want, got := math.Exp(y), exponential(y); math.Abs(got-want) > 4e-16*want {
			t.Fatalf("exp %v = %v, want %v", y, got, want)
		}
	})
}

// noImports makes the type checker leave imported things without a type, which
// the test below counts as floating point.
type noImports struct{}

func (noImports) Import(string) (*types.Package, error) { return nil, errors.New("not needed") }

// A product that is added to something may be fused with the sum on some
// processors and then differs in the last bit, unless an explicit conversion
// stands between.
func TestEveryFloatingPointProductIsRounded(t *testing.T) {
	files := token.NewFileSet()
	names, err := filepath.Glob("*.go")
	require.NoError(t, err)
	var sources []*ast.File
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(files, name, nil, 0)
		require.NoError(t, err)
		sources = append(sources, f)
	}
	require.NotEmpty(t, sources)
	info := &types.Info{Types: map[ast.Expr]types.TypeAndValue{}}
	config := types.Config{Importer: noImports{}, Error: func(error) {}}
	_, _ = config.Check("scoring", files, sources, info)

	floating := func(e ast.Expr) bool {
		tv, ok := info.Types[e]
		if !ok || tv.Type == nil || tv.Type == types.Typ[types.Invalid] {
			return true
		}
		basic, ok := tv.Type.Underlying().(*types.Basic)
		return tv.Value == nil && ok && basic.Info()&types.IsFloat != 0
	}
	checked := 0
	for _, f := range sources {
		rounded := map[ast.Expr]bool{}
		ast.Inspect(f, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.CallExpr:
				if name, ok := n.Fun.(*ast.Ident); ok && name.Name == "float64" && len(n.Args) == 1 {
					rounded[n.Args[0]] = true
				}
			case *ast.BinaryExpr:
				if n.Op == token.MUL && floating(n) {
					checked++
					if !rounded[n] {
						t.Errorf("%s: put this product inside float64(…)", files.Position(n.Pos()))
					}
				}
			case *ast.AssignStmt:
				if n.Tok == token.MUL_ASSIGN && floating(n.Lhs[0]) {
					t.Errorf("%s: write x = float64(x * y)", files.Position(n.Pos()))
				}
			}
			return true
		})
	}
	require.Greater(t, checked, 50, "the test no longer sees the products")
}

func TestPercentNeverPromisesCertainty(t *testing.T) {
	for p, want := range map[float64]string{0: "<1 %", 0.004: "<1 %", 0.0099: "<1 %", 0.01: "1 %", 0.0917: "9 %",
		0.5: "50 %", 0.985: "99 %", 0.99: "99 %", 0.9901: ">99 %", 0.99997: ">99 %", 1: ">99 %"} {
		require.Equal(t, want, Percent(p), "%v", p)
	}
	require.Equal(t, "not known", Percent(math.NaN()))
}
