package jsondoc

import (
	"io"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/wording"
)

// DriftDoc is what drift prints.
type DriftDoc struct {
	Schema    int         `json:"schema"`
	Run       string      `json:"run"`
	Last      Date        `json:"last"`       // reading
	LastCheck Date        `json:"last_check"` // step
	Series    []SeriesDoc `json:"series"`
}

// SeriesDoc is an element over the years, at 20 °C; the rate is of the latest stretch
// without a change.
type SeriesDoc struct {
	Kind             run.Kind        `json:"kind"`
	Name             string          `json:"name"`
	Rail             run.Rail        `json:"rail"`
	First            Date            `json:"first"`
	Last             Date            `json:"last"`
	Milliohms        Number          `json:"milliohms"`
	Low              Number          `json:"low"`
	High             Number          `json:"high"`
	MilliohmsPerYear Number          `json:"milliohms_per_year"`
	PerYearLow       Number          `json:"per_year_low"`
	PerYearHigh      Number          `json:"per_year_high"`
	Changes          []ChangeDoc     `json:"changes"`
	Marks            []MarkDoc       `json:"marks"`
	LimitMilliohms   *Number         `json:"limit_milliohms,omitempty"`
	ReachesLimit     ForecastDoc     `json:"reaches_limit"`
	Verdict          history.Verdict `json:"verdict"`
	Nights           int             `json:"nights"`
	Temperature      bool            `json:"temperature"` // it was read
	Why              string          `json:"why,omitempty"`
	Covers           string          `json:"covers,omitempty"`
}

// ChangeDoc is a change of a series; resistances in milliohms. Earliest and latest are the
// 95 % interval of its time, null where it is not known.
type ChangeDoc struct {
	Time     Date          `json:"time"`
	Earliest Date          `json:"earliest"`
	Latest   Date          `json:"latest"`
	Shape    history.Shape `json:"shape"`
	Before   Number        `json:"before"`
	After    Number        `json:"after"`
	Called   Date          `json:"called"`
}

// MarkDoc is a note, with the resistance before and after it in milliohms.
type MarkDoc struct {
	Time   Date   `json:"time"`
	Text   string `json:"text"`
	Before Number `json:"before"`
	After  Number `json:"after"`
}

// ForecastDoc is when a limit is reached.
type ForecastDoc struct {
	Earliest Date   `json:"earliest"`
	Likely   Date   `json:"likely"`
	Latest   Date   `json:"latest"`
	Text     string `json:"text"`
}

// Drift writes a history. The error is the writer's.
func Drift(w io.Writer, h *history.History) error {
	return write(w, "drift", DriftDoc{Schema: schema, Run: wording.RunName(h.Run), Last: Date(h.Last), LastCheck: Date(h.Check),
		Series: list(h.Series, seriesDoc)})
}

func seriesDoc(s history.Series) SeriesDoc {
	d := SeriesDoc{Kind: s.Kind, Name: s.Name, Rail: s.Rail, First: Date(s.First), Last: Date(s.Last),
		Milliohms: milli(s.Ohms), Low: milli(s.Low), High: milli(s.High),
		MilliohmsPerYear: milli(s.PerYear), PerYearLow: milli(s.PerYearLow), PerYearHigh: milli(s.PerYearHigh),
		Changes: list(s.Changes, func(c history.Change) ChangeDoc {
			return ChangeDoc{Date(c.Time), Date(c.Earliest), Date(c.Latest), c.Shape, milli(c.Before), milli(c.After), Date(c.Detected)}
		}),
		Marks: list(s.Marks, func(m history.Mark) MarkDoc {
			return MarkDoc{Date(m.Time), m.Text, milli(m.Before), milli(m.After)}
		}),
		LimitMilliohms: optional(milli(s.Limit)),
		ReachesLimit:   ForecastDoc{Date(s.Reaches.Earliest), Date(s.Reaches.Likely), Date(s.Reaches.Latest), s.Reaches.Text},
		Verdict:        s.Verdict, Nights: len(s.Nights), Temperature: s.TemperatureRead, Why: s.Why}
	if s.Kind == run.KindReel {
		d.Covers = "all of its copper"
	}
	return d
}
