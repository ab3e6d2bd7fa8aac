package surgery

import (
	"testing"

	"holdproof/report/daily"
	"holdproof/report/seal"
)

// insideOf is the day that a verified record holds.
func insideOf(t testing.TB, report *seal.Report) daily.Day {
	t.Helper()
	if !report.OK {
		t.Fatal(report.Problems)
	}
	files, err := report.Attachments()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if f.Name == dayFile {
			d, err := daily.Parse(f.Bytes)
			if err != nil {
				t.Fatal(err)
			}
			return d
		}
	}
	t.Fatal("no day inside")
	return daily.Day{}
}
