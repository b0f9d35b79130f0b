#!/bin/sh
# Every question of demo-data/questions.plan is answered or refused with a
# reason, stands in docs/questions.md, and the other commands of that page run.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
unset SOURCE_DATE_EPOCH COLUMNS NO_COLOR || :
page=$source_root/docs/questions.md
plan=$source_root/demo-data/questions.plan
demo=$source_root/demo-data
cd "$scratch"
"$generate" --cases 400 --out-dir . || exit 99
status 0 "load" "$perdraw" load --db c.db --date 2026-01-05 clinic.csv cd34.csv \
	pools.csv
status 0 "review of all questions" "$perdraw" review -q --db c.db \
	--plan "$plan" --date 2026-01-05 --format tsv --text review.txt \
	--width 200
cp out all.tsv

# Each section: a verdict or a refusal, and a row in the page.
sed -n 's/^\[\(.*\)\]$/\1/p' "$plan" | grep -v '^plan$' >names
awk -F'\t' 'NR > 1 { print $1 "\t" $NF }' all.tsv >words
while read -r name; do
	word=$(awk -F'\t' -v n="$name" '$1 == n { print $2; exit }' words)
	case $word in
	better | worse | higher | lower | "not settled" | \
	"more events" | "fewer events" | \
	"no difference that matters" | "no answer") pass ;;
	*) fail "$name: found '$word', expected a verdict" ;;
	esac
	check "$name is in docs/questions.md" grep -qF "[$name]" "$page"
done <names
check "the page names no other question" sh -c \
	"grep -o '\\[[a-z][a-z0-9-]*\\]' '$page' | tr -d '[]' | sort -u |
	while read -r n; do grep -qx \"\$n\" names || exit 1; done"
rows=$(sed '/^## On real data/,$d' "$page" | grep -c '^| [0-9]')
check "43 questions are in the page, found $rows" [ "$rows" -eq 43 ]

# As many reasons as refusals.
n=$(awk -F'\t' '$2 == "no answer"' words | wc -l)
why=$(grep -c '^ *Why: ' review.txt || :)
check "$n refusals, $why reasons" [ "$n" -eq "$why" ]
check "five or more are refused" [ "$n" -ge 5 ]
for reason in "'calcaneus' was drawn in 1 patient" \
	"no pull was counted by both" \
	"Conditions: no record meets" \
	"95 against 50 lies outside the values seen"; do
	if grep -qF "$reason" review.txt; then
		pass
	else
		fail "no refusal says: $reason"
	fi
done

# A figure names the table that holds its numbers.
check "levels across patients are held against each other" \
	grep -q '^Table [0-9]*\. How alike' review.txt
sed -n 's/.*Numbers: Table \([0-9]*\)\..*/\1/p' review.txt >tables
check "figures name tables" [ -s tables ]
while read -r n; do
	check "a figure's numbers are in no table $n" \
		grep -q "^Table $n\. " review.txt
done <tables

# One result is no predictor of another.
for parameter in 'tnc per doubling' 'cfu_f per doubling'; do
	status 64 "slope of $parameter" "$perdraw" ask -q --db c.db --no-ledger \
		--outcome cd34 --judge concentration --slope "$parameter"
	says err "which a row for each pull does not have: a result is judged"
done

# The other commands.
at="--db c.db --date 2026-01-05"
status 0 "findings" "$perdraw" findings --db c.db --summary
status 0 "fields by year" "$perdraw" findings --db c.db --years
says out "percent filled"
status 0 "missing results" "$perdraw" findings $at --missing
says out "Do they depend on the draw?"
status 0 "a claim" "$perdraw" claim -q --no-ledger $at "$demo/demo.claim"
sed 's/\(material *= \)aspirate/\1concentrate/' "$demo/demo.claim" >other.claim
status 0 "a claim about concentrate" "$perdraw" claim -q --no-ledger $at \
	other.claim
says out "the claim is about concentrate"
status 0 "size" "$perdraw" size $at --plan "$plan" q08-syringe
status 0 "size, not worse" "$perdraw" size $at --plan "$plan" \
	--aim not-worse --truth 1 q20-no-worse
status 0 "watch" "$perdraw" watch $at --outcome cfu_f
status 0 "expect" "$perdraw" expect $at --outcome cfu_f --age 55 --sex female \
	--target 20000 --sites '2 4' --ml-per-site '10 15'
status 1 "agree without a bridge" "$perdraw" agree $at --outcome cfu_f \
	--judge concentration --first 'lab-a 1' --second 'lab-b 1'
says out "0 pulls of 0 patients were counted by both"
status 0 "pool" "$perdraw" pool --date 2026-01-05 --printed "$demo/printed.csv"
status 0 "pool beside the own" "$perdraw" pool $at \
	--printed "$demo/printed.csv" --plan "$demo/demo.plan" second-pull
finish
