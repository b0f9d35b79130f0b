#!/bin/sh
# events.sh - adverse events by technique and the share of blood, from a CSV to
# the answer. Counts by hand; limits and the adjusted difference by R 4.2.2
# (binom.test, glm and predict, delta method); the rows of blood are the three
# worked ones of docs/methods/blood-share.md.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
unset SOURCE_DATE_EPOCH COLUMNS NO_COLOR || :
cd "$scratch"

# flat NAME: NAME.txt without its line ends.
flat() {
	tr '\n' ' ' <"$1.txt" | tr -s ' ' >"$1.flat"
}

# ---- events: 12 patients with needle 11, 14 with needle 15; patient a01 comes
# again with an event, a02 was never recorded, b01 had two sites of which one
# is blank.
{
	echo patient,case,case_date,age_y,side,site_no,needle_gauge,adverse_event,aliquot_no,volume_ml,method_version,tnc_e6_per_ml
	awk 'BEGIN { OFS = ","
		for (i = 1; i <= 12; i++) {
			p = sprintf("a%02d", i)
			e = i == 2 ? "" : i == 5 ? "bleeding" : "none"
			print p, p "-1", "2024-01-05", 40 + i, "left", 1, 11, e, 1, 5, "m", 30 + i
		}
		print "a01", "a01-2", "2024-06-05", 42, "left", 1, 11, "faint", 1, 5, "m", 33
		for (i = 1; i <= 14; i++) {
			p = sprintf("b%02d", i)
			e = i % 5 == 0 || i == 7 ? "haematoma" : i == 9 ? "bleeding" : "none"
			print p, p "-1", "2024-02-05", 40 + i, "left", 1, 15, e, 1, 5, "m", 20 + i
			if (i == 1)
				print p, p "-1", "2024-02-05", 41, "left", 2, 15, "", 1, 5, "m", 20
		} }'
} >events.csv
status 0 load "$perdraw" load --db e.db --date 2026-01-05 events.csv
cat >e.plan <<'END'
[plan]
min_patients = 5

[events]
title   = Does the thin needle hurt more often?
outcome = adverse_event
judge   = risk per case
compare = needle_gauge 11 against 15
margin  = 10 points
role    = primary

[bleeding]
title   = Bleeding alone
outcome = adverse_event
event   = bleeding or infection
judge   = risk per site
compare = needle_gauge 11 against 15

[infection]
title   = None seen
outcome = adverse_event
event   = infection
judge   = risk per case
compare = needle_gauge 11 against 15

[adjusted]
title   = Too few to adjust
outcome = adverse_event
judge   = risk per case
compare = needle_gauge 11 against 15
adjust  = age_y

[gain]
title   = What the needle gains
outcome = tnc
judge   = concentration
compare = needle_gauge 11 against 15
margin  = 0.80
END
status 0 review "$perdraw" review -q --db e.db --plan e.plan --date 2026-01-05 \
	--text e.txt --width 200 --html e.html --format json --tsv e.tsv
cp out e.json
flat e
for words in "1 of 11" "4 of 14" "9.09 (0.23 to 41.3)" "2 of 12" \
	"The gain of the same technique: Q5: " \
	"Adverse events of the same technique: Q1: " \
	"None seen at" "no more than 24% (rule of three: about 3 in 11)" \
	"no more than 19% (rule of three: about 3 in 14)" \
	"No event at either level: there is no ratio." \
	"Not adjusted for age" \
	"with more adverse events; triangle down: 0 worse or lower, 0 with fewer adverse events" \
	"Not recorded: 1 patient has no case with the field filled"; do
	check "the review says: $words" grep -qF "$words" e.flat
done
check "events are not watched as a yield is" sh -c \
	"! grep -q 'cannot be judged by percent' e.flat"
check "no better marrow by fewer events" sh -c \
	"! awk -F'\t' '\$1 != \"gain\"' e.tsv | grep -Eq 'better|worse'"
check "JSON does not either" sh -c \
	"grep -q '\"not settled\"' e.json"
status 0 again "$perdraw" review -q --db e.db --plan e.plan \
	--date 2026-01-05 --no-ledger --format tsv
check "same bytes twice" cmp -s e.tsv out

# The first of four planned readings spends 0.05 ln(1 + (e - 1) / 4) of the
# error, so the limits are the exact ones at level 0.98213: R, every table
# listed, -57.0719 to 24.2464 points.
sed 's/^min_patients = 5/&\nlooks = 4/' e.plan >four.plan
cp e.db four.db
status 0 "four readings" "$perdraw" review -q --db four.db --plan four.plan \
	--date 2026-02-05 --format tsv
check "limits of the first of four readings" awk -F'\t' '$1 == "events" {
	a = $4 + 57.0719; b = $5 - 24.2464
	exit !(a < 1e-4 && a > -1e-4 && b < 1e-4 && b > -1e-4) }' out

# What the data or the question cannot bear.
refuse() { # words of the message, options
	want=$1
	shift
	status 64 "$want" "$perdraw" ask --db e.db --outcome adverse_event "$@"
	says err "$want"
}
refuse "asks 'compare = PARAMETER A against B' only" \
	--judge 'risk per case' --slope 'age_y per 10'
refuse "'within' has no place in it" --judge 'risk per case' \
	--compare 'needle_gauge 11 against 15' --within patient
refuse "cannot be judged by concentration" --judge concentration \
	--compare 'needle_gauge 11 against 15'
refuse "expected bleeding, haematoma, infection" --judge 'risk per case' \
	--event sneezing --compare 'needle_gauge 11 against 15'
status 64 "event elsewhere" "$perdraw" ask --db e.db --outcome tnc --judge \
	concentration --event faint --compare 'needle_gauge 11 against 15'
