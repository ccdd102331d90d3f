package cli

import (
	"context"
	"io"
	"os"
	"strconv"

	"golang.org/x/term"

	"ohmkeep/internal/show/table"
)

// input is standard input whose reads end at an interrupt, so that it also ends a question
// that waits for an answer.
type input struct {
	src         io.Reader
	interrupted <-chan struct{} // closed by an interrupt, which also ends the program
}

func stoppable(ctx context.Context, src io.Reader) io.Reader { return &input{src, ctx.Done()} }

// Read reads in a goroutine of its own. At an interrupt it returns context.Canceled, and the
// goroutine's result is discarded.
func (i *input) Read(to []byte) (int, error) {
	type result struct {
		n   int
		err error
	}
	select {
	case <-i.interrupted:
		return 0, context.Canceled
	default:
	}
	buffer := make([]byte, len(to))
	done := make(chan result, 1)
	go func() {
		n, err := i.src.Read(buffer)
		done <- result{n, err}
	}()
	select {
	case r := <-done:
		return copy(to, buffer[:r.n]), r.err
	case <-i.interrupted:
		return 0, context.Canceled
	}
}

// isTerminal reports whether a stream is a terminal.
func isTerminal(stream any) bool {
	if in, ok := stream.(*input); ok {
		stream = in.src
	}
	file, ok := stream.(*os.File)
	if !ok {
		return false
	}
	info, err := file.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// usesColour reports whether output to a writer is coloured: it is a terminal, and the
// variable NO_COLOR (convention of no-color.org) is not set.
func usesColour(w io.Writer) bool {
	return os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb" && isTerminal(w) && takesEscapes(w.(*os.File))
}

// styleOf returns the colour and width of text on a stream. The width is that of the
// terminal, otherwise the value of the variable COLUMNS.
func styleOf(w io.Writer) table.Style {
	style := table.Style{Colour: usesColour(w)}
	if columns, err := strconv.Atoi(os.Getenv("COLUMNS")); err == nil {
		style.Columns = columns
	}
	if f, ok := w.(*os.File); ok {
		if columns, _, err := term.GetSize(int(f.Fd())); err == nil {
			style.Columns = columns
		}
	}
	return style
}
