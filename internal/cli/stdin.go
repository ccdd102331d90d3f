package cli

import (
	"context"
	"io"
	"os"
	"strconv"

	"golang.org/x/term"

	"ohmkeep/internal/show/table"
)

// input is standard input whose reads end with a context: a question that nobody
// answers must not outlast an interrupt.
type input struct {
	ctx context.Context
	src io.Reader
}

func stoppable(ctx context.Context, src io.Reader) io.Reader { return &input{ctx, src} }

// Read reads in a goroutine of its own. Where the context ends first, that goroutine
// and what it reads are given up; the context ends only with the program.
func (i *input) Read(to []byte) (int, error) {
	type result struct {
		n   int
		err error
	}
	if err := i.ctx.Err(); err != nil {
		return 0, err
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
	case <-i.ctx.Done():
		return 0, i.ctx.Err()
	}
}

// isTerminal tells whether somebody sits at a stream, to read it or to be asked.
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

// colourful tells whether a writer is a terminal of somebody who likes colour
// (NO_COLOR, no-color.org's convention, is respected).
func colourful(w io.Writer) bool {
	return os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb" && isTerminal(w) && takesEscapes(w.(*os.File))
}

// styleOf returns how a text is laid out on a stream: as wide as its terminal, or as the
// variable COLUMNS says.
func styleOf(w io.Writer) table.Style {
	style := table.Style{Colour: colourful(w)}
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
