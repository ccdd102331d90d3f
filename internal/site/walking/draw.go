package walking

import (
	"bytes"
	"encoding/json"
	"net/http"
	"strings"

	"ohmkeep/internal/run/runfile"
	"ohmkeep/internal/run/scaffold"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/site/parts"
)

// Drawing is the page that describes a run before there is a run file: the questions of ohmkeep new, one
// at a time, with the run drawn as it is answered. It answers these paths:
//
//	GET  /new        the page
//	POST /new/check  Draft, JSON; the answer is what is wrong and the run as drawn, a Checked
//	POST /new/write  Draft, JSON; writes the run file, and the answer is a Written
type Drawing struct {
	// Write writes a new run file, never over an existing one, and begins the walk along it. An empty name
	// means the usual one; it returns the name that was used.
	Write    func(text []byte, o scaffold.Options, file string) (string, error)
	Usual    func(scaffold.Options) string // the usual name of the run file
	Program  string                        // version
	MayWrite func(*http.Request) bool
}

var drawPage = parts.NewPage(embedded, nil, "draw.html")

// Draft is what a person has answered so far.
type Draft struct {
	Answers map[string]string `json:"answers"` // by Question.Key; left out or "" = the usual answer
	File    string            `json:"file"`    // name of the run file; "" = the usual one
	Width   int               `json:"width"`   // of the picture, px
}

// Checked is what is known of a draft.
type Checked struct {
	Schema  int               `json:"schema"`
	Faults  map[string]string `json:"faults"`  // by Question.Key
	Run     string            `json:"run"`     // what is wrong with the run as a whole; "" = nothing
	Values  map[string]string `json:"values"`  // the answers as they are taken, by Key
	Asked   []string          `json:"asked"`   // the questions that make sense, by Key
	File    string            `json:"file"`    // the usual name of the run file
	Picture string            `json:"picture"` // SVG; "" while the answers make no run
	Fed     map[string]string `json:"fed"`     // SVG of the run fed in each way, small
}

// Written is where a run file was written.
type Written struct {
	File string `json:"file"`
	To   string `json:"to"` // the page of the walk along it
}

// Handler returns the handler of the paths.
func (d *Drawing) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /new", d.page)
	mux.HandleFunc("POST /new/check", d.check)
	mux.HandleFunc("POST /new/write", d.write)
	mux.Handle("GET "+parts.Root, parts.Files(fileSystem()))
	return mux
}

func (d *Drawing) page(w http.ResponseWriter, r *http.Request) {
	type question struct {
		scaffold.Question
		Usual   string
		Numeric bool
	}
	var list []question
	o := scaffold.Usual()
	for _, q := range scaffold.List() {
		value := q.Value(o)
		list = append(list, question{q, value, strings.Trim(value, "0123456789.,") == ""})
	}
	drawPage.Write(w, r, http.StatusOK, parts.Head{Title: "Describe the run", Styles: []string{"walk.css"}, Scripts: []string{"draw.js"}, Program: d.Program},
		struct {
			Questions []question
			MayWrite  bool
		}{list, d.MayWrite(r)})
}

// options returns the options of a draft, and what is wrong with its answers.
func (f Draft) options() (o scaffold.Options, faults map[string]string, asked []string) {
	o, faults = scaffold.Usual(), map[string]string{}
	for _, q := range scaffold.List() {
		if !q.Asked(o) {
			continue
		}
		asked = append(asked, q.Key)
		if err := q.Answer(&o, f.Answers[q.Key]); err != nil {
			faults[q.Key] = wording.Capital(err.Error()) + "."
		}
	}
	return o, faults, asked
}

// draw returns the run of options as SVG.
func draw(o scaffold.Options, width int) (string, error) {
	var text, picture bytes.Buffer
	if err := scaffold.Write(&text, o); err != nil {
		return "", err
	}
	r, err := runfile.Parse("", text.Bytes())
	if err != nil {
		return "", err
	}
	err = chart.Hang(r, nil, chart.Lit{}, min(max(width, minWidth), maxWidth)).Inline(&picture)
	return picture.String(), err
}

// read reads a draft. Where it cannot, or the visitor may read only, it answers itself and returns false.
func (d *Drawing) read(w http.ResponseWriter, r *http.Request) (f Draft, ok bool) {
	if !d.MayWrite(r) {
		answer(w, http.StatusForbidden, failure{Error: "you may read only"})
		return f, false
	}
	if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, 1<<14)).Decode(&f); err != nil {
		answer(w, http.StatusBadRequest, failure{Error: "not the JSON of a draft: " + err.Error()})
		return f, false
	}
	return f, true
}

// fedWidth is the width of the small pictures of the ways to feed a run, px: two reels fit beside each other.
const fedWidth = 460

func (d *Drawing) check(w http.ResponseWriter, r *http.Request) {
	f, ok := d.read(w, r)
	if !ok {
		return
	}
	o, faults, asked := f.options()
	c := Checked{Schema: schema, Faults: faults, Asked: asked, Values: map[string]string{}, File: d.Usual(o), Fed: map[string]string{}}
	for _, q := range scaffold.List() {
		c.Values[q.Key] = q.Value(o)
	}
	var err error
	if c.Picture, err = draw(o, f.Width); err != nil {
		c.Run = wording.Capital(err.Error())
	}
	for i, word := range scaffold.FedNames {
		way := o
		way.Fed = scaffold.Fed(i)
		c.Fed[word], _ = draw(way, fedWidth) // without a picture the word remains
	}
	answer(w, http.StatusOK, c)
}

func (d *Drawing) write(w http.ResponseWriter, r *http.Request) {
	f, ok := d.read(w, r)
	if !ok {
		return
	}
	o, faults, _ := f.options()
	for _, fault := range faults {
		answer(w, http.StatusUnprocessableEntity, failure{Error: fault})
		return
	}
	var text bytes.Buffer
	err := scaffold.Write(&text, o)
	var file string
	if err == nil {
		file, err = d.Write(text.Bytes(), o, f.File)
	}
	if err != nil {
		answer(w, http.StatusUnprocessableEntity, failure{Error: wording.Capital(err.Error()) + "."})
		return
	}
	answer(w, http.StatusOK, Written{file, "/walk"})
}
