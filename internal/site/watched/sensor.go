package watched

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"time"

	"ohmkeep/internal/run"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/store"
	"ohmkeep/internal/text/printable"
)

var sensorPage = parts.NewPage(files, nil, "sensor.html", "window.html")

// Periods of a picture and of the table beside it, and the longest that reading the store may take.
const (
	periods     = 240
	tableRows   = 12
	readTimeout = 20 * time.Second
)

// period is one period in the table.
type period struct{ From, To, Min, Mean, Max, N string }

// sensor is the data of the page of a sensor.
type sensor struct {
	state
	Run       string
	Channel   channelRow
	Title     string
	Picture   picture
	Window    window
	Fields    fields
	All       period
	Periods   []period
	Hourly    bool
	Away      bool // the run's watch is elsewhere
	Probe, ID string
}

// sensor answers with the page of one channel of a probe: what was measured at its place over a time.
func (p *Pages) sensor(w http.ResponseWriter, r *http.Request) {
	revision := p.present()
	query := r.URL.Query()
	probe, id := query.Get("probe"), query.Get("channel")
	status, of := p.source.Status(), p.source.Run()
	channels := p.liveOf(status, 0).Channels
	i := slices.IndexFunc(channels, func(c Channel) bool { return c.Probe == probe && c.ID == id && c.From != "" })
	if i < 0 {
		http.Error(w, fmt.Sprintf("no probe %q has a channel %q with its place in the run", printable.Short(probe, 40), printable.Short(id, 40)), http.StatusNotFound)
		return
	}
	c := channels[i]
	first, last, err := p.records.Span(r.Context(), of.Name)
	if err != nil {
		http.Error(w, "the store cannot be read: "+err.Error(), http.StatusInternalServerError)
		return
	}
	if first.IsZero() {
		first, last = status.Time.Add(-time.Hour), status.Time
	}
	if query.Get("last") == "" && query.Get("from") == "" && query.Get("to") == "" && query.Get("all") == "" && last.Sub(first) > day {
		query.Set("last", "day")
	}
	data := sensor{Run: printable.Short(of.Name, 120), state: stateAt(revision, status.Time), Channel: rowOf(c, status.Time), Probe: probe, ID: id, Away: p.o.Away != nil,
		Window: windowOf("sensor", query, record{first, last, last, sensorLengths, localTime})}
	data.Title, data.Fields = data.Channel.What, fields{data.Window, "datetime-local"}
	buckets, err := p.read(r.Context(), of.Name, c, data.Window)
	if err != nil {
		http.Error(w, "the store cannot be read: "+err.Error(), http.StatusServiceUnavailable)
		return
	}
	events := p.notesWithin(r.Context(), of.Name, data.Window)
	data.Picture, err = draw(func(width int) *chart.Picture {
		o := chart.Overview{Title: data.Title, Unit: c.Unit, Zone: time.Local, Events: events}
		per := 1
		if width == phone {
			per = 2
		}
		for at := 0; at < len(buckets); at += per {
			o.Buckets = append(o.Buckets, chartBucket(together(buckets[at:min(at+per, len(buckets))])))
		}
		return o.Draw(width)
	})
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	q := quantityOf(c)
	data.All = periodOf(q, together(buckets))
	for at := 0; at < len(buckets); at += len(buckets) / tableRows {
		data.Periods = append(data.Periods, periodOf(q, together(buckets[at:min(at+len(buckets)/tableRows, len(buckets))])))
	}
	data.Hourly = slices.ContainsFunc(buckets, func(b store.Bucket) bool { return b.Hourly })
	sensorPage.Write(w, r, http.StatusOK, p.head(data.Title+", "+data.Run), data)
}

// read returns what was measured at the place of a channel in a window, by this probe or an earlier
// one. One page at a time reads the store.
func (p *Pages) read(ctx context.Context, runName string, c Channel, w window) ([]store.Bucket, error) {
	ctx, cancel := context.WithTimeout(ctx, readTimeout)
	defer cancel()
	p.reading.Lock()
	defer p.reading.Unlock()
	q := quantityOf(c)
	sel := store.Selection{Run: runName, Quantity: &q, From: c.From, To: c.To, Since: w.From, Until: w.To}
	buckets, err := p.records.MinMeanMax(ctx, sel, periods)
	if errors.Is(err, context.DeadlineExceeded) {
		err = fmt.Errorf("it takes more than %v; choose a shorter time", readTimeout)
	}
	return buckets, err
}

// notesWithin returns the notes in a window for the picture; none where they cannot be read.
func (p *Pages) notesWithin(ctx context.Context, runName string, w window) (out []chart.Event) {
	marks, err := p.records.NewestMarks(ctx, runName, store.MarkNote, "", mostEvents)
	if err != nil {
		return nil
	}
	for _, m := range marks {
		if !m.Time.Before(w.From) && m.Time.Before(w.To) {
			out = append(out, chart.Event{Time: m.Time, Text: m.Text})
		}
	}
	return out
}

func quantityOf(c Channel) run.Quantity {
	return map[string]run.Quantity{"voltage": run.Voltage, "current": run.Current, "temperature": run.Temperature}[c.Quantity]
}

// together returns periods that follow one another as one.
func together(buckets []store.Bucket) store.Bucket {
	all := store.Bucket{From: buckets[0].From, To: buckets[len(buckets)-1].To}
	sum := 0.0
	for _, b := range buckets {
		if b.N == 0 {
			continue
		}
		if all.N == 0 {
			all.Min, all.Max = b.Min, b.Max
		}
		all.Min, all.Max = min(all.Min, b.Min), max(all.Max, b.Max)
		all.N += b.N
		sum += b.Mean * float64(b.N)
		all.Hourly = all.Hourly || b.Hourly
	}
	if all.N > 0 {
		all.Mean = sum / float64(all.N)
	}
	return all
}

func chartBucket(b store.Bucket) chart.Bucket {
	return chart.Bucket{From: b.From, To: b.To, N: b.N, Min: b.Min, Mean: b.Mean, Max: b.Max}
}

// periodOf returns a period in words.
func periodOf(q run.Quantity, b store.Bucket) period {
	const layout = "2 Jan 2006, 15:04"
	out := period{From: b.From.Local().Format(layout), To: b.To.Local().Format(layout), N: fmt.Sprint(b.N)}
	if b.N > 0 {
		out.Min, out.Mean, out.Max = wording.Value(q, b.Min), wording.Value(q, b.Mean), wording.Value(q, b.Max)
	}
	return out
}
