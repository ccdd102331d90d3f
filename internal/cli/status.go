package cli

import (
	"encoding/json"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/show/table"
	"ohmkeep/internal/store"
	"ohmkeep/internal/text/printable"
	"ohmkeep/internal/watch/service"
	"ohmkeep/internal/web/access"
	"ohmkeep/internal/web/server"
)

func newStatus() *cobra.Command {
	var of, at, tokenFile, certFile string
	var asJSON bool
	c := &cobra.Command{
		Use:   "status",
		Short: "Show the state of the run and of the watch over it",
		Long: `Status queries the watch that writes to a store. It shows two things, the worse first: the
run, by the newest nightly analysis; and the watch itself, with each channel's last good
reading, waiting and lost readings, the store and its disk.

Exit status: 0 the watch is well and nothing of the run is known to fail; 1 an element
of the run is over its limit or changing, the watch is not well, or no watch runs; 2 the
call is wrong; 3 nothing is wrong, but an element is unproven, a channel never had a
good reading, or the clock is uncertain.`,
		Example: `  ohmkeep status --store shelf.db
  ohmkeep status --at 192.0.2.7:9477 --json`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			if (of == "") == (at == "") {
				return callFault(c, "wants --store FILE or --at ADDR")
			}
			if of != "" {
				holder, held, err := store.FindHolder(of)
				switch {
				case err != nil:
					return fileError(err)
				case !held || holder.Address == "":
					return noWatch(c, of, holder, held, asJSON)
				}
				at = holder.Address
			}
			client, err := clientOf(tokenFile, certFile)
			if err != nil {
				return err
			}
			s, raw, err := client.Ask(c.Context(), at)
			if err != nil {
				return fault.Fault{File: of, Text: fmt.Sprintf("the watch at %s does not answer: %v", at, err),
					Hint: "is it running, and is that what its --listen says?"}
			}
			if asJSON {
				_, err = c.OutOrStdout().Write(raw)
			} else {
				err = printStatus(c.OutOrStdout(), s)
			}
			if err != nil {
				return err
			}
			switch s.Verdict() {
			case service.Bad:
				return status(Fails)
			case service.Unproven:
				return status(Unproven)
			}
			return nil
		},
	}
	c.Flags().StringVar(&of, "store", "", "the store, a file; queries the watch that writes to it")
	c.Flags().StringVar(&at, "at", "", "address of the watch to query, host:port or https://host:port")
	c.Flags().StringVar(&tokenFile, "token-file", "", "a file with the watch's token, or a link's secret, if it requires one")
	c.Flags().StringVar(&certFile, "tls-cert", "", "a PEM file with the watch's certificate, accepted as it is")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

// clientOf returns a client with the token and the certificate in files; "" = there is none.
func clientOf(tokenFile, certFile string) (client service.Client, err error) {
	if tokenFile != "" {
		if client.Token, err = access.ReadToken(tokenFile); err != nil {
			return client, err
		}
	}
	if certFile != "" {
		client.Certificate, err = server.ReadCertificate(certFile)
	}
	return client, err
}

// noWatch prints that no watch runs over a store.
func noWatch(c *cobra.Command, of string, last store.Holder, held, asJSON bool) error {
	if asJSON {
		answer := map[string]any{"schema": 1, "well": false, "reasons": []string{"no watch runs"}}
		if err := json.NewEncoder(c.OutOrStdout()).Encode(answer); err != nil {
			return err
		}
		return status(Fails)
	}
	fmt.Fprintf(c.OutOrStdout(), "%s: no watch runs over this store\n", of)
	switch {
	case held:
		fmt.Fprintf(c.OutOrStdout(), "the store is kept by %s\n", last)
	case last.Process > 0:
		fmt.Fprintf(c.OutOrStdout(), "the last was %s, and was cut off\n", last)
	}
	return status(Fails)
}

func printStatus(w io.Writer, s service.Status) error {
	var list []table.Item
	add := func(head, format string, args ...any) {
		list = append(list, table.Item{Head: head, Text: fmt.Sprintf(format, args...)})
	}
	add("", "%s, watched for %s", printable.Line(s.Run), duration(s.Seconds))
	for _, p := range s.Parts() {
		add("", "%s", p.Text)
		for _, detail := range p.Details {
			add("  ", "%s", printable.Line(detail))
		}
	}
	for _, note := range s.Notes {
		add("", "Note: %s", printable.Line(note))
	}
	for _, p := range s.Probes {
		add("", "")
		add("", "probe %s: %d readings stored, %d bad lines, %d unusable values, connection lost %s",
			printable.Line(p.Name), p.Stored, p.Bad, p.Unusable, count(int(p.Lost), "time"))
		for _, ch := range p.Channels {
			place := ch.From
			if ch.To != "" {
				place += " to " + ch.To
			}
			last := "no good reading yet"
			if ch.Age != nil && ch.Value != nil {
				last = fmt.Sprintf("%.6g %s, %s ago", *ch.Value, service.Unit(ch.What), duration(*ch.Age))
			}
			add(fmt.Sprintf("  %-8s %-11s %-32s ", printable.Line(ch.ID), printable.Line(ch.What), printable.Line(place)), "%s", last)
		}
	}
	add("", "")
	add("", "%s waiting to be stored, %d lost; the store was last written to %s ago", count(s.Waiting, "reading"), s.Dropped+s.Refused, duration(s.CommitAge))
	if d := s.Disk; d != nil {
		text := fmt.Sprintf("store %.1f MB, %.1f GB of %.1f GB free", float64(d.Store)/1e6, float64(d.Free)/1e9, float64(d.Size)/1e9)
		if d.Written >= 0 {
			text += fmt.Sprintf("; %.2f GB written to the disk since its machine was started", float64(d.Written)/1e9)
		}
		add("", "%s", text)
	}
	return table.List(w, list, styleOf(w))
}

// duration returns a number of seconds as text in suitable units.
func duration(s float64) string {
	d := time.Duration(s * float64(time.Second))
	switch {
	case d < 10*time.Second:
		return fmt.Sprintf("%.1f s", s)
	case d < 2*time.Minute:
		return fmt.Sprintf("%.0f s", s)
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	case d < 48*time.Hour:
		return fmt.Sprintf("%.0f h", d.Hours())
	}
	return fmt.Sprintf("%.0f days", d.Hours()/24)
}
