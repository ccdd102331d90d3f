// Package runfile reads a run file (TOML) into a run.Run, or reports all its faults.
//
// Reading has two passes. The first reads each table by itself: types, ranges, names, unknown keys.
// The second resolves names and follows the rails from the supplies. It is left out if a line is
// not valid TOML, because a key may be missing for that reason; the rails are followed only if
// there are no other faults.
//
// Defaults of missing keys are stated beside the keys in this package; those without a source are
// common practice.
package runfile

import (
	"fmt"

	"ohmkeep/internal/file"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/toml"
)

// Load reads a run file. The error names the file, or is a fault.List.
func Load(path string) (*run.Run, error) {
	src, err := file.Read(path, file.MaxRunFile)
	if err != nil {
		return nil, err
	}
	return Parse(path, src)
}

// Parse reads the contents of a run file; name is used in messages. The error is a fault.List.
func Parse(name string, src []byte) (*run.Run, error) {
	root := toml.Parse(name, src)
	r := &reader{root: root, run: &run.Run{File: name}}
	r.readAll()
	root.Done()
	if !root.Damaged() {
		r.resolveAll()
	}
	if root.Err() == nil {
		r.checkConnected()
	}
	if err := root.Err(); err != nil {
		return nil, err
	}
	return r.run, nil
}

// reader holds a run while it is read, and the tables of the run's parts by index, for faults found
// in the second pass.
type reader struct {
	root *toml.Table
	run  *run.Run

	strip      settings
	stripTable *toml.Table // nil where the file has none
	places     names       // of supplies and junctions, which share one set
	listed     []run.Joint // the joints listed in the file, before they are matched to reels

	reels, joints, junctions, feeds, steps, checks, probes []*toml.Table
	probeChannels                                          [][]*toml.Table // of each probe
}

const schema = 1

func (r *reader) readAll() {
	if version, ok := r.root.Number("schema"); ok && version != schema {
		r.root.Fault("schema", fmt.Sprintf("%g is not a form of run file known here", version), "write schema = 1")
	} else if !ok && !r.root.Has("schema") {
		r.root.Missing("schema", "write schema = 1")
	}
	r.run.Name = r.readPhrase(r.root)
	r.run.Site = readText(r.root, "site")
	r.run.Ambient = readNumberOr(r.root, "ambient_celsius", 20, ambient)
	r.readInstallation()
	r.readStrip()
	r.readSupplies()
	r.readReels()
	r.readJoints()
	r.readJunctions()
	r.readFeeds()
	r.readSteps()
	r.readMeters()
	r.readBroker()
	r.readProbes()
	r.readChecks()
	r.readLimits()
}

func (r *reader) resolveAll() {
	r.resolveReels()
	r.makeJoints()
	r.resolveFeeds()
	r.resolveSteps()
	r.resolveProbes()
	r.resolveChecks()
}
