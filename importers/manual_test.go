package importers_test

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/importers"
	"example.org/asfound/importers/sheet"
	"example.org/asfound/schema"
)

var update = flag.Bool("update", false, "write the tables into docs/importing.md")

const manual = "../docs/importing.md"

// printed is a table as the manual prints it.
func printed(t importers.Table) string {
	var b strings.Builder
	b.WriteString("| column | also headed | takes | such as |\n| --- | --- | --- | --- |\n")
	for _, c := range t.Columns {
		heading := c.Heading
		if c.Needed {
			heading = "**" + heading + "**"
		}
		example := ""
		if c.Example != "" {
			example = "`" + c.Example + "`"
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %s |\n", heading, strings.Join(c.Also, ", "), strings.NewReplacer("|", `\|`, "<", "&lt;", ">", "&gt;").Replace(c.Takes), example)
	}
	return b.String()
}

func TestTheManualPrintsTheTables(t *testing.T) {
	data, err := os.ReadFile(manual)
	require.NoError(t, err)
	text := string(data)
	for _, table := range importers.Tables() {
		begin, end := fmt.Sprintf("<!-- table %s -->\n", table.Name), "<!-- end of table -->"
		before, rest, found := strings.Cut(text, begin)
		require.True(t, found, "the manual has no table %s", table.Name)
		inside, after, found := strings.Cut(rest, end)
		require.True(t, found)
		if *update {
			text = before + begin + printed(table) + end + after
			continue
		}
		require.Equal(t, printed(table), inside, "run the test with -update and look at the change")
	}
	if *update {
		require.NoError(t, os.WriteFile(manual, []byte(text), 0o644))
	}
	for _, name := range sheet.Encodings() {
		require.Contains(t, text, "`"+name+"`")
	}
	for _, i := range importers.Importers() {
		require.Contains(t, text, "`"+i.Name+"`")
	}
}

func TestTheManualsExamplesAreRead(t *testing.T) {
	data, err := os.ReadFile(manual)
	require.NoError(t, err)
	set, err := schema.Compile()
	require.NoError(t, err)
	o := options("example")
	o.Anatomy, o.Validator = house(t), set
	examples := strings.Split(string(data), "```")
	read := 0
	for i := 1; i < len(examples); i += 2 {
		_, text, _ := strings.Cut(examples[i], "\n")
		found, err := importers.Detect(strings.NewReader(text), o)
		require.NoError(t, err, text)
		drafts, report := load(t, found.Name, []byte(text), o)
		require.NotEmpty(t, drafts)
		require.Empty(t, report.Warnings)
		for _, d := range drafts {
			require.Empty(t, messages(d), text)
		}
		read++
	}
	require.Equal(t, 4, read)
}

func TestTheTablesExamplesAreTaken(t *testing.T) {
	set, err := schema.Compile()
	require.NoError(t, err)
	for _, table := range importers.Tables() {
		if table.Name == "inventory" || table.Name == "photos" || table.Name == "fasteners" {
			continue
		}
		var head, row []string
		for _, c := range table.Columns {
			if table.Name == "evidence" && strings.HasPrefix(c.Heading, "likelihood") {
				continue
			}
			head, row = append(head, c.Heading), append(row, `"`+c.Example+`"`)
		}
		o := options("example")
		o.Anatomy, o.Validator = house(t), set
		drafts, _ := load(t, table.Name, []byte(strings.Join(head, ",")+"\n"+strings.Join(row, ",")+"\n"), o)
		require.NotEmpty(t, drafts, table.Name)
		for _, d := range drafts {
			require.Empty(t, messages(d), table.Name)
		}
	}
}
