package intake
import ("testing";"fmt";"os";"strings")
func TestZZ(t *testing.T) {
	if os.Getenv("SHOW")=="" { return }
	sheets := []string{
"Lab Number,Grower,Field,Sample ID,Date Sampled,Date Received,OM %,P1 Weak Bray ppm,P1 Rating,P2 ppm,P2 Rating,K ppm,K Rating,Mg ppm,Ca ppm,Na ppm,pH,Buffer pH,CEC meq/100g,%K,%Mg,%Ca,%H,%Na,NO3-N ppm,NO3-N lbs/A,S ppm,Zn ppm,Mn ppm,Fe ppm,Cu ppm,B ppm,Excess Lime Rating,Soluble Salts mmhos/cm,Lime Rec tons/A\n12345,Ann,Patch,Barn,10/20/2026,10/23/2026,4.6,88,VH,140,VH,310,VH,190,1920,22,6.4,6.8,14.2,5.6,11.2,67.6,15,0.7,14,28,18,4.5,22,88,2.1,0.7,L,0.4,0\n12346,Ann,Patch,Hill,10/20/2026,10/23/2026,3.1,22,M,40,M,190,H,85,1100,15,5.9,6.6,9.1,5.3,7.8,60,26,0.7,9,18,12,1.5,12,90,1.0,0.4,N,0.2,1.5\n",
"Sample_ID,Sample_Date,Depth_top_in,Depth_bottom_in,pH_water,BufferPH,OM_pct,P_Olsen_ppm,K_ppm,NO3N_ppm,EC_dSm,Texture\nBarn,2026-10-28,0,6,6.4,6.8,4.6,22,310,14,0.4,loam\nBarn,2026-10-28,6,24,6.9,,1.1,5,120,6,0.3,clay\n",
"CLIENT:,Ann Grower\nFIELD:,Barn\nSAMPLED:,\"October 28, 2026\"\nDEPTH:,0-8 in\n\nNUTRIENT,METHOD,RESULT,UNITS,LEVEL\nSoil pH,1:1 water,6.4,,\nPhosphorus (P),Mehlich-3,118,ppm,Very High\nPotassium (K),Mehlich-3,310,ppm,High\nOrganic Matter,LOI,4.6,%,\nZinc (Zn),Mehlich-3,< 0.5,ppm,Low\nCEC,sum of cations,14.2,meq/100g,\n",
"Soil Analysis,,,,,,\n,,Mehlich 3 (mg/kg),,,,\nID,pH (1:2),P,K,Ca,Mg,LOI OM (%)\nBarn,6.4,118,310,1920,190,4.6\nHill,5.9,22,190,1100,85,3.1\n",
"Site\tSample\tpH\tP (lb/ac)\tK (lb/ac)\tMg (lb/ac)\tP index\tK index\tLime (t/ac)\nBarn\t1\t6.4\t236\t620\t380\t5\t4\t0\nHill\t2\t5.9\t44\t380\t170\t2\t3\t1.5\n",
"Customer sample id;Sampled on;pH(CaCl2);Humus %;P-CAL mg/100g;K-CAL mg/100g;Mg mg/100g\nBarn;28.10.2026;6,4;4,6;24,5;18,0;12,5\n",
"Analysis,Unit,Barn,,Hill,\n,,Result,Rating,Result,Rating\npH,,6.4,ok,5.9,low\nPhosphorus P,ppm,118,VH,22,M\nPotassium K,ppm,310,VH,190,H\nBoron B,ppm,0.7,L,0.4,VL\n",
	}
	for i, s := range sheets {
		p, err := Propose(Source{fmt.Sprintf("s%d.csv", i), []byte(s)}, Options{Today: today, Beds: []string{"Barn", "Hill"}})
		fmt.Printf("===== %d\n%s----\n", i, s)
		if err != nil { fmt.Println("ERR", err); continue }
		for _, c := range p.Columns { fmt.Printf("%2d %-28s %-12s -> %-28s %s\n", c.Pos, c.Heading, c.Example, c.As, c.Question) }
		fmt.Printf("headings %v turned %v open %d lines %d\n%s\n", p.Headings, p.Turned, p.Open, strings.Count(p.Map,"\n"), p.Map)
		for _, n := range p.Notes { fmt.Println("note", n) }
		text := strings.NewReplacer(`lab = "?"`, `lab = "L"`, `date = "?"`, `date = "2026-10-28"`, `depth = "?"`, `depth = "0-6 in"`, `method = ["?"]`, `method = ["Mehlich-3", "water 1:1", "LOI", "Sikora", "CAL"]`, `unit = ["?"]`, `unit = ["ppm", "%", "meq/100 g"]`).Replace(p.Map)
		m, err := ParseMap("m.toml", []byte(text))
		if err != nil { fmt.Println("MAP", err); continue }
		res, err := Read([]Source{{fmt.Sprintf("s%d.csv", i), []byte(s)}}, Options{Map: m, Today: today, Grower: "Ann"})
		fmt.Println("READ", err, len(res.Records.SoilTests), res.Notes)
	}
}
