package cli

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"ohmkeep/internal/fault"
)

// exactly accepts one argument for each of the names.
func exactly(words ...string) cobra.PositionalArgs {
	return argsFrom(len(words), words...)
}

// argsFrom accepts at least a given number of arguments and at most one for each name.
func argsFrom(least int, words ...string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) >= least && len(args) <= len(words) {
			return nil
		}
		if len(words) == 0 {
			return callFault(c, "takes no argument such as %q", args[0])
		}
		return callFault(c, "wants %s, not %s", strings.Join(words, " "), count(len(args), "argument"))
	}
}

// callFault returns the error of a command that was called wrongly.
func callFault(c *cobra.Command, format string, args ...any) error {
	return fmt.Errorf("%s: %w (see %[1]s --help)", c.CommandPath(), fmt.Errorf(format, args...))
}

// checkStoreFlag returns an error if a command that needs a store was called without one.
func checkStoreFlag(c *cobra.Command, path string) error {
	if path == "" {
		return callFault(c, "wants --store FILE")
	}
	return nil
}

// flagFault returns the error of a flag: with the fault of its value where there is one,
// and without the names of functions that the number parser adds. For durations it states
// how they are written.
func flagFault(c *cobra.Command, err error) error {
	wrong, ok := errors.AsType[*pflag.InvalidValueError](err)
	if !ok {
		return callFault(c, "%w", err)
	}
	text := strings.TrimSuffix(wrong.Error(), ": "+wrong.Unwrap().Error())
	if own, ok := errors.AsType[fault.Fault](err); ok {
		text += ": " + own.Error()
	} else if wrong.GetFlag().Value.Type() == "duration" {
		text += ": a number and its unit, such as 10s, 5m or 1h"
	}
	return callFault(c, "%s", text)
}

// checkCommand returns an error if a word in the place of a command is not a command.
func checkCommand(root *cobra.Command, args []string) error {
	c, rest, _ := root.Find(args) // its error has more than one line
	if !c.HasSubCommands() || len(rest) == 0 || strings.HasPrefix(rest[0], "-") {
		return nil
	}
	word := rest[0]
	if word == cobra.ShellCompRequestCmd || word == cobra.ShellCompNoDescRequestCmd {
		return nil // the shell asks, through a command that is made when it is called
	}
	return unknownCommand(c, word)
}

func unknownCommand(c *cobra.Command, word string) error {
	var names []string
	for _, sub := range c.Commands() {
		names = append(names, sub.Name())
	}
	return fmt.Errorf("%s: unknown command %q (%s)", c.CommandPath(), word, fault.Suggest(word, names))
}

func newHelp() *cobra.Command {
	return &cobra.Command{
		Use:     "help [COMMAND | TOPIC]",
		Short:   "Show what a command does, with examples, or what a topic is about",
		Example: "  ohmkeep help assess\n  ohmkeep help probe check\n  ohmkeep help run-file",
		RunE: func(c *cobra.Command, args []string) error {
			about, rest, _ := c.Root().Find(args)
			if len(rest) > 0 {
				return unknownCommand(about, rest[0])
			}
			about.InitDefaultHelpFlag()
			return about.Help()
		},
	}
}
