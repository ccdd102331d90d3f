package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/store"
	"ohmkeep/internal/text/printable"
	"ohmkeep/internal/watch/service"
)

func newStatus() *cobra.Command {
	var of, at string
	var asJSON bool
	c := &cobra.Command{
		Use:   "status",
		Short: "Tell whether the watch over a store is well",
		Long: `Status asks the watch that writes to a store how everything fares: each channel's last
good reading, what waits and what was lost, the store and its disk.

Exit status: 0 all is well; 1 something is not, or nobody watches; 2 the call is
wrong; 3 nothing is wrong, but a channel was never heard or the clock is uncertain.`,
		Example: `  ohmkeep status --store shelf.db
  ohmkeep status --at 192.0.2.7:9477 --json`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			if (of == "") == (at == "") {
				return callFault(c, "wants --store FILE or --at ADDR")
			}
			if of != "" {
				keeper, held, err := store.WhoKeeps(of)
				switch {
				case err != nil:
					return reason(err)
				case !held || keeper.Address == "":
					return nobody(c, of, keeper, held, asJSON)
				}
				at = keeper.Address
			}
			raw, s, err := fetch(c.Context(), at)
			if err != nil {
				return fault.Fault{File: of, Text: fmt.Sprintf("the watch at %s does not answer: %v", at, err),
					Hint: "is it running, and is that what its --listen says?"}
			}
			if asJSON {
				_, err = c.OutOrStdout().Write(raw)
			} else {
				err = tell(c.OutOrStdout(), s)
			}
			if err != nil {
				return err
			}
			return verdictOf(s)
		},
	}
	c.Flags().StringVar(&of, "store", "", "the store, a file; the watch over it is asked")
	c.Flags().StringVar(&at, "at", "", "the watch that answers there is asked, host:port")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

// nobody says that nobody watches a store.
func nobody(c *cobra.Command, of string, last store.Keeper, held, asJSON bool) error {
	if asJSON {
		answer := map[string]any{"schema": 1, "well": false, "reasons": []string{"nobody watches"}}
		if err := json.NewEncoder(c.OutOrStdout()).Encode(answer); err != nil {
			return err
		}
		return status(Fails)
	}
	fmt.Fprintf(c.OutOrStdout(), "%s: nobody watches\n", of)
	switch {
	case held:
		fmt.Fprintf(c.OutOrStdout(), "the store is kept by %s\n", last)
	case last.Process > 0:
		fmt.Fprintf(c.OutOrStdout(), "the last was %s, and was cut off\n", last)
	}
	return status(Fails)
}

// patience is how long a watch may take to answer.
const patience = 5 * time.Second

func fetch(ctx context.Context, at string) (raw []byte, s service.Status, err error) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+at+"/status", nil)
	if err != nil {
		return nil, s, errors.New("this is no address such as 127.0.0.1:9477")
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return nil, s, silence(err)
	}
	defer answer.Body.Close()
	const most = 1 << 22
	if raw, err = io.ReadAll(io.LimitReader(answer.Body, most)); err != nil {
		return nil, s, err
	}
	if answer.StatusCode != http.StatusOK || json.Unmarshal(raw, &s) != nil || s.Schema != 1 {
		return nil, s, errors.New("whoever answers there is no watch of this version")
	}
	return raw, s, nil
}

// silence says why nobody answers, in place of the calls that did not succeed.
func silence(err error) error {
	var network net.Error
	var name *net.DNSError
	switch {
	case errors.Is(err, context.Canceled):
		return context.Canceled
	case errors.As(err, &name):
		return fmt.Errorf("no machine is known as %s", name.Name)
	case errors.Is(err, syscall.ECONNREFUSED):
		return errors.New("nothing listens there")
	case errors.As(err, &network) && network.Timeout():
		return fmt.Errorf("nothing came within %v", patience)
	case errors.Is(err, io.EOF):
		return errors.New("whoever is there says nothing")
	}
	return errors.New("it cannot be reached")
}

// verdictOf gives the exit status.
func verdictOf(s service.Status) error {
	if !s.Well {
		return status(Fails)
	}
	for _, p := range s.Probes {
		for _, ch := range p.Channels {
			if ch.Age == nil {
				return status(Unproven)
			}
		}
	}
	if !s.Certain {
		return status(Unproven)
	}
	return nil
}

func tell(w io.Writer, s service.Status) error {
	well := "well"
	if !s.Well {
		well = "not well"
	}
	fmt.Fprintf(w, "%s: %s, watched for %s\n", printable.Line(s.Run), well, span(s.Seconds))
	for _, reason := range s.Reasons {
		fmt.Fprintf(w, "  %s\n", printable.Line(reason))
	}
	for _, note := range s.Notes {
		fmt.Fprintf(w, "  %s\n", printable.Line(note))
	}
	for _, p := range s.Probes {
		fmt.Fprintf(w, "\nprobe %s: %d readings stored, %d bad lines, %d unusable values, lost %s\n",
			printable.Line(p.Name), p.Stored, p.Bad, p.Unusable, count(int(p.Lost), "time"))
		for _, ch := range p.Channels {
			place := ch.From
			if ch.To != "" {
				place += " to " + ch.To
			}
			last := "never heard"
			if ch.Age != nil && ch.Value != nil {
				last = fmt.Sprintf("%.6g %s, %s ago", *ch.Value, siOf[ch.What], span(*ch.Age))
			}
			fmt.Fprintf(w, "  %-8s %-11s %-32s %s\n", printable.Line(ch.ID), printable.Line(ch.What), printable.Line(place), last)
		}
	}
	fmt.Fprintf(w, "\n%s waiting, %d lost; the last commit was %s ago\n", count(s.Waiting, "reading"), s.Dropped+s.Refused, span(s.CommitAge))
	if d := s.Disk; d != nil {
		fmt.Fprintf(w, "store %.1f MB, %.1f GB of %.1f GB free", float64(d.Store)/1e6, float64(d.Free)/1e9, float64(d.Size)/1e9)
		if d.Written >= 0 {
			fmt.Fprintf(w, "; %.2f GB written to the disk since its machine was started", float64(d.Written)/1e9)
		}
		fmt.Fprintln(w)
	}
	return nil
}

var siOf = map[string]string{"voltage": "V", "current": "A", "temperature": "°C"}

// span writes seconds as a person says them.
func span(s float64) string {
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
