#!/bin/sh
# A clinic's file in two parts, a review after each, then a correction: what
# the second and third review say of the one before.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
unset SOURCE_DATE_EPOCH COLUMNS NO_COLOR || :
cd "$scratch"
small=$source_root/demo-data/small.csv
awk -F, 'NR == 1 || $5 < "2024-01-01"' "$small" >early.csv
awk -F, 'NR == 1 || $5 >= "2024-01-01"' "$small" >late.csv
cat >q.plan <<'END'
[plan]
min_patients = 5
looks = 6
[second-pull]
title = Is the second pull thinner?
outcome = tnc
judge = concentration
compare = aliquot_no 2 against 1
within = site
margin = 0.80
role = primary
[sex]
title = Do women and men differ?
outcome = tnc
judge = concentration
compare = sex female against male
margin = 0.95
role = secondary
END
look() {
	status 0 "review of $1" "$perdraw" review -q --db c.db --plan q.plan \
		--date "$1" --width 200
}
status 0 "load the early draws" "$perdraw" load --db c.db --date 2024-01-02 \
	early.csv
look 2024-01-05
says out "No question of this plan was read on other data before"
if grep -q 'Since the last reading' out; then
	fail "a first review has no last reading"
else
	pass
fi
status 0 "load the late draws" "$perdraw" load --db c.db --date 2026-01-02 \
	late.csv
look 2026-01-05
says out "Since the last reading"
says out "2024-01-05"
says out "The last reading and this one"
says out "1 file was loaded since"
if grep -q 'a correction' out; then
	fail "no correction was loaded"
else
	pass
fi
if grep -q 'not in this plan' out; then
	fail "nothing else was read yet"
else
	pass
fi
# Asked by options: a review of later data lists it, and what its interval
# held.
status 0 "another question" "$perdraw" ask -q --db c.db --date 2026-01-06 \
	--outcome tnc --judge concentration --compare 'aliquot_no 2 against 1' \
	--within site --title 'Asked beside the plan'
# The tnc of every second pull, halved and doubled back: a correction.
awk -F, 'BEGIN { OFS = FS } NR > 1 && $21 == 2 && $30 + 0 > 0 { $30 = $30 * 4 }
	{ print }' early.csv >fixed.csv
status 0 "load the correction" "$perdraw" load --db c.db --date 2026-02-01 \
	--supersede --reason "counter was set wrong" fixed.csv
look 2026-02-05
says out "1 of 2 verdicts moved: Q1."
says out "1 file loaded since, 1 of them a correction of earlier rows"
says out "Not settled, and about when"
says out "about one in two"
says out "Read here, but not in this plan"
check "with its reading" grep -q \
	'^Asked beside the plan .*2026-01-06 *1 .*below no effect' out
status 0 "a reading without a ledger" "$perdraw" review -q --db c.db \
	--plan q.plan --date 2026-02-06 --no-ledger
says out "1 of 2 verdicts moved: Q1."
finish
