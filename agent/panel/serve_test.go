package panel

import (
	"context"
	"fmt"
	"maps"
	"net/http"
	"os"
	"slices"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/report"
	"benchtally/agent/station"
)

func TestServeByHand(t *testing.T) {
	if os.Getenv("SERVE") == "" {
		t.Skip()
	}
	all := states(t)
	for i, name := range slices.Sorted(maps.Keys(all)) {
		b := NewBoard("north-bench", testShop())
		go func() {
			for {
				b.Publish(all[name])
				time.Sleep(time.Second)
			}
		}()
		h := b.Handler(Desk{
			Act:  func(ctx context.Context, a station.Action) (string, error) { fmt.Printf("%+v\n", a); return "", nil },
			Jobs: func() []crimp.Job { return shopJobs() },
			Scan: func(ctx context.Context, text, who string) (Scanned, error) {
				fmt.Println("scan", text)
				return Scanned{Said: "Cage C-21 is loaded"}, nil
			},
			Paper:  func(ctx context.Context, p PaperRequest) (Paper, error) { return Paper{}, nil },
			Series: func(context.Context) (report.Series, error) { return report.Series{}, nil },
		}, Options{})
		fmt.Println(name, 9000+i)
		go http.ListenAndServe(fmt.Sprintf("127.0.0.1:%d", 9000+i), h)
	}
	select {}
}
