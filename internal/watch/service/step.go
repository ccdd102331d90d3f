package service

import (
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/watch/recorder"
)

// maxBody is the largest number of bytes of a request, more than any name of a step needs.
const maxBody = 4096

// step receives the name of the step that is shown from now on: as the body itself, as "step" in a
// form or a JSON object, or as ?step=. An empty name means that the step is unknown. settle is the
// settling time in seconds, at most a minute.
func (d *Daemon) step(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
	if err != nil {
		http.Error(w, "the body is too long", http.StatusRequestEntityTooLarge)
		return
	}
	name, settle, err := announcement(r.URL.Query(), r.Header.Get("Content-Type"), strings.TrimRight(string(body), "\r\n"))
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	sender, _, _ := net.SplitHostPort(r.RemoteAddr) // the server wrote it
	switch err := d.recorder.Announce(name, settle, sender); {
	case errors.Is(err, recorder.ErrTooOften):
		http.Error(w, err.Error(), http.StatusTooManyRequests)
		return
	case err != nil:
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

// announcement returns the step's name and its settling time from a request.
func announcement(query url.Values, content, body string) (name string, settle time.Duration, err error) {
	kind, _, _ := mime.ParseMediaType(content)
	form := query
	switch {
	case kind == "application/json":
		var object struct {
			Step   *string `json:"step"`
			Settle float64 `json:"settle"`
		}
		if err := json.Unmarshal([]byte(body), &object); err != nil || object.Step == nil {
			return "", 0, fault.Fault{Text: "the body is not a JSON object with a text named step"}
		}
		settle, err := settlingTime(object.Settle)
		return *object.Step, settle, err
	case strings.HasPrefix(body, "step="): // what a form sends, also under another content type
		if form, err = url.ParseQuery(body); err != nil {
			return "", 0, fault.Fault{Text: "the body is not a form"}
		}
	case body != "":
		name = body
	}
	if name == "" {
		name = form.Get("step")
	}
	text := form.Get("settle")
	if text == "" {
		text = query.Get("settle")
	}
	if text == "" {
		return name, 0, nil
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		x = -1 // refused below
	}
	settle, err = settlingTime(x)
	return name, settle, err
}

// settlingTime converts a settling time in s, 0 to 60, to a duration.
func settlingTime(x float64) (time.Duration, error) {
	if !(x >= 0 && x <= recorder.MaxSettle.Seconds()) {
		return 0, fault.Fault{Key: "settle", Text: "is not a number of seconds that a step may take to settle", Hint: "0 to 60"}
	}
	return time.Duration(x * float64(time.Second)), nil
}
