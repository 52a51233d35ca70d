package sheet

import "encoding/binary"

// maxKept is how much text of a workbook is kept in memory, in bytes: that of
// some 200 000 rows. A longer sheet is taken from the workbook each time.
const maxKept = 32 << 20

// kept holds the rows of a workbook as they were read, so that a second reading
// need not unpack and parse them again, which is most of the work. A row stands
// there as uvarints (how far its number lies above the last, how many cells it
// has, the length of each) and then its cells' text.
type kept struct {
	data  []byte
	last  int  // number of the row that was added last
	over  bool // there was more than maxKept
	whole bool // every row is here
}

// keeping gives what read gives, and reads no more once all of it is kept.
func keeping(read func(give func(Row) error) error) func(give func(Row) error) error {
	rows := kept{}
	return func(give func(Row) error) error {
		if rows.whole {
			return rows.each(give)
		}
		rows = kept{}
		err := read(func(r Row) error {
			rows.add(r)
			return give(r)
		})
		rows.whole = err == nil && !rows.over
		return err
	}
}

func (k *kept) add(row Row) {
	if k.over {
		return
	}
	size := 0
	for _, c := range row.Cells {
		size += len(c) + binary.MaxVarintLen32
	}
	if len(k.data)+size > maxKept {
		k.data, k.over = nil, true
		return
	}
	k.data = binary.AppendUvarint(k.data, uint64(row.Number-k.last))
	k.data = binary.AppendUvarint(k.data, uint64(len(row.Cells)))
	for _, c := range row.Cells {
		k.data = binary.AppendUvarint(k.data, uint64(len(c)))
	}
	for _, c := range row.Cells {
		k.data = append(k.data, c...)
	}
	k.last = row.Number
}

// each gives the rows as they were added, with cells of their own.
func (k *kept) each(give func(Row) error) error {
	rest := k.data
	number := func() int {
		n, size := binary.Uvarint(rest)
		rest = rest[size:]
		return int(n)
	}
	row := Row{}
	for len(rest) > 0 {
		row.Number += number()
		lengths := make([]int, number())
		size := 0
		for i := range lengths {
			lengths[i] = number()
			size += lengths[i]
		}
		text := string(rest[:size])
		rest = rest[size:]
		row.Cells = make([]string, len(lengths))
		for i, n := range lengths {
			row.Cells[i], text = text[:n], text[n:]
		}
		if err := give(row); err != nil {
			return err
		}
	}
	return nil
}
