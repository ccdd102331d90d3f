package instrument

import "context"

// meterConn is the connection to a meter as a scpi.Conn.
type meterConn meter

func (c *meterConn) Send(ctx context.Context, message string) error {
	c.wire.Forget()
	c.sent = message
	c.options.Log(Event{Time: c.options.Clock(), Kind: Sent, Text: message})
	wait, cancel := context.WithTimeout(ctx, c.profile.Query.Timeout)
	defer cancel()
	return c.wire.Write(wait, []byte(message+c.profile.Port.Terminator))
}

func (c *meterConn) Receive(ctx context.Context) (string, error) {
	for {
		l, err := c.wire.Line(ctx)
		if err != nil {
			return "", err
		}
		if l.Fault != "" {
			c.add(Bad)
			c.options.Log(Event{Time: l.Time, Kind: Bad, Text: l.Text, Reason: string(l.Fault), Incomplete: true})
			continue
		}
		c.add(Answered)
		c.options.Log(Event{Time: l.Time, Kind: Answered, Text: l.Text})
		if c.sent == c.asked {
			c.answered = l.Time
		}
		return l.Text, nil
	}
}