says err "'event' belongs to outcome adverse_event"
sed 's/,\(none\|bleeding\|faint\|haematoma\),/,,/' events.csv >blank.csv
status 0 "load blank" "$perdraw" load --db b.db --date 2026-01-05 blank.csv
status 1 "nothing recorded" "$perdraw" ask -q --db b.db --date 2026-01-05 \
	--outcome adverse_event --judge 'risk per case' \
	--compare 'needle_gauge 11 against 15' --width 200
says out "adverse_event is not recorded in any of the"

# ---- adjusted: 900 patients, older ones with needle 11 and more events.
awk 'BEGIN { OFS = ","
	print "patient,case,case_date,age_y,sex,side,site_no,needle_gauge,adverse_event,aliquot_no,volume_ml"
	for (i = 0; i < 900; i++) {
		age = 20 + (i * 37) % 61
		thin = (i * 101) % 100 < age ? 11 : 15
		e = (i * 7919) % 1000 < 40 + 3 * age + (thin == 11 ? 30 : 0)
		print "p" i, "c" i, "2024-01-05", age, i % 3 ? "female" : "male", "left", 1, thin, e ? "faint" : "none", 1, 5
	} }' >many.csv
status 0 "load many" "$perdraw" load --db m.db --date 2026-01-05 many.csv
status 0 "adjusted" "$perdraw" ask -q --db m.db --date 2026-01-05 --outcome \
	adverse_event --judge 'risk per case' --compare \
	'needle_gauge 11 against 15' --adjust 'age_y, sex' --tsv m.tsv \
	--text m.txt --width 200
flat m
for words in "ten events for each column held equal" "unadjusted, exact" \
	"Adjusted for: age, sex."; do
	check "the adjusted says: $words" grep -qF "$words" m.flat
done
# near FIELD WANTED: of the one effect in m.tsv.
near() {
	awk -F'\t' -v f="$1" -v w="$2" 'NR == 2 { d = $f - w
		exit !(d < 2e-6 && d > -2e-6) }' m.tsv
}
check "adjusted difference, R 2.607897" near 3 2.607897346
check "its limits" near 4 -2.976897727
check "its limits" near 5 8.192692420

# ---- the share of blood: three worked rows as three patients, needle 11, and
# the same with needle 15 but what is not recorded.
{
	echo patient,case,case_date,blood_wbc_e9_per_l,blood_rbc_e12_per_l,side,site_no,needle_gauge,aliquot_no,volume_ml,anticoagulant,anticoagulant_ml,method_version,tnc_e6_per_ml,rbc_e12_per_l
	n=0
	for row in 6.0,4.5,30.0,4.0 7.0,4.6,12.0,4.3 6.0,4.8,40.0,3.2; do
		n=$((n + 1))
		echo "$row" | awk -F, -v n=$n 'BEGIN { OFS = "," } {
			print "a" n, "a" n, "2024-01-05", $1, $2, "left", 1, 11, 1, 9, "ACD-A", 1, "m", $3, $4
			print "b" n, "b" n, "2024-01-05", $1, $2, "left", 1, 15, 1, 9, "none", "", "m", $3 * 2, $4 }'
	done
	echo c1,c1,2024-01-05,,,left,1,11,1,5,none,,m,30,4
	echo c2,c2,2024-01-05,6,4.5,left,1,11,1,5,none,,m,30,
	echo c3,c3,2024-01-05,6,4.5,left,1,15,1,5,none,,m,,4
	echo c4,c4,2024-01-05,6,4.5,left,1,15,1,5,none,,m,,
	echo c5,c5,2024-01-05,30,4.5,left,1,15,1,5,none,,m,5,4.5
} >blood.csv
status 0 "load blood" "$perdraw" load --db h.db --date 2026-01-05 blood.csv
printf '%s\n' '[plan]' 'min_patients = 3' '' '[blood]' 'title = Blood' \
	'outcome = blood_share' 'judge = percent' \
	'compare = needle_gauge 11 against 15' \
	'where = volume_ml at least 9' 'margin = 5 points' '' '[all]' \
	'title = All' 'outcome = blood_share' 'judge = percent' \
	'compare = needle_gauge 11 against 15' >h.plan
status 0 "share of blood" "$perdraw" review -q --db h.db --plan h.plan \
	--date 2026-01-05 --text h.txt --width 200 --tsv h.tsv
flat h
# f = 17.7778, 54.5290, 10.0000: mean 27.4356; half of each with needle 15
for words in "27 (" "difference 14 ("  \
	"Share of blood, 11 gauge: median 17.8%, middle half 13.9% to 36.2%; above 50% in 1 of 3 results (33.3%)." \
	"Share of blood, 15 gauge: median 8.9%, middle half 6.9% to 18.1%; above 50% in 0 of 3 results (0.0%)." \
	"Not computable: 4 of 11 pulls" "1 without the same-day blood count" \
	"1 without the sample's red cells" \
	"1 without the sample's nucleated cells" "1 without any result" \
	"1 above 100%, which is an error"; do
	check "share of blood says: $words" grep -qF "$words" h.flat
done
check "difference is half of 27.4356" awk -F'\t' \
	'$1 == "blood" {
		f = 4 / 4.5 * 6 / 30 + 4.3 / 4.6 * 7 / 12
		d = $3 - 50 / 3 * (f + 3.2 / 4.8 * 6 / 40)
		exit !(d < 1e-9 && d > -1e-9) }' h.tsv
status 64 "its own part" "$perdraw" ask --db h.db --outcome blood_share \
	--judge percent --slope 'blood_rbc per 1'
says err "the same number would stand on both sides"
status 64 "no yield of it" "$perdraw" ask --db h.db --outcome blood_share \
	--judge concentration --slope 'volume_ml per 1'
finish
