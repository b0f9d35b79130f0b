#!/bin/sh
# The demo clinic and the claim that ships with it: a weak comparator is found,
# a fair one is not called weak, what does not match is refused with status 1,
# a bad file is an error with its place. Same input, same bytes.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
cd "$scratch"
"$generate" --out-dir . >/dev/null || exit 99
cp "$source_root/demo-data/demo.claim" .
status 0 "the demo clinic loads" "$perdraw" load --db demo.db \
	--date 2026-01-05 clinic.csv cd34.csv pools.csv

claim() {
	"$perdraw" claim --db demo.db --date 2026-01-05 --no-ledger --quiet \
		--width 200 "$@"
}
has() {
	grep -q -- "$1" out
}

status 0 "the shipped claim" claim demo.claim
check "both readings of the print" has '"±" read as SE'
check "a weak comparator is found" has 'Its comparator: Weak'
check "volume alone is told" has '0.5 times the volume alone'
check "less than claimed" has 'Here against the claim: Less than claimed'
check "the trial has its list" has 'Allocation list'
cp out first
status 0 "the shipped claim again" claim demo.claim
check "same input, same bytes" cmp -s first out

# a comparator at the level of this clinic's own draws
sed -e 's/^mean  *= 150/mean = 560/; s/^mean  *= 315/mean = 1176/' \
	-e 's/^plus_minus = 12/plus_minus = 45/; s/^plus_minus = 24/plus_minus = 90/' \
	demo.claim >fair.claim
status 0 "a fair claim" claim fair.claim
check "a fair comparator is not called weak" \
	sh -c '! grep -q "Its comparator: Weak\|Its comparator: Depends" out'
check "and its rows are judged" has 'ordinary practice'

# units and materials that do not match
sed '/^\[comparator\]/,$s/^unit .*/unit = per 10^6/' demo.claim >unit.claim
status 1 "per mL against per million" claim unit.claim
check "the refusal is in words" has 'per mL and per million cells'
sed '/^\[device\]/,/^\[comparator\]/s/^material .*/material = concentrate/' \
	demo.claim >material.claim
status 1 "concentrate against aspirate" claim material.claim
check "the refusal names centrifuging" has 'centrifuging alone'

# words alone
printf '%s\n' '[claim]' 'title = t' 'outcome = cfu_f' \
	'judge = concentration' 'wording = 300 % higher' >words.claim
status 0 "words alone" claim words.claim
check "both meanings" has 'can mean 4 times as much or 3 times as much'
check "no comparator, no verdict on it" has "no numbers of the comparator"

# errors with a place
sed 's/^paired .*/paired = perhaps/' demo.claim >bad.claim
status 78 "a bad value" claim bad.claim
check "its place" grep -q "bad.claim:[0-9]*:[0-9]*: error: 'paired': found 'perhaps'" err
status 66 "no such file" claim none.claim
status 64 "no file named" claim
status 0 "the whole as HTML" claim demo.claim --html claim.html --out claim.txt
check "the HTML is whole" grep -q '</html>' claim.html

# Real, open data through the same path (tests/real.sh says what they are).
# Known answers of R 4.2.2 on the logs: t.test 3.392 (2.716 to 4.238), lm with
# age and mass 3.143 (2.578 to 3.832).
doses=${PERDRAW_REAL:-$source_root/../shared/real}/transplant_doses.arff
if [ ! -f "$doses" ]; then
	echo "NOT RUN: the claim on real data, no $doses"
	finish
fi
awk 'BEGIN { OFS = "," }
	{ sub(/\r$/, "") }
	tolower($1) == "@attribute" { head = head "," $2; next }
	tolower($1) == "@data" { print "row,date" head; data = 1; next }
	data && NF { print ++n, "2020-01-01", $0 }' "$doses" >doses.csv
status 0 "the real data load" "$perdraw" load --db real.db --map \
	"$source_root/tests/real/transplant.map" --date 2026-01-05 doses.csv
# the printed device arm is that of the data: 145 grafts, 11.366 (10.143 to
# 12.737); the comparator is two thirds of what the data hold
printf '%s\n' '[claim]' 'title = t' 'outcome = cd34' 'judge = concentration' \
	'[device]' 'n = 145' 'geometric_mean = 11.3660843' 'low = 10.14323' \
	'high = 12.73637' 'unit = 10^3/mL' 'material = aspirate' \
	'[comparator]' 'n = 42' 'geometric_mean = 2.2' 'low = 1.8' \
	'high = 2.7' 'unit = 10^3/mL' 'material = aspirate' '[clinic]' \
	'compare = needle peripheral_blood against bone_marrow' \
	'adjust = age_y, bmi' >real.claim
status 0 "a claim on real data" "$perdraw" claim --db real.db real.claim \
	--date 2026-01-05 --no-ledger --quiet --width 200
check "the effect of R's lm" has '3.14 (2.58 to 3.83)'
check "device arm over ordinary practice: R's t.test, but for age" \
	has 'stands at 3.39 (2.7[12] to 4.2[34]) of ordinary practice'
check "the low comparator is weak" has 'Its comparator: Weak'
finish
