package cli

import (
	_ "embed"

	"github.com/spf13/cobra"
)

// The texts of the help topics.
var (
	//go:embed topic/run-file.txt
	runFileTopic string
	//go:embed topic/readings.txt
	readingsTopic string
	//go:embed topic/verdicts.txt
	verdictsTopic string
	//go:embed topic/mqtt.txt
	mqttTopic string
	//go:embed topic/page.txt
	pageTopic string
)

// newTopics returns the help topics: commands that only have a help text.
func newTopics() []*cobra.Command {
	return []*cobra.Command{
		{Use: "run-file", Short: "Every key of the run file: unit, range, default", Long: runFileTopic},
		{Use: "readings", Short: "The table of readings, and which spreadsheets are read", Long: readingsTopic},
		{Use: "verdicts", Short: "What pass, fail and unproven promise, intervals, exit statuses", Long: verdictsTopic},
		{Use: "mqtt", Short: "Boards that publish at a broker, and what the watch publishes there", Long: mqttTopic},
		{Use: "page", Short: "The pages of a watch in a browser, and their JSON", Long: pageTopic},
	}
}
