package store_test

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"testing"

	"yardhasp/replica/store"
)

// writerEnv makes the test binary a writer on the directory it names.
const writerEnv = "YARDHASP_TEST_WRITER"

func TestMain(m *testing.M) {
	if dir := os.Getenv(writerEnv); dir != "" {
		fmt.Fprintln(os.Stderr, writeForever(dir))
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// writeForever stores entries and prints each index after it was acknowledged.
func writeForever(dir string) error {
	l, err := store.OpenLog(dir, nil)
	if err != nil {
		return err
	}
	last, err := l.LastIndex()
	if err != nil {
		return err
	}
	for {
		if err := l.StoreLogs(entries(last+1, last+3)); err != nil {
			return err
		}
		last += 3
		if err := l.SetUint64([]byte("CurrentTerm"), last); err != nil {
			return err
		}
		fmt.Println(last)
	}
}

// Nothing acknowledged is lost to kill -9, over and over in one directory.
func TestKilledWriterLosesNothing(t *testing.T) {
	dir := t.TempDir()
	for round := range 5 {
		cmd := exec.Command(os.Args[0], "-test.run=^$")
		cmd.Env = append(os.Environ(), writerEnv+"="+dir)
		cmd.Stderr = os.Stderr
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		var acknowledged uint64
		lines := bufio.NewScanner(out)
		for n := 0; lines.Scan(); n++ {
			if acknowledged, err = strconv.ParseUint(lines.Text(), 10, 64); err != nil {
				t.Fatal(err)
			}
			if n == 100+37*round {
				if err := cmd.Process.Kill(); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := cmd.Wait(); err == nil || cmd.ProcessState.ExitCode() != -1 {
			t.Fatalf("the writer was not killed: %v", cmd.ProcessState)
		}
		l := openLog(t, dir)
		last, err := l.LastIndex()
		if err != nil {
			t.Fatal(err)
		}
		if last < acknowledged {
			t.Fatalf("round %d: log ends at %d, entry %d was acknowledged", round, last, acknowledged)
		}
		wantLog(t, l, 1, last)
		if term, err := l.GetUint64([]byte("CurrentTerm")); term < acknowledged || err != nil {
			t.Fatalf("round %d: term %d, %v; %d was acknowledged", round, term, err, acknowledged)
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
