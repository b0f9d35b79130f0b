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
finish
