// Package sheet exists to turn a table in a file, CSV or XLSX, into rows of
// text: the same rows whichever program wrote the file.
//
// It promises row numbers as a spreadsheet shows them, dates of a workbook as
// YYYY-MM-DD, numbers as plain numbers and formulas by the value that was last
// computed, and that a file is read whole or refused. It refuses what it cannot
// read for certain: an unknown encoding, a damaged or swollen archive, the
// older binary workbook and the open document workbook. It never runs anything
// that a file contains.
package sheet
