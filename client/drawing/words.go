package drawing

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// words is one enum of the drawing in plain words, such as "push button" for
// DEVICE_KIND_PUSH_BUTTON. The zero value has no word and is left out.
type words struct {
	what   string
	number map[string]int32
	word   map[int32]string
}

var (
	mediumWords    = wordsOf("medium", "MEDIUM_", recordv1.Medium_name)
	nodeWords      = wordsOf("kind of node", "NODE_KIND_", recordv1.NodeKind_name)
	deviceWords    = wordsOf("kind of device", "DEVICE_KIND_", recordv1.DeviceKind_name)
	hardwareWords  = wordsOf("hardware", "HARDWARE_", recordv1.Hardware_name)
	startWords     = wordsOf("way to start", "START_KIND_", recordv1.StartKind_name)
	isolationWords = wordsOf("isolation", "ISOLATION_", recordv1.Isolation_name)
)

func wordsOf(what, prefix string, names map[int32]string) words {
	w := words{what, make(map[string]int32), make(map[int32]string)}
	for number, name := range names {
		if number == 0 {
			continue
		}
		word := strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(name, prefix)), "_", " ")
		w.number[word] = number
		w.word[number] = word
	}
	return w
}

// read finds a word, written with spaces or hyphens.
func (w words) read(word string) (int32, error) {
	if n, ok := w.number[strings.ReplaceAll(word, "-", " ")]; ok {
		return n, nil
	}
	return 0, fmt.Errorf("unknown %s %q; it is one of: %s", w.what, word, strings.Join(w.list(), ", "))
}

// list gives the words in the order of the contract.
func (w words) list() []string {
	numbers := make([]int32, 0, len(w.word))
	for n := range w.word {
		numbers = append(numbers, n)
	}
	slices.Sort(numbers)
	list := make([]string, len(numbers))
	for i, n := range numbers {
		list[i] = w.word[n]
	}
	return list
}

// write gives the word. For a value that this release does not know, it gives the bare
// number, which reading refuses.
func (w words) write(number int32) string {
	if word, ok := w.word[number]; ok {
		return word
	}
	return fmt.Sprint(number)
}

// dashed is the name of a node without the slash of a node of another yard.
func dashed(name string) string { return strings.ReplaceAll(name, "/", "-") }
