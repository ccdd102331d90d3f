package cli

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/file"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/report"
	"ohmkeep/internal/text/printable"
)

// maxReport is the largest size of a report, in bytes.
const maxReport = 256 << 20

func newVerify() *cobra.Command {
	return &cobra.Command{
		Use:   "verify REPORT",
		Short: "Compute a report again from what is inside it, and say whether every number follows",
		Long: `Verify takes the run file and the readings out of a report that assess --report wrote,
makes the report again, and compares the two: every number of its tables, its pictures, and
the texts inside. A report of another version of the program is compared by its numbers,
verdicts and names, the last digit within one.

It finds what was changed after the report was made; it cannot know whether the readings
were taken as the report says.

Exit status: 0 every number follows, 1 one does not, 2 there is no such report.`,
		Example: "  ohmkeep verify shelf.html",
		Args:    exactly("REPORT"),
		RunE: func(c *cobra.Command, args []string) error {
			content, err := file.Read(args[0], maxReport)
			if err != nil {
				return err
			}
			v, err := during(c, "computing it again", func() (*report.Verification, error) { return report.Verify(args[0], content, version()) })
			if err != nil {
				return err
			}
			return printVerification(c.OutOrStdout(), args[0], v)
		},
	}
}

func printVerification(w io.Writer, name string, v *report.Verification) error {
	if v.Other {
		fmt.Fprintf(w, "%s: made by ohmkeep %s, not by this one: numbers, verdicts and names are compared, other words and pictures are not\n", name, printable.Short(v.Program, 120))
	}
	if len(v.Faults) == 0 {
		_, err := fmt.Fprintf(w, "%s: every number follows from the run file and the readings inside\n", name)
		return err
	}
	for _, fault := range v.Faults {
		fmt.Fprintf(w, "%s: %s\n", name, printable.Line(fault))
	}
	by := ""
	if v.Other {
		by = " by this version; the one that made it compares everything"
	}
	if _, err := fmt.Fprintf(w, "%s: not everything follows from the run file and the readings inside%s\n", name, by); err != nil {
		return err
	}
	return status(Fails)
}

// reportOf makes the report of a run file and readings; known is their fit, if there is one.
func reportOf(runFile string, r *runWithProfiles, readings []reading.Reading, from *source, known *report.Fitted) (*report.Report, error) {
	in := report.Input{Readings: readings, Repairs: from.repairs, Stretches: from.stretches, Made: time.Now(), Program: version()}
	if from.single != nil {
		in.Readings = from.single
	}
	var err error
	if in.RunFile, err = file.Read(runFile, file.MaxRunFile); err != nil {
		return nil, err
	}
	for _, p := range r.Probes {
		if !profile.Own(p.Profile) {
			continue
		}
		text, err := profile.ReadOwn(p.Profile, runFile)
		if err != nil {
			return nil, err
		}
		in.Profiles = append(in.Profiles, report.Profile{Name: p.Profile, Text: string(text)})
	}
	return report.Make(in, known)
}
