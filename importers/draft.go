package importers

import "example.org/asfound/registry"

// Draft is one record as a file gives it, with the place where it stood.
type Draft struct {
	File string
	// Row counts from 1 as a spreadsheet shows it; 0 means that it has none.
	Row int
	// Machine is what the file says the record belongs to; "" leaves it to the
	// caller.
	Machine string
	// Body is nil when the row could not be made into a record at all.
	Body registry.Body
	// Faults are all that is wrong with the row; a draft with faults must not be
	// recorded.
	Faults []registry.Field
	// Cells is the row as it stood, for the file of rejected rows.
	Cells []string
}

// Good says whether the draft has no faults.
func (d Draft) Good() bool { return len(d.Faults) == 0 }

// Report says how a file was read. It is complete once Each has returned.
type Report struct {
	File      string
	Importer  string
	Format    string // "CSV", "XLSX" or "JSON"
	Sheet     string // of a workbook
	Encoding  string // of a CSV file, such as "utf-8"
	Separator string // of a CSV file
	HeaderRow int
	Headings  []string // as they stand in the file
	// Rows counts the rows that were looked at; Records the drafts without
	// faults that came of them; Rejected the rows with faults; LeftOut the rows
	// in which nothing was filled in but what says which part they are about.
	Rows, Records, Rejected, LeftOut int
	// Warnings are things that were passed over or chosen, and that a person
	// should look at.
	Warnings []registry.Field
}

// count counts what came of one row or one of its records.
func (r *Report) count(d Draft) {
	if d.Good() {
		r.Records++
	} else {
		r.Rejected++
	}
}

// handOn counts a row and its drafts, and gives these to take.
func (r *Report) handOn(drafts []Draft, take func(Draft) error) error {
	r.Rows++
	for _, d := range drafts {
		r.count(d)
		if err := take(d); err != nil {
			return err
		}
	}
	return nil
}

// Source gives the drafts of one file.
type Source interface {
	// Each gives the drafts in the order of the file. When take returns an
	// error, reading ends and that error comes back. Any other error concerns
	// the whole file, and nothing of it should be recorded.
	Each(take func(Draft) error) error
	// Report says how the file was read.
	Report() Report
	// Close gives back temporary files.
	Close() error
}

// Validator checks a record against the schema of its kind. A *registry.Error
// carries the faults; any other error ends the import.
type Validator interface {
	Validate(kind registry.Kind, version int, data []byte) error
}

// Options are what an importer is told besides the file. Anatomy is needed;
// everything else may be left out.
type Options struct {
	// File names the file in messages.
	File string
	// By is the person who is named where a row names nobody.
	By string
	// Anatomy is what is known of machines in general.
	Anatomy *Anatomy
	// Validator checks records against their schemas; nil leaves that out.
	Validator Validator
	// Sheet, Encoding and Separator settle what the file leaves open.
	Sheet     string
	Encoding  string
	Separator rune
	// Mapping says where the columns of a table of other headings are; the sheet
	// is then the one that it names.
	Mapping *Mapping
	// MaxBytes is the largest file, in bytes; 0 means the limit of its format.
	MaxBytes int64
	// Workers is how many rows are checked at once; 0 means 2. The order of the
	// drafts does not depend on it.
	Workers int
}
