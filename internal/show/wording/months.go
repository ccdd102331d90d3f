package wording

import (
	"math"
	"slices"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// Month is one month of an element in words; resistances are in mΩ.
type Month struct {
	Month, Median, Low, High string
	Nights, Apart            int    // nights with a value; of those, how many contradict their neighbours
	What                     string // what happened in it
}

// Months returns a line for each month that has nights.
func Months(s history.Series) []Month {
	var rows []Month
	for i := 0; i < len(s.Nights); {
		month := s.Nights[i].Time.UTC().Format("2006-01")
		row := Month{Month: month}
		var ohms []float64
		for ; i < len(s.Nights) && s.Nights[i].Time.UTC().Format("2006-01") == month; i++ {
			row.Nights++
			if s.Nights[i].Outlier {
				row.Apart++
			} else {
				ohms = append(ohms, s.Nights[i].Ohms)
			}
		}
		slices.Sort(ohms)
		at := func(part float64) string {
			if len(ohms) == 0 {
				return number.MilliohmTenths(math.NaN())
			}
			return number.MilliohmTenths(ohms[int(part*float64(len(ohms)-1))])
		}
		row.Low, row.Median, row.High = at(0), at(0.5), at(1)
		tell := func(when time.Time, what string) {
			if when.UTC().Format("2006-01") == month {
				if row.What != "" {
					row.What += "; "
				}
				row.What += what
			}
		}
		for _, c := range s.Changes {
			tell(c.Time, ChangeWord(c.Shape))
		}
		for _, m := range s.Marks {
			tell(m.Time, printable.Short(m.Text, 60))
		}
		rows = append(rows, row)
	}
	return rows
}
