#!/bin/sh
# dishes.sh - do the dishes of one sample agree? From a CSV to the table of
# watch. By hand: 14, 22, 18 have an index of dispersion of 1.78 (P .41), 5, 31,
# 18 one of 18.8 (P 8.4e-5); limits of 1 of 2 and the rest by binom.test of
# R 4.2.2.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
unset SOURCE_DATE_EPOCH COLUMNS NO_COLOR || :
cd "$scratch"

flat() {
	tr '\n' ' ' <"$1.txt" | tr -s ' ' >"$1.flat"
}

# ---- two samples of one quarter, what says nothing beside them
cat >two.csv <<'END'
patient,case,case_date,age_y,side,site_no,aliquot_no,volume_ml,method_version,tnc_e6_per_ml,cells_plated,dish_1,dish_2,dish_3
p1,c1,2024-02-01,50,left,1,1,5,lab-x,30,500000,14,22,18
p1,c1,2024-02-01,50,left,1,2,5,lab-x,30,500000,5,31,18
p1,c1,2024-02-01,50,left,1,3,5,lab-x,30,500000,7,TNTC,
p1,c1,2024-02-01,50,left,1,4,5,lab-x,30,500000,0,0,0
p1,c1,2024-02-01,50,left,1,5,5,lab-x,30,500000,failed,failed,failed
END
status 0 load "$perdraw" load --db two.db --date 2026-01-05 two.csv
status 1 "two samples: too few cases to chart" "$perdraw" watch --db two.db \
	--outcome cfu_f --date 2026-01-05 --text two.txt --csv two \
	--html two.html --json two.json --width 200
flat two
for words in "In 1 of 2 samples (50.00%; exact 95% limits 1.26% to 98.74%)" \
	"vary by a coefficient of variation of 50.4% beyond counting error" \
	"There is one quarter only" \
	"2024 Q1 2 6 50.4 1 50.0 (1.3 to 98.7)" \
	"1 sample with fewer than two counted dishes, 1 without a colony; 1 dish without a number"; do
	check "two samples: $words" grep -qF "$words" two.flat
done
check "the page has the table" grep -qF "Dishes of one sample" two.html
check "so has JSON" grep -qF "Dishes of one sample" two.json
status 1 "another outcome" "$perdraw" watch --db two.db --outcome tnc \
	--date 2026-01-05 --text tnc.txt
check "nucleated cells have no dishes" sh -c '! grep -q Dishes tnc.txt'

# ---- two method versions, one quarter of them uneven: 40 samples a quarter,
# of which 1 is uneven in two quarters and 12 in the last
{
	head -1 two.csv
	awk 'BEGIN { OFS = ","
		split("2024-01-15 2024-05-15 2024-08-15 2024-11-15", day, " ")
		for (q = 1; q <= 4; q++)
			for (i = 1; i <= 40; i++) {
				odd = q == 4 ? i <= 12 : q == 3 ? 0 : i == 1
				c = "c" q "-" i
				print "p" i, c, day[q], 50, "left", 1, 1, 5,
				    q < 3 ? "lab-x" : "lab-y", 30, 500000,
				    odd ? "5,31,18" : "14,22,18"
			} }'
} >four.csv
status 0 "load of four quarters" "$perdraw" load --db four.db \
	--date 2026-01-05 four.csv
"$perdraw" watch --db four.db --outcome cfu_f --date 2026-01-05 --width 200 \
	--text four.txt --csv four >/dev/null 2>&1 || :
flat four
# CV: root of (12 * 151 - 28 * 2) / (12 * (324 - 169/3) + 28 * (324 - 16/3)) = .380
for words in "In 14 of 160 samples (8.75%; exact 95% limits 4.87% to 14.25%)" \
	"Not stable: 1 of 4 quarters has more uneven samples than the others" \
	"Method version lab-x" "Method version lab-y" \
	"2024 Q1 40 120 7.6 1 2.5 (0.1 to 13.2) —" \
	"2024 Q3 40 120 none seen 0 0.0 (0.0 to 8.8) —" \
	"2024 Q4 40 120 38.0 12 30.0 (16.6 to 46.5) stands out" \
	"all 80 240 26.0 12 15.0 (8.0 to 24.7)"; do
	check "four quarters: $words" grep -qF -- "$words" four.flat
done
"$perdraw" watch --db four.db --outcome cfu_f --date 2026-01-05 --width 200 \
	--text again.txt >/dev/null 2>&1 || :
check "same bytes twice" cmp -s four.txt again.txt
finish
