package drawing

import (
	"strconv"
	"strings"
)

// spot is where a value stands in the file, and where its parts stand.
type spot struct {
	line, col int32
	fields    []field
	items     []*spot
}

type field struct {
	key string
	at  *spot
}

func (s *spot) field(key string) *spot {
	for _, f := range s.fields {
		if f.key == key {
			return f.at
		}
	}
	return nil
}

// Locate gives line and column, from 1, of a field such as "links[3].from",
// "zones[0].parts[1].node" or "nodes". A single value is located itself, a list or group
// by its key. If the file does not have the field, Locate gives the nearest thing around
// it, and at last the first line.
func (s *Source) Locate(path string) (line, col int) {
	at := s.root
	for step := range strings.SplitSeq(path, ".") {
		key, rest, _ := strings.Cut(step, "[")
		next := at.field(fileKey(key))
		if next == nil {
			break
		}
		at = next
		missing := false
		for rest != "" {
			number, after, _ := strings.Cut(rest, "]")
			i, err := strconv.Atoi(number)
			if err != nil || i < 0 || i >= len(at.items) {
				missing = true
				break
			}
			at = at.items[i]
			rest = strings.TrimPrefix(after, "[")
		}
		if missing {
			break
		}
	}
	return int(at.line), int(at.col)
}

// fileKey is the file's name for a field of the messages.
func fileKey(key string) string {
	switch key {
	case "wait_seconds":
		return "wait"
	case "label_seconds":
		return "label_wait"
	case "run_down_seconds":
		return "run_down"
	case "cool_seconds":
		return "cool"
	case "recheck_seconds":
		return "recheck"
	case "start_kind":
		return "start"
	}
	return key
}
