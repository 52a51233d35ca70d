package server

import (
	"fmt"
	"html/template"
	"reflect"
	"testing"
	"text/template/parse"

	"github.com/stretchr/testify/require"

	"example.org/asfound/language"
)

// pageTypes is which struct each page's template is given.
var pageTypes = map[string]reflect.Type{
	"machines": typeOf[MachinesPage](), "machine": typeOf[MachinePage](), "component": typeOf[ComponentPage](), "drawing": typeOf[DrawingPage](), "group": typeOf[GroupPage](), "options": typeOf[OptionsPage](), "plan": typeOf[PlanPage](), "value": typeOf[ValuePage](), "needed": typeOf[PartsPage](), "worth": typeOf[WorthPage](), "faults": typeOf[FaultsPage](), "fault": typeOf[FaultPage](),
	"proposal": typeOf[ProposalPage](), "asked": typeOf[AskedPage](), "owner": typeOf[OwnerPage](), "links": typeOf[LinksPage](), "owner-desk": typeOf[DeskPage](), "owner-over": typeOf[OverPage](), "check-answer": typeOf[CheckAnswerPage](),
	"bench-index": typeOf[BenchIndexPage](), "bench": typeOf[BenchPage](), "bench-table": typeOf[BenchTablePage](), "mappings": typeOf[MappingPage](), "criteria": typeOf[CriteriaPage](), "survivors": typeOf[SurvivorsPage](), "statistics": typeOf[StatisticsPage](), "duplicates": typeOf[DuplicatesPage](), "register": typeOf[RegisterPage](), "take-over": typeOf[TakeOverPage](),
	"survey": typeOf[SurveyPage](), "survey-stop": typeOf[StopPage](), "survey-picture": typeOf[ListedPage](),
	"found": typeOf[FindPage](), "compare": typeOf[ComparePage](),
	"receipt": typeOf[ReceiptPage](), "work": typeOf[WorkPage](), "card": typeOf[CardPage](), "fasteners": typeOf[FastenersPage](), "close": typeOf[ClosePage](), "form-page": typeOf[FormPage](), "story": typeOf[StoryPage](), "verify": typeOf[VerifyPage](), "sum-page": typeOf[SumPage](), "method": typeOf[MethodPage](), "import": typeOf[ImportPage](), "error": typeOf[ErrorPage](),
	"install": typeOf[InstallPage](),
	"waiting": typeOf[CourierPage](), "offline": typeOf[CourierPage](),
	"sign-in": typeOf[SignInPage](), "onward": typeOf[SignInPage](), "again": typeOf[AgainPage](), "account": typeOf[AccountPage](), "people": typeOf[PeoplePage](), "readers": typeOf[ReadersPage](), "read": typeOf[ReadPage](),
}

// TestTemplatesFitTheirPages follows every field and method that a template
// names through the types of its page, branches that no test executes too.
func TestTemplatesFitTheirPages(t *testing.T) {
	pages, err := parsePages(language.English)
	require.NoError(t, err)
	for name, parsed := range pages {
		set, err := parsed()
		require.NoError(t, err)
		typ, ok := pageTypes[name]
		require.True(t, ok, "the page %q has no struct in the table", name)
		c := typeChecker{set: set, done: map[string]bool{}}
		c.template("layout", typ)
		require.Empty(t, c.faults, name)
	}
	require.Len(t, pages, len(pageTypes))
}

func TestTheTypeCheckCanFail(t *testing.T) {
	for _, text := range []string{`{{.Nothing}}`, `{{range .Machines}}{{.Wheels}}{{end}}`, `{{with .Base}}{{.Title.Length}}{{end}}`, `{{$x := .Machines}}{{range $x}}{{$.Missing}}{{end}}`, `{{template "absent" .}}`} {
		set := template.Must(template.New("layout").Funcs(funcsIn(language.English)).Parse(text))
		c := typeChecker{set: set, done: map[string]bool{}}
		c.template("layout", typeOf[MachinesPage]())
		require.Len(t, c.faults, 1, text)
	}
}

// typeChecker walks templates with the type of dot; a nil type is unknown and
// not followed.
type typeChecker struct {
	set    *template.Template
	done   map[string]bool
	faults []string
}

type scope struct {
	dot  reflect.Type
	vars map[string]reflect.Type
}

func (s scope) with(dot reflect.Type) scope {
	vars := map[string]reflect.Type{}
	for k, v := range s.vars {
		vars[k] = v
	}
	return scope{dot, vars}
}

func (c *typeChecker) fault(node parse.Node, format string, args ...any) {
	c.faults = append(c.faults, fmt.Sprintf("%s: %s", node, fmt.Sprintf(format, args...)))
}

func (c *typeChecker) template(name string, dot reflect.Type) {
	key := fmt.Sprint(name, " ", dot)
	if c.done[key] {
		return
	}
	c.done[key] = true
	t := c.set.Lookup(name)
	if t == nil || t.Tree == nil {
		c.faults = append(c.faults, "there is no template "+name)
		return
	}
	c.walk(t.Tree.Root, scope{dot, map[string]reflect.Type{"$": dot}})
}

