package cli

import "example.org/asfound/registry"

// Exit statuses. 0 means done, 2 a command that was not understood; the others
// follow from the code of the refusal.
const (
	exitDone  = 0
	exitUsage = 2
)

// exitStatuses is the one table from refusals to exit statuses.
var exitStatuses = map[registry.Code]int{
	registry.CodeInternal:     1,
	registry.CodeInvalid:      3,
	registry.CodeNotFound:     4,
	registry.CodeRefused:      5,
	registry.CodeNotApproved:  5,
	registry.CodeConflict:     6,
	registry.CodeExpired:      7,
	registry.CodeTooLarge:     8,
	registry.CodeUnsupported:  8,
	registry.CodeInsufficient: 9,
	registry.CodeTampered:     10,
	registry.CodeUnknown:      11,
	registry.CodeBusy:         12,
}

func exitStatus(err error) int {
	if err == nil {
		return exitDone
	}
	if s, ok := exitStatuses[registry.CodeOf(err)]; ok {
		return s
	}
	return exitStatuses[registry.CodeInternal]
}

// exitHelp documents the statuses, for --help.
const exitHelp = `Exit status: 0 done; 1 a fault of the program or the machine it runs on; 2 the command
was not understood; 3 something given is not right; 4 not found; 5 a rule of the registry,
or a missing approval, forbids it; 6 the record has moved on; 7 run out; 8 too large, or of
a kind that is not read; 9 too little evidence; 10 tampered with; 11 perhaps stored, repeat
it; 12 busy or full, try later.`
