package archive

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"strings"
	"testing"
)

// zipOf makes an archive of so many members with names of so many letters.
func zipOf(t *testing.T, members, letters int) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for i := range members {
		f, err := w.Create(fmt.Sprintf("%0*d", letters, i))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(f, "x"); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestOpen(t *testing.T) {
	tests := []struct {
		name             string
		members, letters int
		want             string // of the error, none where empty
	}{
		{"none", 0, 1, ""},
		{"a few", 3, 20, ""},
		{"the most", maxMembers, 8, ""},
		{"one more", maxMembers + 1, 8, "more than 10000 members"},
		{"many", 100_000, 8, "more than 10000 members"},
		{"long names", 1000, 60_000, "more than 10000 members"},
	}
	for _, test := range tests {
		content := zipOf(t, test.members, test.letters)
		archive, err := Open(bytes.NewReader(content), int64(len(content)))
		if test.want != "" {
			if err == nil || !strings.Contains(err.Error(), test.want) {
				t.Errorf("%s: error %v, want %q", test.name, err, test.want)
			}
			continue
		}
		if err != nil || len(archive.File) != test.members {
			t.Errorf("%s: %v, %v, want %d members", test.name, archive, err, test.members)
			continue
		}
		for _, member := range archive.File {
			content, err := member.Open()
			if err != nil {
				t.Fatal(err)
			}
			if text, err := io.ReadAll(content); err != nil || string(text) != "x" {
				t.Fatalf("%s: a member holds %q, %v", test.name, text, err)
			}
		}
	}
	if _, err := Open(strings.NewReader("PK\x03\x04 no archive"), 15); err == nil {
		t.Error("no archive: no error")
	}
}
