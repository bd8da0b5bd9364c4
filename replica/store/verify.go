package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/dgraph-io/badger/v4"
	"github.com/hashicorp/raft"
	"golang.org/x/mod/sumdb/tlog"
)

// Verify reads all of the history. It checks every entry and outcome against its
// checksum, and every tree hash against the entries. It passes each item to fn, in
// order, and ends at the first error. The error is a DamagedError when something on
// the disk is not what was written. Open and the readers check only what they read.
func (h *History) Verify(fn func(Item) error) error {
	if err := h.checkBlocks(); err != nil {
		return err
	}
	return h.view(func(txn *badger.Txn) error {
		stored := &hashReader{txn: txn}
		return h.Range(0, h.Size(), func(it Item) error {
			want, err := tlog.StoredHashes(int64(it.Index), it.Entry, stored)
			if err != nil {
				return err
			}
			first := tlog.StoredHashIndex(0, int64(it.Index))
			at := make([]int64, len(want))
			for i := range at {
				at[i] = first + int64(i)
			}
			got, err := stored.ReadHashes(at)
			if err != nil {
				return err
			}
			for i := range want {
				if got[i] != want[i] {
					return &DamagedError{What: fmt.Sprintf("tree hash %d of the history", at[i]), Why: fmt.Sprintf("it is not the one of entry %d", it.Index)}
				}
			}
			return fn(it)
		})
	})
}

// checkBlocks reads each table that is listed now. badger may delete a table
// meanwhile, after it copied the content to another.
func (h *History) checkBlocks() error {
	opts := h.db.Opts()
	tables, err := listedTables(&opts)
	if err != nil {
		return err
	}
	for _, path := range tables {
		why, err := tableFault(path, true)
		if _, gone := os.Stat(path); errors.Is(gone, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return err
		}
		if why != "" {
			return &DamagedError{What: "table " + path + " of the history", Why: why}
		}
	}
	return nil
}

// Verify reads all of the raft log: its entries and raft's own variables. The error is
// a DamagedError when something on the disk is not what was written.
func (l *Log) Verify() error {
	first, last := l.head.Load().first, l.head.Load().last
	for i := first; i > 0 && i <= last; i++ {
		var e raft.Log
		if err := l.GetLog(i, &e); err != nil {
			return err
		}
	}
	for _, name := range []string{"CurrentTerm", "LastVoteTerm"} {
		if _, err := l.GetUint64([]byte(name)); err != nil {
			return err
		}
	}
	if _, err := l.Get([]byte("LastVoteCand")); err != nil && !errors.Is(err, errNotFound) {
		return err
	}
	return nil
}
