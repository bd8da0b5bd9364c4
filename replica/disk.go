package replica

import (
	"fmt"
	"sync"
	"time"

	"google.golang.org/grpc/codes"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/replica/store"
	"yardhasp/replica/yard"
)

// DiskLimits says when the disk of the data directory is short of space, in free
// bytes. Full must leave room for the work under way: badger writes whole tables of 16
// MiB, and dies at the end of the disk (performance.md, Traps; the numbers are our own
// choice).
type DiskLimits struct {
	// Low: below this, no new permission is asked for here. Records that keep people
	// safe are still written.
	Low uint64
	// Full: below this, nothing is written until free space is above Low again.
	Full uint64
	// Ballast is the size of a file that is deleted at Full. Its space is needed to
	// stop and to clear up.
	Ballast int64
}

var defaultDisk = DiskLimits{Low: 256 << 20, Full: 64 << 20, Ballast: 32 << 20}

// disk is what this replica knows about its disk.
type disk struct {
	watch *store.DiskWatch
	low   uint64     // a full disk counts as full until this many bytes are free
	look  sync.Mutex // one look at a time

	mu    sync.Mutex
	level store.Level
	free  uint64
	err   error

	told bool // the free bytes come from Config.Free, not from the system
}

// openDisk refuses to start when the stores could meet the end of the disk.
func (r *Replica) openDisk(c *Config) error {
	l := defaultDisk
	if c.Disk != nil {
		l = *c.Disk
	}
	w, err := store.NewDiskWatch(c.Dir, l.Low, l.Full, l.Ballast)
	if err != nil {
		return err
	}
	if c.Free != nil {
		w.Measure(c.Free)
	}
	r.disk = &disk{watch: w, low: l.Low, told: c.Free != nil}
	level, free, err := w.Level()
	if level == store.LevelFull && err == nil {
		if err = w.DropBallast(); err == nil {
			level, free, err = w.Level()
		}
	}
	if err != nil {
		return err
	}
	if level == store.LevelFull {
		return fmt.Errorf("the disk of %s has only %d MB free, and the stores need %d: free some space, then start again", c.Dir, free>>20, l.Full>>20)
	}
	r.disk.level, r.disk.free = level, free
	return nil
}

// watchDisk looks at the disk every second.
func (r *Replica) watchDisk() {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		r.lookAtDisk()
		select {
		case <-tick.C:
		case <-r.ctx.Done():
			return
		}
	}
}

// lookAtDisk measures the disk and acts on the result (decisions.md 28). A full disk
// counts as full until free space is above Low again. So the space of the deleted
// ballast does not end it.
func (r *Replica) lookAtDisk() {
	d := r.disk
	d.look.Lock()
	defer d.look.Unlock()
	level, free, err := d.watch.Level()
	d.mu.Lock()
	was := d.level
	if was == store.LevelFull && level == store.LevelLow {
		level = was
	}
	d.level, d.free, d.err = level, free, err
	d.mu.Unlock()
	r.node.SetDiskFull(level == store.LevelFull)
	switch {
	case level == store.LevelFull && was != level:
		r.log.Error("this replica writes nothing any more", "why", code.Brief(d.trouble()), "free", free)
		r.node.HandOver()
		if err := d.watch.DropBallast(); err != nil {
			r.log.Warn("the ballast stays", "err", err)
		}
	case level == store.LevelPlenty:
		if _, err := d.watch.FillBallast(); err != nil {
			r.log.Warn("there is no ballast", "err", err)
		}
	}
	if level != was {
		r.log.Warn("free space", "level", level.String(), "was", was.String(), "bytes", free)
		r.moved()
	}
}

// is reports whether the disk is at a level or worse.
func (d *disk) is(l store.Level) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.level >= l
}

// brim reports whether there is not even room to close the stores. When badger closes,
// it writes what it has in memory into new tables, and it dies at the end of the disk.
// When Config.Free gives the free bytes, the real disk is not full.
func (d *disk) brim() bool {
	level, _, err := d.watch.Level()
	return !d.told && err == nil && level == store.LevelFull
}

// States of the disk. Sizes are in MiB.
var (
	DiskUnknown = code.New("DISK_UNKNOWN", code.Row{Args: "error:text"})
	DiskFull    = code.New("DISK_FULL", code.Row{Args: "free:number needed:number"})
	// DiskShort: records that protect people are written, but no new permission is
	// asked for here.
	DiskShort = code.New("DISK_SHORT", code.Row{Args: "free:number"})
	// DiskLow refuses acts that can wait.
	DiskLow = code.New("DISK_LOW", code.Row{Args: "because:why"})
)

// trouble is what is wrong with the disk, nil when nothing is.
func (d *disk) trouble() *recordv1.Finding {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case d.level == store.LevelPlenty:
		return nil
	case d.err != nil:
		return DiskUnknown.About("", d.err.Error())
	case d.level == store.LevelFull:
		return DiskFull.About("", d.free>>20, d.low>>20)
	}
	return DiskShort.About("", d.free>>20)
}

// mustNotWrite says why nothing may be written here, nil when it may.
func (d *disk) mustNotWrite() *recordv1.Finding {
	if d.is(store.LevelFull) {
		return d.trouble()
	}
	return nil
}

// room refuses an act when the disk has no room for it.
func (r *Replica) room(kind *ledger.Kind) error {
	switch {
	case r.disk.mustNotWrite() != nil:
		return r.journalError(&yard.NotServing{Because: r.disk.mustNotWrite()}, kind.Name)
	case kind.LowDisk == ledger.NotOnLowDisk && r.disk.is(store.LevelLow):
		return answer(codes.ResourceExhausted, DiskLow.About(kind.Name, r.disk.trouble()))
	}
	return nil
}
