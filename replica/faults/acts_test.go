package faults_test

import (
	"fmt"
	"os"
	"time"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
	stories "yardhasp/testdata/story"
)

var sayings = func() *stories.File {
	f, err := stories.Read(os.DirFS("testdata/stories"), "usual.story")
	if err != nil {
		panic(err)
	}
	return f
}()

// texts are what the words of an act stand for: the bubble's time, and keys by name.
type texts struct{}

func (texts) Now() int64 { return time.Now().UnixMilli() }

func (texts) Bytes(_, _, text string) ([]byte, error) { return public(testKey(text)), nil }

// says makes an act of the line that says it (testdata/story).
func says(format string, args ...any) *recordv1.Record {
	r, err := sayings.Record(texts{}, fmt.Sprintf(format, args...))
	if err != nil {
		panic(err) // a scenario's own line
	}
	return r
}

func clears(yard string) *recordv1.Record { return says("clear-area %s", job(yard)) }

func tells(yard string) *recordv1.Record { return says("notice %s", job(yard)) }

func energises(id, yard string) *recordv1.Record { return says("energise %s %s", id, point(yard)) }
