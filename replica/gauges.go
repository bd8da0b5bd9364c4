package replica

import (
	"slices"

	"github.com/prometheus/client_golang/prometheus"

	"yardhasp/ledger"
	"yardhasp/replica/store"
)

// gauges reads the replica only when a monitor asks. It costs nothing in between.
type gauges struct{ r *Replica }

// Gauges is what a monitor reads of this replica, for a registry of its own. There is
// at most one series for each yard. There is none for a person, a point or a lock.
func (r *Replica) Gauges() prometheus.Collector { return &gauges{r} }

func series(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("yardhasp_"+name, help, labels, nil)
}

var (
	gaugeDiffer    = series("histories_differ", "1 for a yard whose replica signed another history than a second one did: nothing is approved until it is settled by hand.", "yard")
	gaugeServing   = series("serving", "1 while this yard's replica can promise anything.")
	gaugeLeader    = series("leader", "1 while this replica leads the quorum.")
	gaugeVoters    = series("voters", "Replicas that have a vote.")
	gaugeNeeded    = series("quorum_needed", "Voters that must answer.")
	gaugeConfirmed = series("confirmed_timestamp_seconds", "When a quorum last confirmed anything to this replica; 0: not since it started.")
	gaugeEntries   = series("ledger_entries", "Entries of the ledger that this replica has applied.")
	gaugePending   = series("journal_undrained", "Records of this yard's journal that the ledger does not have.")
	gaugeAlarms    = series("alarms", "Alarms on the board.")
	gaugeHolds     = series("locks_on", "Locks recorded as on, all yards.")
	gaugeRequests  = series("requests_open", "Requests to energise that are open.")
	gaugeHeard     = series("yard_heard", "1 for a yard that answers.", "yard")
	gaugeDrained   = series("yard_drained", "The last journal record of a yard that the ledger has, in its present epoch.", "yard")
	gaugeFree      = series("disk_free_bytes", "Free bytes where the data directory is.")
	gaugeFull      = series("disk_short", "0: space enough; 1: low, permissions are not asked for here; 2: full, nothing is written.")
	gaugeBehind    = series("history_behind", "1 while the history before a snapshot is being fetched from another yard.")
)

// Describe implements prometheus.Collector.
func (g *gauges) Describe(c chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{gaugeDiffer, gaugeServing, gaugeLeader, gaugeVoters, gaugeNeeded, gaugeConfirmed, gaugeEntries, gaugePending,
		gaugeAlarms, gaugeHolds, gaugeRequests, gaugeHeard, gaugeDrained, gaugeFree, gaugeFull, gaugeBehind} {
		c <- d
	}
}

// Collect implements prometheus.Collector.
func (g *gauges) Collect(c chan<- prometheus.Metric) {
	r := g.r
	put := func(d *prometheus.Desc, v float64, labels ...string) {
		c <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	r.mu.Lock()
	confirmed, differ := r.confirmedAt, r.differing()
	r.mu.Unlock()
	serving, _ := r.yard.serving()
	ms := r.node.Members()
	r.disk.mu.Lock()
	level, free := r.disk.level, r.disk.free
	r.disk.mu.Unlock()
	put(gaugeServing, flag(serving))
	put(gaugeLeader, flag(r.node.IsLeader()))
	put(gaugeVoters, float64(ms.Voters))
	put(gaugeNeeded, float64(ms.Quorum))
	put(gaugeConfirmed, float64(confirmed)/1000)
	put(gaugePending, float64(r.yard.undrained()))
	put(gaugeFree, float64(free))
	put(gaugeFull, map[store.Level]float64{store.LevelLow: 1, store.LevelFull: 2}[level])
	put(gaugeBehind, flag(r.node.HistoryBehind()))
	for _, k := range r.contacts() {
		put(gaugeHeard, flag(k.GetHeard()), k.GetYard())
	}
	var yards []string
	drained := map[string]uint64{}
	var entries uint64
	var alarms, holds, open int
	r.node.View(func(s *ledger.State, _ uint64) {
		entries, alarms = s.Size(), len(s.Alarms)
		for _, h := range s.Holds {
			if h.Active() {
				holds++
			}
		}
		for _, q := range s.Reqs {
			if q.Open() {
				open++
			}
		}
		yards = sortedYards(s)
		for _, y := range yards {
			drained[y] = s.Yards[y].Drained
		}
	})
	put(gaugeEntries, float64(entries))
	put(gaugeAlarms, float64(alarms))
	put(gaugeHolds, float64(holds))
	put(gaugeRequests, float64(open))
	for _, y := range yards {
		put(gaugeDrained, float64(drained[y]), y)
		put(gaugeDiffer, flag(slices.Contains(differ, y)), y)
	}
}

// differing names the yards of all divergences, each once. The caller holds mu.
func (r *Replica) differing() []string {
	var out []string
	for i := range r.divergences {
		out = append(out, r.divergences[i].yards[:]...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
