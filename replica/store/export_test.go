package store

import "os"

// SetFree makes the watch believe what a test says of the disk.
func (w *DiskWatch) SetFree(free func(string) (uint64, error)) { w.free = free }

// SyncedFile is the file that the log syncs after each write.
func (l *Log) SyncedFile() string { return l.wal.file.Name() }

// BreakSync makes every sync of the log fail until mend is called.
func (l *Log) BreakSync() (mend func(), err error) {
	closed, err := os.Open(os.DevNull)
	if err != nil {
		return nil, err
	}
	if err := closed.Close(); err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	whole := l.wal.file
	l.wal.file = closed
	return func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		l.wal.file = whole
	}, nil
}

// SealValue and OpenValue are the checksum of every stored value.
var (
	SealValue = sealValue
	OpenValue = openValue
)

// EncodeLog and DecodeLog are the stored form of a raft log entry.
var (
	EncodeLog = encodeLog
	DecodeLog = decodeLog
)

// DropEntry deletes an entry behind the history's back, as a power cut can.
func (h *History) DropEntry(index uint64) error {
	txn := h.db.NewTransaction(true)
	defer txn.Discard()
	if err := txn.Delete(leafKey(index, partEntry)); err != nil {
		return err
	}
	return txn.Commit()
}
