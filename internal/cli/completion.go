package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"ohmkeep/internal/run/runfile"
)

// completeRuns offers run files as the first argument and readings as the second.
func completeRuns(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	if len(args) == 0 {
		return []string{"toml"}, cobra.ShellCompDirectiveFilterFileExt
	}
	return []string{"csv"}, cobra.ShellCompDirectiveFilterFileExt
}

// completeSteps offers the steps of the run file named as first argument.
func completeSteps(_ *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
	var names []string
	if len(args) > 0 {
		if r, err := runfile.Load(args[0]); err == nil {
			for _, s := range r.Steps {
				if strings.HasPrefix(s.Name, begun) {
					names = append(names, s.Name)
				}
			}
		}
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}

// completeElements offers the joints, feeds, reels and supplies of the run file named as
// first argument.
func completeElements(_ *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
	var names []string
	if len(args) > 0 {
		if r, err := runfile.Load(args[0]); err == nil {
			for _, name := range elementNames(r) {
				if strings.HasPrefix(name, begun) {
					names = append(names, name)
				}
			}
		}
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}

// addCompletionExamples adds to the help of each shell's completion how to load the script.
func addCompletionExamples(root *cobra.Command) {
	once := map[string]string{
		"bash":       "source <(%s)",
		"zsh":        "source <(%s)",
		"fish":       "%s | source",
		"powershell": "%s | Out-String | Invoke-Expression",
	}
	for _, c := range root.Commands() {
		if c.Name() != "completion" {
			continue
		}
		c.Example = "  source <(" + c.CommandPath() + " bash)"
		for _, shell := range c.Commands() {
			if form, ok := once[shell.Name()]; ok {
				shell.Example = "  " + fmt.Sprintf(form, shell.CommandPath())
			}
		}
	}
}
