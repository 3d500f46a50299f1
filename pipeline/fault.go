package pipeline

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"
)

// Fault is a panic, which is a mistake of the program and not of what it was given, with what was being done.
type Fault struct {
	// Where says what was being done, such as "chunk 3, line from csv:1 to csv:2".
	Where string
	// Panic is the first line of what the panic said.
	Panic string
	// Stack is what the panicking goroutine was calling, several lines.
	Stack string
}

func (f *Fault) Error() string {
	return fmt.Sprintf("this is a fault of the program, at %s: %s: please report it with these lines, the command, and the files that it read", f.Where, f.Panic)
}

// unreadMemory is what the runtime says where memory that stands for a file cannot be had, since the disk failed or the file was cut.
type unreadMemory interface {
	runtime.Error
	Addr() uintptr
}

// Guard returns what do returns, or a *Fault where it panics, or an error where a file of the terrain's cache can no longer be read. It must
// stand at the top of every goroutine that computes, or a panic there would end the program without a word on what was being done. where is
// asked after a panic alone.
func Guard(where func() string, do func() error) (err error) {
	defer func() {
		if recovered := recover(); recovered != nil {
			if _, ok := recovered.(unreadMemory); ok {
				err = fmt.Errorf("a file in the folder of --cache could not be read any more, at %s: its disk failed, or the file was cut while it was in use: "+
					"delete the folder and run again", where())
				return
			}
			// Some libraries carry a panic from one goroutine to another with its stack behind the first line.
			value, rest, _ := strings.Cut(fmt.Sprint(recovered), "\n")
			err = &Fault{where(), value, strings.TrimSpace(strings.TrimSpace(rest) + "\n" + string(debug.Stack()))}
		}
	}()
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	return do()
}