func (c *typeChecker) walk(n parse.Node, s scope) {
	switch n := n.(type) {
	case *parse.ListNode:
		if n == nil {
			return
		}
		for _, x := range n.Nodes {
			c.walk(x, s)
		}
	case *parse.ActionNode:
		c.pipe(n.Pipe, s)
	case *parse.IfNode:
		inner := s.with(s.dot)
		c.pipe(n.Pipe, inner)
		c.walk(n.List, inner)
		c.walk(n.ElseList, s)
	case *parse.WithNode:
		inner := s.with(s.dot)
		inner.dot = c.pipe(n.Pipe, inner)
		c.walk(n.List, inner)
		c.walk(n.ElseList, s)
	case *parse.RangeNode:
		inner := s.with(s.dot)
		over := c.value(n.Pipe, s)
		elem, key := elemOf(over)
		if d := n.Pipe.Decl; len(d) == 1 {
			inner.vars[d[0].Ident[0]] = elem
		} else if len(d) == 2 {
			inner.vars[d[0].Ident[0]], inner.vars[d[1].Ident[0]] = key, elem
		}
		inner.dot = elem
		c.walk(n.List, inner)
		c.walk(n.ElseList, s)
	case *parse.TemplateNode:
		var dot reflect.Type
		if n.Pipe != nil {
			dot = c.pipe(n.Pipe, s)
		}
		c.template(n.Name, dot)
	}
}

func elemOf(t reflect.Type) (elem, key reflect.Type) {
	if t == nil {
		return nil, nil
	}
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch t.Kind() {
	case reflect.Slice, reflect.Array:
		return t.Elem(), typeOf[int]()
	case reflect.Map:
		return t.Elem(), t.Key()
	}
	return nil, nil
}

// pipe gives the type of a pipeline and declares its variables.
func (c *typeChecker) pipe(p *parse.PipeNode, s scope) reflect.Type {
	t := c.value(p, s)
	for _, d := range p.Decl {
		s.vars[d.Ident[0]] = t
	}
	return t
}

func (c *typeChecker) value(p *parse.PipeNode, s scope) reflect.Type {
	var t reflect.Type
	for _, cmd := range p.Cmds {
		t = c.command(cmd, s)
	}
	return t
}

func (c *typeChecker) command(cmd *parse.CommandNode, s scope) reflect.Type {
	var args []reflect.Type
	for _, a := range cmd.Args[1:] {
		args = append(args, c.operand(a, s))
	}
	id, isFunction := cmd.Args[0].(*parse.IdentifierNode)
	if !isFunction {
		return c.operand(cmd.Args[0], s)
	}
	if f, ok := funcsIn(language.English)[id.Ident]; ok {
		ft := reflect.TypeOf(f)
		if ft.NumIn() != len(args) {
			c.fault(cmd, "%d arguments, want %d", len(args), ft.NumIn())
			return ft.Out(0)
		}
		for i, a := range args {
			if a != nil && !a.AssignableTo(ft.In(i)) && !(a.Kind() == reflect.Pointer && a.Elem().AssignableTo(ft.In(i))) {
				c.fault(cmd, "argument %d is %s, want %s", i+1, a, ft.In(i))
			}
		}
		return ft.Out(0)
	}
	if id.Ident == "index" && len(args) > 0 {
		elem, _ := elemOf(args[0])
		return elem
	}
	return nil
}

func (c *typeChecker) operand(n parse.Node, s scope) reflect.Type {
	switch n := n.(type) {
	case *parse.DotNode:
		return s.dot
	case *parse.FieldNode:
		return c.fields(n, s.dot, n.Ident)
	case *parse.VariableNode:
		return c.fields(n, s.vars[n.Ident[0]], n.Ident[1:])
	case *parse.ChainNode:
		return c.fields(n, c.operand(n.Node, s), n.Field)
	case *parse.PipeNode:
		return c.value(n, s)
	case *parse.StringNode:
		return typeOf[string]()
	}
	return nil
}

func (c *typeChecker) fields(n parse.Node, t reflect.Type, names []string) reflect.Type {
	for _, name := range names {
		if t == nil || t.Kind() == reflect.Interface {
			return nil
		}
		if m, ok := method(t, name); ok {
			t = m
			continue
		}
		base := t
		if base.Kind() == reflect.Pointer {
			base = base.Elem()
		}
		switch base.Kind() {
		case reflect.Struct:
			f, ok := base.FieldByName(name)
			if !ok || !f.IsExported() {
				c.fault(n, "%s has no %s", t, name)
				return nil
			}
			t = f.Type
		case reflect.Map:
			t = base.Elem()
		default:
			c.fault(n, "%s has no %s", t, name)
			return nil
		}
	}
	return t
}

func method(t reflect.Type, name string) (reflect.Type, bool) {
	for _, x := range []reflect.Type{t, reflect.PointerTo(t)} {
		if m, ok := x.MethodByName(name); ok && m.Type.NumOut() > 0 {
			return m.Type.Out(0), true
		}
	}
	return nil, false
}
