package replica

import "github.com/hashicorp/raft"

// Patient is the transport that this replica gives raft.
func Patient(t *raft.NetworkTransport) raft.Transport { return &patient{t} }

// VoterIDs gives the raft id of each yard's voters, as this replica knows them.
func (r *Replica) VoterIDs() map[string][]string {
	out := map[string][]string{}
	for _, s := range r.node.Members().Servers {
		if s.Voter {
			out[s.Yard] = append(out[s.Yard], s.ID)
		}
	}
	return out
}

// LookAtDisk measures the disk now, as the replica does every second.
func (r *Replica) LookAtDisk() { r.lookAtDisk() }
