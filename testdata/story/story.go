// Package story reads stories: what people do at the yards of a co-op, one act a
// line, and what they are told. A supervisor can read them without reading Go. Three
// kinds of tests play them, each in a world of its own: the tests of the ledger, of a
// yard's replica, and of whole replicas under faults.
//
// A file holds names, usual values and stories:
//
//	name  feeder stonebend/mcc-1/feeder      feeder stands for the longer text
//	usual notice means="in person"           every notice has this value unless its line has another
//	short tell   notice when=after           an act of our own: a notice with these values
//
//	story a lock is taken off by whoever put it on
//	rule  1910.147(e)(3)                     the clause or decision that it shows
//	given released                           where it begins; the world knows the word
//	lock ravi feeder job=boot-1 as=his       -> ok
//	release lena his                         -> refused NOT_YOUR_LOCK
//	time +2h
//	work boot-1                              -> NO_LOCK feeder, no NOT_TOLD
//
// A line is ACT PERSON, then values, then key=value. An act is a kind of the
// contract, with hyphens, or a short one. Values without a key go into the fields of
// the act's message, in the order of the field numbers. A field that is one of
// several (oneof) needs its key. A list has commas. A message has braces:
// {oxygen 20900}. An enum is written by its last words: when=before. A time is +2h,
// -30m, now, or a mark. key.field=value changes one field of a message.
//
// Besides the fields of the message a line takes:
//
//	at=YARD         through this yard's journal
//	behind=MARK     the yard had seen the ledger only up to there
//	captured=TIME   when it was signed, by the signer's clock
//	ago=30m         how long ago the yard wrote it down
//	signed-by=KEYS  the keys that sign it, in order; without it those that the contract asks for
//	grant=held-locally promised=POINTS   what its yard promised
//	as=NAME         names the record from here on
//	keep=NAME       signed now, and sent only by a line "send NAME"
//
// "mark NAME" names the present size and time of the ledger. "confirm YARD REQUEST"
// has a yard confirm a request. "confirm every REQUEST" has each yard concerned do so.
// "prove PERSON JOB" takes every reading that the job's plan asks for. "drawing
// PERSON YARD REVISION" publishes the yard's present drawing with changes (see
// draw). Any other word asks the world, as "work" and "start" do.
//
// After -> comes what is expected: "ok" for taken, "flagged" for taken with flags,
// "refused" for refused. Each is followed by the codes that must be there, and by "no
// CODE" for a code that must not. A code may be followed by its subject. "only" says
// that there are no other codes. A line without -> must be taken. Texts are never
// compared.
package story

import "fmt"

// File is the content of one or more files.
type File struct {
	Stories []Story
	names   map[string]string
	usual   map[string][]field
	short   map[string]shortAct
}

type shortAct struct {
	kind   string
	fields []field
}

// Story is one scenario.
type Story struct {
	Name, Rule string
	// Place is the story's file and line.
	Place string
	Steps []Step
	file  *File
}

// Step is one line of a story.
type Step struct {
	Place string
	// Text is the line as it is written.
	Text   string
	verb   string
	args   []value
	fields []field
	want   *want
}

type field struct {
	key string
	val value
}

// value is a word or quoted text, a list, or a message in braces.
type value struct {
	text   string
	quoted bool
	list   []value // only for more than one value
	msg    *message
}

type message struct {
	args   []value
	fields []field
}

// want is what a line expects as its answer.
type want struct {
	words string // "ok", "refused", or the words that answer a question
	only  bool
	codes []wantCode
}

type wantCode struct {
	code, subject string
	not           bool
}

// fault is an error about a line, with the line's place.
func fault(place, format string, args ...any) error {
	return fmt.Errorf("%s: %s", place, fmt.Sprintf(format, args...))
}
