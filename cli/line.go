package cli

import (
	"strings"
)

const description = `Originality and preservation registry for historic motorcycles: survey a machine as found,
keep what is known of each component and how, weigh every repair before it is approved, and
hand back a dossier that a stranger can check.

` + exitHelp

// commandLine is everything that can be said on the command line.
type commandLine struct {
	Dir   string   `help:"${dir_help}" default:"${dir}" type:"path"`
	As    string   `help:"${as_help}" default:"${as}"`
	Packs []string `help:"${packs_help}" default:"${packs}" sep:","`
	JSON  bool     `name:"json" help:"print JSON on standard output, and failures as JSON on standard error"`

	Demo  demoCommand  `cmd:"" group:"Begin" help:"make a demonstration registry, tell its story, and serve it"`
	Serve serveCommand `cmd:"" group:"Begin" help:"serve the pages and the interface for programs"`

	Ping pingCommand `cmd:"" group:"Begin" help:"ask a running server whether it is well"`

	TakeIn   takeInCommand   `cmd:"" group:"The job" help:"take a machine into custody"`
	Import   importCommand   `cmd:"" group:"The job" help:"read survey sheets, lists, records or photos from files"`
	Seal     sealCommand     `cmd:"" group:"The job" help:"seal the as-found survey"`
	Show     showCommand     `cmd:"" group:"The job" help:"show a machine, or one component, as it stands or stood"`
	Machines machinesCommand `cmd:"" group:"The job" help:"list the machines"`
	Weigh    weighCommand    `cmd:"" group:"The job" help:"compute what options would do to each index"`
	Plan     planCommand     `cmd:"" group:"The job" help:"find the combinations of options that no other beats"`
	Value    valueCommand    `cmd:"" group:"The job" help:"compare what the machine is worth before and after options"`
	Propose  proposeCommand  `cmd:"" group:"The job" help:"put options to the owner, frozen as they are"`
	Decide   decideCommand   `cmd:"" group:"The job" help:"record the owner's answer"`
	Open     openCommand     `cmd:"" group:"The job" help:"record that something was opened"`
	Work     workCommand     `cmd:"" group:"The job" help:"record work done"`
	Part     partCommand     `cmd:"" group:"The job" help:"record where a removed part went; \"fitted\" puts it back"`
	Check    checkCommand    `cmd:"" group:"The job" help:"record a check with its readings"`
	Gate     gateCommand     `cmd:"" group:"The job" help:"pass a gate towards riding, or take it back"`
	HandBack handBackCommand `cmd:"" group:"The job" help:"hand the machine back"`

	Dossier dossierCommand `cmd:"" group:"The record" help:"write the dossier: a PDF and a bundle"`
	Verify  verifyCommand  `cmd:"" group:"The record" help:"check a bundle, without any registry"`
	Recalc  recalcCommand  `cmd:"" group:"The record" help:"compute a recorded estimate again from its own input"`
	Calc    calcCommand    `cmd:"" group:"The record" help:"run one computation on an input of your own"`
	Rebuild rebuildCommand `cmd:"" group:"The record" help:"derive everything that can be derived from the ledger again"`
	Config  configCommand  `cmd:"" group:"The record" help:"print the settings in force"`
	Version versionCommand `cmd:"" group:"The record" help:"print the version"`
}

func (l *commandLine) packs() string { return strings.Join(l.Packs, ",") }

type versionCommand struct{}

// Run prints the version.
func (versionCommand) Run(c *call) error {
	return c.print(map[string]string{"version": Version}, printer("asfound "+Version))
}
