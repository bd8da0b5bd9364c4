package store

import (
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/dgraph-io/badger/v4"
)

// errNotFound has exactly the text by which raft recognises an absent variable.
var errNotFound = errors.New("not found")

// Set stores one of raft's variables.
func (l *Log) Set(key, value []byte) error {
	return l.setVariable(append([]byte{keyBytes}, key...), value)
}

// Get returns one of raft's variables. If there is none, the text of the error is "not
// found": raft compares the text.
func (l *Log) Get(key []byte) ([]byte, error) {
	return l.variable(append([]byte{keyBytes}, key...))
}

// SetUint64 stores one of raft's variables that is a number.
func (l *Log) SetUint64(key []byte, value uint64) error {
	return l.setVariable(append([]byte{keyNumber}, key...), binary.BigEndian.AppendUint64(nil, value))
}

// GetUint64 returns one of raft's variables that is a number, 0 if there is none.
func (l *Log) GetUint64(key []byte) (uint64, error) {
	value, err := l.variable(append([]byte{keyNumber}, key...))
	if err == errNotFound {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	if len(value) != 8 {
		return 0, &DamagedError{What: fmt.Sprintf("raft variable %q", key), Why: fmt.Sprintf("a number of %d bytes", len(value))}
	}
	return binary.BigEndian.Uint64(value), nil
}

func (l *Log) setVariable(key, value []byte) error {
	if len(value) > MaxEntryBytes {
		return fmt.Errorf("raft variable %q has %d bytes, the most is %d", key[1:], len(value), MaxEntryBytes)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	err := l.commit(*l.head.Load(), func(txn *badger.Txn) error {
		return txn.Set(key, sealValue(key, append([]byte(nil), value...)))
	})
	if err != nil {
		return fmt.Errorf("store raft variable %q: %w", key[1:], err)
	}
	return nil
}

func (l *Log) variable(key []byte) ([]byte, error) {
	value, err := l.read(key, fmt.Sprintf("raft variable %q", key[1:]))
	switch {
	case errors.Is(err, badger.ErrKeyNotFound):
		return nil, errNotFound
	case errors.Is(err, badger.ErrDBClosed):
		return nil, ErrClosed
	}
	return value, err
}
