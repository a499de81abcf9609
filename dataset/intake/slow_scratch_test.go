package intake
import ("testing";"math/rand/v2";"time";"fmt";"os")
func TestSlowScratch(t *testing.T) {
	if os.Getenv("SLOW")=="" { return }
	r := rand.New(rand.NewPCG(1,2))
	ls := layouts()
	end := time.Now().Add(40*time.Second)
	n := 0
	for time.Now().Before(end) {
		b := []byte(ls[r.IntN(len(ls))].sheet)
		for range r.IntN(8)+1 {
			switch r.IntN(4) {
			case 0: b[r.IntN(len(b))] = byte(r.IntN(256))
			case 1: i := r.IntN(len(b)); b = append(b[:i:i], append([]byte{byte(r.IntN(128))}, b[i:]...)...)
			case 2: i := r.IntN(len(b)); j := min(len(b), i+r.IntN(20)); b = append(b[:i:i], b[j:]...)
			case 3: i := r.IntN(len(b)); j := min(len(b), i+r.IntN(200)); b = append(b, b[i:j]...)
			}
			if len(b)==0 { b = []byte("a") }
		}
		os.WriteFile("/tmp/maps/last", b, 0o644)
		s := time.Now()
		Propose(Source{"x.csv", b}, Options{Today: today, Beds: []string{"Barn"}, Labs: labs()})
		n++
		if d := time.Since(s); d > 300*time.Millisecond { fmt.Println(d, n); os.WriteFile(fmt.Sprintf("/tmp/maps/slow%d", n), b, 0o644) }
	}
	fmt.Println(n)
}
