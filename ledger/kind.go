package ledger

import (
	"fmt"
	"reflect"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Kind is one row of the table of kinds. It holds everything that is particular to one
// kind of record. The row stands in the file of its subject. Every list of kinds is read
// from these rows, here and in the replica, the client and the commands. If a cell is
// left out, the program does not start and names the cell.
type Kind struct {
	// Name is the name of the act in the contract, such as "box_add".
	Name string
	// Called is what people call it, such as "box put".
	Called string
	Class  Class
	May    May
	// Clause is the clause it comes from, or noClause for our own rule.
	Clause string
	By     By
	With   Countersigners
	Way    Way
	Home   Home
	// Elsewhere says whether the journal of a yard other than its home takes it.
	Elsewhere Elsewhere
	Panel     Panel
	Outbox    Outbox
	LowDisk   LowDisk
	Training  Training
	// About is what the act names.
	About func(*recordv1.Record) About
	// Shape checks the fields of the act. It looks at no state.
	Shape func(*fields, *recordv1.Record)
	// Apply is the rule.
	Apply func(*step)
}

// Class says what happens to an act whose signer may not do it.
type Class int

const (
	// Protects: it takes effect, whoever signed it. A broken rule becomes a flag.
	Protects Class = iota + 1
	// Asserts: it is recorded, whoever signed it. It counts only from a person who may
	// do it.
	Asserts
	// Lifts: it is refused unless the signer may do it and every condition is met.
	Lifts
)

// By says whose key signs first.
type By int

const (
	// ByPerson: an enrolled person.
	ByPerson By = iota + 1
	// ByNewcomer: the person who redeems an invitation.
	ByNewcomer
	// ByReplica: the replica of a yard.
	ByReplica
)

// Countersigners says who signs a record beside its signer (decisions.md 21). people are
// those whom the signed bytes name, in the order of their signatures. newKey is the key
// that the record brings in, which signs last. newKey is nil where there is none.
type Countersigners func(*recordv1.Record) (people []string, newKey []byte)

// alone: nobody signs beside the signer.
func alone(*recordv1.Record) ([]string, []byte) { return nil, nil }

// Way is how a record reaches the ledger.
type Way int

const (
	// Direct: straight to the quorum.
	Direct Way = iota + 1
	// ThroughJournal: through the journal of a yard.
	ThroughJournal
)

// Home says which of the things named in a record tells its home yard.
type Home int

const (
	// AtNoYard: no particular yard.
	AtNoYard Home = iota + 1
	// AtPoint, AtBox, AtZone: the home yard of the point, box or zone.
	AtPoint
	AtBox
	AtZone
	// AtTarget: the home yard of the point or box that the lock hangs on. AtFirstPoint:
	// the home yard of the first point, or AtNoYard when the record names none.
	AtTarget
	AtFirstPoint
	// AtJob: the home yard of the job's zone.
	AtJob
	// AtRecord: the home yard of the record that it names.
	AtRecord
)

// Elsewhere says whether the journal of another yard takes a record.
type Elsewhere int

const (
	// TakenElsewhere: any yard takes it.
	TakenElsewhere Elsewhere = iota + 1
	// HomeOnly: only its home yard takes it.
	HomeOnly
)

// Panel says whether an act counts only while nothing has happened at its point since
// the panel was read. Such an act is never sent later. It is done again at the panel
// (decisions.md 3).
type Panel int

const (
	AnyWhere Panel = iota + 1
	AtPanel
)

// Outbox says whether a signed record may wait on its signer's machine until a yard can
// be reached (decisions.md 15).
type Outbox int

const (
	MayWait Outbox = iota + 1
	MayNotWait
)

// LowDisk says whether a yard that is short of disk takes a record (decisions.md 28). It
// takes what protects, and what takes back a permission or a key. It does not take what
// gives permission, or what makes the ledger larger and can wait.
type LowDisk int

const (
	TakenOnLowDisk LowDisk = iota + 1
	NotOnLowDisk
)

// Training says whether the signer needs current training as an authorised employee,
// 1910.147(c)(7)(i). Where it is missing, the record is flagged.
type Training int

const (
	TrainingNeeded Training = iota + 1
	NoTraining
)

// About is what an act names, as far as other lists need it.
type About struct {
	Point, Box, Zone, Job, Request string
	// Record is the reference of the record that the act is about: yard/epoch/number.
	Record string
	// Points are the points, if there are several.
	Points []string
}

// noClause stands for a rule of our own.
const noClause = "our own rule"

// NotThisWay refuses a record of this kind that arrived by the wrong way.
func (k *Kind) NotThisWay() *recordv1.Finding { return WrongWay.About(k.Name, k.Name, k.wayWord()) }

// wayWord is the catalogue word for the way.
func (k *Kind) wayWord() string {
	switch {
	case k.By == ByNewcomer:
		return "way-membership"
	case k.By == ByReplica:
		return "way-replica"
	case k.Way == ThroughJournal:
		return "way-journal"
	}
	return "way-direct"
}

// kind makes a row from its cells and the four functions of its act.
func kind[A any](get func(*recordv1.Record) A, k Kind, about func(A) About, shape func(*fields, A), apply func(*step, A)) Kind {
	if about != nil {
		k.About = func(r *recordv1.Record) About { return about(get(r)) }
	}
	if shape != nil {
		k.Shape = func(f *fields, r *recordv1.Record) { shape(f, get(r)) }
	}
	if apply != nil {
		k.Apply = func(x *step) { apply(x, get(x.rec)) }
	}
	return k
}

var (
	// declared are the rows, as the subject files give them.
	declared []Kind
	// table has every kind by name. ordered has them in the order of the contract.
	table   map[string]*Kind
	ordered []*Kind
)

// declare adds rows to the table. It is called while package variables are set.
func declare(rows ...Kind) struct{} {
	declared = append(declared, rows...)
	return struct{}{}
}

func init() {
	all, err := collect(declared)
	if err != nil {
		panic(err) // a fault of this program: no part of it may run
	}
	ordered, table = all, map[string]*Kind{}
	for _, k := range all {
		table[k.Name] = k
	}
}

// Kinds lists every kind, in the order of the contract.
func Kinds() []*Kind { return slices.Clone(ordered) }

// KindNamed is the row of a kind, or nil when there is none.
func KindNamed(name string) *Kind { return table[name] }

// KindFor is the row of a record's kind, or nil for a record without an act.
func KindFor(r *recordv1.Record) *Kind { return table[KindOf(r)] }

// KindOf names the act of a record, such as "lock". It is empty when there is none.
func KindOf(r *recordv1.Record) string {
	if r == nil {
		return ""
	}
	m := r.ProtoReflect()
	fd := m.WhichOneof(m.Descriptor().Oneofs().ByName("act"))
	if fd == nil {
		return ""
	}
	return string(fd.Name())
}

// collect builds the table. Its error names the kind and the cell that is missing.
func collect(rows []Kind) ([]*Kind, error) {
	byName := map[string]*Kind{}
	for i := range rows {
		k := &rows[i]
		v := reflect.ValueOf(*k)
		for c := range v.NumField() {
			if v.Field(c).IsZero() {
				return nil, fmt.Errorf("kind %q (row %d): the cell %s is missing", k.Name, i+1, v.Type().Field(c).Name)
			}
		}
		if byName[k.Name] != nil {
			return nil, fmt.Errorf("kind %q has two rows", k.Name)
		}
		byName[k.Name] = k
	}
	var out []*Kind
	acts := (&recordv1.Record{}).ProtoReflect().Descriptor().Oneofs().ByName("act").Fields()
	for i := range acts.Len() {
		name := string(acts.Get(i).Name())
		if byName[name] == nil {
			return nil, fmt.Errorf("kind %q of the contract has no row", name)
		}
		out = append(out, byName[name])
		delete(byName, name)
	}
	for name := range byName {
		return nil, fmt.Errorf("kind %q is not in the contract", name)
	}
	return out, nil
}
