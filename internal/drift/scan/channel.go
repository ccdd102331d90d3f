package scan

import (
	"ohmkeep/internal/run"
)

type channelKey struct {
	quantity run.Quantity
	from, to string
}

// describe returns the channel of a reading. Names that the run does not have come from an earlier
// run file; their readings are ignored.
func (c *Collector) describe(key channelKey) channel {
	ch := channel{quantity: key.quantity, from: key.from, to: key.to, place: -1, feed: -1, reel: -1, sign: 1, next: -1}
	switch key.quantity {
	case run.Voltage:
		from, err1 := c.run.Point(key.from)
		to, err2 := c.run.Point(key.to)
		if err1 != nil || err2 != nil || from.Place != to.Place || from.Rail == to.Rail {
			return ch
		}
		if from.Rail == run.Minus {
			ch.sign = -1
		}
		ch.place = c.place(from.Place)
	case run.Current:
		ch.feed = c.run.FeedIndex(key.from)
	case run.Temperature:
		ch.feed, ch.reel = c.run.FeedIndex(key.from), c.run.ReelIndex(key.from)
	}
	return ch
}

func (c *Collector) place(p run.Place) int {
	for i, known := range c.Places {
		if known == p {
			return i
		}
	}
	c.Places, c.ReadPlaces = append(c.Places, p), append(c.ReadPlaces, false)
	return len(c.Places) - 1
}
