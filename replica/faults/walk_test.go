package faults_test

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// standing is a lock or a sign-on as the walk below knows it.
type standing struct {
	who, what string
	points    []string // of a sign-on
	clear     string   // the test that its holder stood clear for
	off       bool
	removed   bool
}

// asked is a request as the walk below knows it.
type asked struct {
	index     int
	test      bool
	deadline  int64
	points    []string
	confirmed map[string]bool
	done      map[string]bool
}

// over reports that everything asked for was energised.
func (q *asked) over() bool { return len(q.done) == len(q.points) }

// lifts are the acts that end or pass protection: whose keys sign them counts.
var lifts = map[string]bool{"release": true, "stand_clear": true, "sign_off": true, "hand_over": true, "removal": true, "claim_lock": true, "acknowledge_removal": true, "energise": true, "request": true}

var managersAll = append([]string{manager}, managers...)

// walker is what the walk knows after the entries so far.
type walker struct {
	bad           []string
	live          map[string]bool
	locked        map[string]int // where a lock last went on
	holds, inside map[string]*standing
	reqs          map[string]*asked
	plan          map[string][]string
	boxes         map[string]map[string]bool
	owners        map[string]string // of keys
	seqs, epochs  map[string]uint64

	n       *entry   // the one looked at
	signers []string // of it
}

// walk checks protocol.md's safety statement over the entries alone: its own few
// rules, none of the ledger's code. It keeps which points are live, which holds
// and sign-ons stand, and what was asked for.
func walk(all []entry) (bad []string) {
	x := &walker{live: map[string]bool{}, locked: map[string]int{}, holds: map[string]*standing{}, inside: map[string]*standing{}, reqs: map[string]*asked{}, plan: map[string][]string{},
		boxes: map[string]map[string]bool{}, owners: map[string]string{string(public(testKey(manager))): manager}, seqs: map[string]uint64{}, epochs: map[string]uint64{}}
	for i := range all {
		x.n = &all[i]
		x.journal()
		if x.n.counted && x.n.rec != nil {
			x.signed()
			x.act()
		}
	}
	return x.bad
}

func (x *walker) fail(format string, args ...any) {
	x.bad = append(x.bad, fmt.Sprintf("UNSAFE: entry %d (%s %s by %s): ", x.n.index, x.n.kind, x.n.ref, x.n.rec.GetSigner())+fmt.Sprintf(format, args...))
}

func (x *walker) covers(h *standing, p string) bool { return h.what == p || x.boxes[h.what][p] }

// hung notes that a lock went on, and on what.
func (x *walker) hung(h *standing) {
	x.locked[h.what] = x.n.index
	for p := range x.boxes[h.what] {
		x.locked[p] = x.n.index
	}
}

// journal demands that each yard's journal goes on without a gap, and takes the word of
// a yard for a request.
func (x *walker) journal() {
	n := x.n
	if n.env != nil && !n.repeat() {
		if x.seqs[n.env.GetYard()]++; n.env.GetSeq() != x.seqs[n.env.GetYard()] {
			x.fail("the journal goes on at %d", x.seqs[n.env.GetYard()])
		}
		if n.env.GetEpoch() != x.epochs[n.env.GetYard()]+1 {
			x.fail("the journal is of epoch %d", n.env.GetEpoch())
		}
	}
	if f := n.env.GetFence(); f != nil && n.out.GetAccepted() && x.reqs[f.GetRequest()] != nil {
		x.reqs[f.GetRequest()].confirmed[n.env.GetYard()] = true
	}
}

// signed demands of what ends or passes protection that its signers are known, differ,
// and begin with the one it is by.
func (x *walker) signed() {
	x.signers = nil
	for _, k := range x.n.keys {
		x.signers = append(x.signers, x.owners[string(k)])
	}
	distinct := slices.Clone(x.signers)
	slices.Sort(distinct)
	if lifts[x.n.kind] && (x.signers[0] != x.n.rec.GetSigner() || slices.Contains(x.signers, "") || len(slices.Compact(distinct)) != len(x.signers)) {
		x.fail("it is signed by %q", x.signers)
	}
}

// act takes what the entry did.
func (x *walker) act() {
	switch a := x.n.rec.GetAct().(type) {
	case *recordv1.Record_RegisterBox:
		x.boxes[a.RegisterBox.GetBox()] = map[string]bool{}
	case *recordv1.Record_BoxAdd:
		x.boxAdd(a.BoxAdd)
	case *recordv1.Record_BoxRemove:
		x.boxRemove(a.BoxRemove)
	case *recordv1.Record_RegisterPoint:
		x.live[a.RegisterPoint.GetPoint()] = true
	case *recordv1.Record_OpenJob:
		x.plan[a.OpenJob.GetId()] = a.OpenJob.GetPlan()
	case *recordv1.Record_Join:
		x.owners[string(a.Join.GetKey())] = strings.TrimPrefix(a.Join.GetInvitation(), "inv-")
	case *recordv1.Record_Closed:
		if x.n.withoutGoAhead() {
			x.live[a.Closed.GetPoint()] = true
		}
	case *recordv1.Record_Isolate:
		x.live[a.Isolate.GetPoint()] = false
	case *recordv1.Record_Lock:
		x.lock(a.Lock)
	case *recordv1.Record_FoundLock:
		x.holds[x.n.ref] = &standing{what: a.FoundLock.GetTarget().GetPoint()}
		x.hung(x.holds[x.n.ref])
	case *recordv1.Record_ClaimLock:
		x.claim(a.ClaimLock)
	case *recordv1.Record_HandOver:
		x.handOver(a.HandOver)
	case *recordv1.Record_Removal:
		x.removal(a.Removal)
	case *recordv1.Record_AcknowledgeRemoval:
		x.acknowledged(a.AcknowledgeRemoval)
	case *recordv1.Record_Release:
		x.release(a.Release)
	case *recordv1.Record_SignOn:
		x.signOn(a.SignOn)
	case *recordv1.Record_SignOff:
		x.signOff(a.SignOff)
	case *recordv1.Record_StandClear:
		x.standClear(a.StandClear)
	case *recordv1.Record_RecoverYard:
		x.recovered(a.RecoverYard)
	case *recordv1.Record_Request:
		x.request(a.Request)
	case *recordv1.Record_Withdraw:
		delete(x.reqs, a.Withdraw.GetRequest())
	case *recordv1.Record_Expire:
		delete(x.reqs, a.Expire.GetRequest())
	case *recordv1.Record_Energise:
		x.energise(a.Energise)
	}
}
