package cli

import (
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

const description = `Originality and preservation registry for historic motorcycles: survey a machine as found,
keep what is known of each component and how, weigh every repair before it is approved, and
hand back a dossier that a stranger can check.

` + exitHelp

// commandLine is what can be said with every command.
type commandLine struct {
	Dir       string   `help:"${dir_help}" default:"${dir}" type:"path"`
	As        string   `help:"${as_help}" default:"${as}"`
	Blobs     string   `help:"${blobs_help}" default:"${blobs}" type:"path"`
	Ledger    string   `help:"${ledger_help}" default:"${ledger}"`
	Packs     []string `help:"${packs_help}" default:"${packs}" sep:","`
	KeyFolder string   `help:"${key_folder_help}" default:"${key_folder}" type:"path"`
	JSON      bool     `name:"json" help:"print JSON on standard output, and failures as JSON on standard error"`
}

// command is one row of the list of commands.
type command struct {
	name, group, help string
	run               any // a struct of its flags and arguments with a method Run
}

// commands is the one list of commands, in the order of the help.
func commands() []command {
	return []command{
		{"demo", "Begin", "make a demonstration registry, tell its story, and serve it", &demoCommand{}},
		{"serve", "Begin", "serve the pages and the interface for programs", &serveCommand{}},
		{"ping", "Begin", "ask a running server whether it is well", &pingCommand{}},
		{"take-in", "The job", "take a machine into custody", &takeInCommand{}},
		{"import", "The job", "read survey sheets, lists, records or photos from files", &importCommand{}},
		{"mapping", "The job", "save, list and show which columns of an instrument's own table hold what", &mappingCommand{}},
		{"seal", "The job", "seal the as-found survey", &sealCommand{}},
		{"show", "The job", "show a machine, or one component, as it stands or stood", &showCommand{}},
		{"machines", "The job", "list the machines", &machinesCommand{}},
		{"find", "The job", "search every machine by words and filters", &findCommand{}},
		{"rescore", "The job", "look at the whole register from another standpoint", &rescoreCommand{}},
		{"list", "The job", "write a list as a sheet, CSV or XLSX", &listCommand{}},
		{"fault", "The job", "look for the cause of a fault: complaints, findings, the next test, options for the cause", &faultCommand{}},
		{"weigh", "The job", "compute what options would do to each index", &weighCommand{}},
		{"plan", "The job", "find the combinations of options that no other beats", &planCommand{}},
		{"value", "The job", "compare what the machine is worth before and after options", &valueCommand{}},
		{"sales", "The job", "list the sales that other machines offer, and permit that this one's are used", &salesCommand{}},
		{"criteria", "The job", "hold the record against classes that others publish, criterion by criterion", &criteriaCommand{}},
		{"parts", "The job", "list what must be in hand, and whether to wait for it or buy", &partsCommand{}},
		{"propose", "The job", "put options to the owner, frozen as they are", &proposeCommand{}},
		{"decide", "The job", "record the owner's answer", &decideCommand{}},
		{"open", "The job", "record that something was opened", &openCommand{}},
		{"card", "The job", "show or print the work card of an option", &cardCommand{}},
		{"fasteners", "The job", "record a cover's fasteners from a table, as found", &fastenersCommand{}},
		{"close", "The job", "record that a cover went back on, if its fasteners balance", &closeCommand{}},
		{"labels", "The job", "print labels for removed parts", &labelsCommand{}},
		{"work", "The job", "record work done", &workCommand{}},
		{"part", "The job", "record where a removed part went; \"fitted\" puts it back", &partCommand{}},
		{"check", "The job", "record a check with its readings", &checkCommand{}},
		{"recheck", "The job", "plan to look at something again, by distance, heat cycles or date", &recheckCommand{}},
		{"usage", "The job", "record how far it has gone and how often it was hot", &usageCommand{}},
		{"gate", "The job", "pass a gate towards riding, or take it back", &gateCommand{}},
		{"hand-back", "The job", "hand the machine back", &handBackCommand{}},
		{"link", "The job", "make a person a link to decide with, or take one back", &linkCommand{}},
		{"reply", "The job", "reply to a question of the owner", &replyCommand{}},
		{"receipt", "The job", "show or print the receipt of an owner's answer", &receiptCommand{}},
		{"dossier", "The record", "write the dossier: a PDF, a bundle, a condition report", &dossierCommand{}},
		{"export", "The record", "write a machine in an open standard: PROV-JSON, JSON-LD, Object ID, calendar", &exportCommand{}},
		{"provenance", "The record", "check a PROV-JSON document and tell what was done in it", &provenanceCommand{}},
		{"verify", "The record", "check a bundle, without any registry", &verifyCommand{}},
		{"sum", "The record", "take a figure apart: what went in, by which method, on what assumptions", &sumCommand{}},
		{"recalc", "The record", "compute a recorded estimate again from its own input", &recalcCommand{}},
		{"thread", "The bench", "say which threads a bolt may have, by diameter, pitch and angle", &threadCommand{}},
		{"card-colour", "The bench", "read colours from a picture with a reference card in it", &cardColourCommand{}},
		{"survivors", "The bench", "estimate how many of a model survive and were built, by the numbers on record", &survivorsCommand{}},
		{"attach", "The bench", "compute at the bench, and keep the result as evidence on a component", &attachCommand{}},
		{"calc", "The record", "run one computation on an input of your own", &calcCommand{}},
		{"audit", "The registry", "read every stored byte, derive everything again, and say what does not agree", &auditCommand{}},
		{"hook", "The registry", "tell other programs when an owner has decided: addresses, log", &hookCommand{}},
		{"person", "The registry", "give a person all that is kept of them, or erase their name and address", &personCommand{}},
		{"witness", "The registry", "check that another registry's bundle continues what was seen before, and sign its checkpoint too", &witnessCommand{}},
		{"transfer", "The registry", "hand a machine's record over to another registry, or take one over", &transferCommand{}},
		{"duplicates", "The registry", "list the numbers that two machines have, and say what is to be thought of them", &duplicatesCommand{}},
		{"statistics", "The registry", "count over all machines on record, or over one model", &statisticsCommand{}},
		{"people", "The registry", "say who may sign in, and as what", &peopleCommand{}},
		{"key", "The registry", "show the registry's public key, or replace it", &keyCommand{}},
		{"backup", "The registry", "add what is new to an encrypted backup, while the server runs or not", &backupCommand{}},
		{"restore", "The registry", "bring a backup back into a new folder, and audit it", &restoreCommand{}},
		{"move", "The registry", "move a registry between a folder and a cluster, and read it back", &moveCommand{}},
		{"ledger", "The registry", "make, once, what a cluster needs to keep a ledger, or look whether all is well with it", &ledgerCommand{}},
		{"rebuild", "The record", "derive everything that can be derived from the ledger again", &rebuildCommand{}},
		{"config", "The record", "print the settings in force", &configCommand{}},
		{"version", "The record", "print the version", &versionCommand{}},
	}
}

// newParser makes the parser of a command line. Making one of every command
// takes longer than most commands do, so a line that names its command gets a
// parser of that one alone.
func newParser(line *commandLine, args []string, getenv func(string) string, more ...kong.Option) (*kong.Kong, error) {
	options := append(more, kong.Name("asfound"), kong.Description(description), kong.Vars(optionVars(getenv)),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 100}))
	all := commands()
	if i := slices.IndexFunc(all, func(c command) bool { return c.name == commandNamed(args) }); i >= 0 {
		all = all[i : i+1]
	}
	for _, c := range all {
		options = append(options, kong.DynamicCommand(c.name, c.help, c.group, c.run))
	}
	return kong.New(line, options...)
}

// commandNamed is the first argument that is neither a flag nor the value of
// one; "" when there is none or when help is asked for.
func commandNamed(args []string) string {
	for i := 0; i < len(args); i++ {
		switch a := args[i]; {
		case a == "--dir" || a == "--as" || a == "--packs" || a == "--key-folder" || a == "--ledger" || a == "--blobs":
			i++
		case a == "--help" || a == "-h":
			return ""
		case !strings.HasPrefix(a, "-"):
			return a
		}
	}
	return ""
}

func (l *commandLine) packs() string { return strings.Join(l.Packs, ",") }

type versionCommand struct{}

// Run prints the version.
func (versionCommand) Run(c *call) error {
	return c.print(map[string]string{"version": Version}, printer("asfound "+Version))
}
