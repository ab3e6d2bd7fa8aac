package surgery

import (
	"time"

	"holdproof/report/archive"
	"holdproof/report/daily"
)

// pages packs what a browser shows: the first page, and one a day that has anything.
func (w *bagWriter) pages() error {
	x := archive.Overview{Surgery: daily.Surgery{Name: w.r.settings.Value.Site.Name, Zone: w.r.zone.String()}, Program: w.r.world.Version,
		From: w.asked.From, To: w.asked.To, Machine: w.asked.Steriliser, Made: w.local(w.tip.Time.Time), LogSize: w.tip.Size, LogRoot: w.tip.Root.String()}
	for day := w.asked.From; day <= w.asked.To; day = dayAfter(day) {
		x.Days = append(x.Days, archive.OverviewDay{Date: day})
	}
	out, err := w.pack.Create(archive.Index)
	if err != nil {
		return err
	}
	if err := archive.WriteIndex(out, x); err != nil {
		return err
	}
	return out.Close()
}

func dayAfter(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return "9999"
	}
	return t.AddDate(0, 0, 1).Format(time.DateOnly)
}
