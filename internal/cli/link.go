package cli

import (
	"fmt"
	"net/url"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/text/printable"
	"ohmkeep/internal/web/access"
)

func newToken() *cobra.Command {
	return &cobra.Command{
		Use:   "token FILE",
		Short: "Make a file with a random token for a watch",
		Long: `Token makes a file that only you can read, with a random token, and prints the token. It
gives the right to read and to write to a watch that is started with --token-file FILE.`,
		Example: "  ohmkeep token hall.token",
		Args:    exactly("FILE"),
		RunE: func(c *cobra.Command, args []string) error {
			token, err := access.MakeToken(args[0])
			if err != nil {
				return err
			}
			_, err = fmt.Fprintln(c.OutOrStdout(), token)
			return err
		},
	}
}

func newLink() *cobra.Command {
	c := &cobra.Command{
		Use:   "link",
		Short: "Make, list and withdraw links that give the right to read a watch",
		Long: `A link lets the owner of a run read its watch, and nothing else. The links of a watch stand
in a file beside that of its token, FILE.links, which holds their names and not their
secrets: a link is shown once, when it is made. A running watch reads a change at once.
The secret, which is the link's last part, is also a token that may only read, such as for
a metrics server.`,
		Example: "  ohmkeep link make tenant --token-file cabinet.token --at https://cabinet:9477\n  ohmkeep link list --token-file cabinet.token\n  ohmkeep link withdraw owner --token-file cabinet.token",
	}
	var tokenFile string
	c.PersistentFlags().StringVar(&tokenFile, "token-file", "", "the file with the watch's token")
	c.AddCommand(newLinkMake(&tokenFile), newLinkList(&tokenFile), newLinkWithdraw(&tokenFile))
	return c
}

func newLinkMake(tokenFile *string) *cobra.Command {
	var at string
	c := &cobra.Command{
		Use:     "make NAME",
		Short:   "Make a link and print it; NAME says whom it is for",
		Example: "  ohmkeep link make tenant --token-file cabinet.token --at https://cabinet:9477",
		Args:    exactly("NAME"),
		RunE: func(c *cobra.Command, args []string) error {
			if err := checkTokenFile(c, *tokenFile); err != nil {
				return err
			}
			to, err := url.Parse(at)
			if err != nil || to.Host == "" || to.Scheme != "http" && to.Scheme != "https" {
				return callFault(c, "wants --at with the watch's address, such as https://cabinet:9477")
			}
			secret, err := access.MakeLink(*tokenFile, args[0], time.Now())
			if err != nil {
				return err
			}
			if _, err := fmt.Fprintln(c.OutOrStdout(), to.JoinPath("link", secret)); err != nil {
				return err
			}
			fmt.Fprintln(c.ErrOrStderr(), "It is shown this once. Anyone who has it can read the watch until it is withdrawn.")
			return nil
		},
	}
	c.Flags().StringVar(&at, "at", "", "address by which the link's owner reaches the watch, http://host:port or https://host:port")
	return c
}

func newLinkList(tokenFile *string) *cobra.Command {
	return &cobra.Command{
		Use:     "list",
		Short:   "Show the links that are in force",
		Example: "  ohmkeep link list --token-file cabinet.token",
		Args:    exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			if err := checkTokenFile(c, *tokenFile); err != nil {
				return err
			}
			links, err := access.ReadLinks(*tokenFile)
			if err != nil {
				return err
			}
			if len(links) == 0 {
				fmt.Fprintln(c.ErrOrStderr(), "there are no links")
			}
			for _, l := range links {
				fmt.Fprintf(c.OutOrStdout(), "%s  %s\n", l.Made.Format(time.DateOnly), printable.Line(l.Name))
			}
			return nil
		},
	}
}

func newLinkWithdraw(tokenFile *string) *cobra.Command {
	return &cobra.Command{
		Use:     "withdraw NAME",
		Short:   "Withdraw a link; who is logged in by it is shut out at once",
		Example: "  ohmkeep link withdraw owner --token-file cabinet.token",
		Args:    exactly("NAME"),
		RunE: func(c *cobra.Command, args []string) error {
			if err := checkTokenFile(c, *tokenFile); err != nil {
				return err
			}
			if err := access.WithdrawLink(*tokenFile, args[0]); err != nil {
				return err
			}
			fmt.Fprintf(c.ErrOrStderr(), "withdrawn: %s\n", printable.Line(args[0]))
			return nil
		},
	}
}

// checkTokenFile returns an error if the flag is missing or the file holds no token.
func checkTokenFile(c *cobra.Command, path string) error {
	if path == "" {
		return callFault(c, "wants --token-file FILE")
	}
	_, err := access.ReadToken(path)
	return err
}
