package store

import (
	"context"

	"github.com/dgraph-io/badger/v4"

	"example.org/asfound/registry"
)

// AppendInOrder stores commits one after the other, as Append does, and waits
// for the disk once for many of them. At the first that is not stored it gives
// the error; then some of the later ones may be stored all the same.
func (s *Store) AppendInOrder(ctx context.Context, commits []registry.Commit) ([]registry.Receipt, error) {
	if err := s.begin(ctx); err != nil {
		return nil, err
	}
	defer s.end()
	jobs := make([]*job, 0, len(commits))
	var failed error
	for _, c := range commits {
		if failed = c.Check(); failed != nil {
			break
		}
		j := &job{commit: prepare(c)}
		if failed = CheckEncoded(len(c.Events), j.commit.record); failed != nil {
			break
		}
		if failed = s.hand(ctx, j); failed != nil {
			break
		}
		jobs = append(jobs, j)
	}
	var receipts []registry.Receipt
	for _, j := range jobs {
		a, _ := j.wait(context.WithoutCancel(ctx))
		if a.err != nil {
			return receipts, a.err
		}
		receipts = append(receipts, a.receipt)
	}
	return receipts, failed
}

// Stored says whether a commit of this ID is stored, and the machine's head just
// after it.
func (s *Store) Stored(ctx context.Context, id string) (head registry.Head, ok bool, err error) {
	err = s.view(ctx, "looking for a commit", func(txn *badger.Txn) error {
		head, ok, err = getID(txn, id)
		return err
	})
	return head, ok, err
}
