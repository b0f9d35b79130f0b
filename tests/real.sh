#!/bin/sh
# real.sh - real, open data through the same path as a clinic's: file, map,
# store, question, ratio. The files are not part of the project; PERDRAW_REAL
# names the folder that holds them (default ../shared/real beside the source).
# Known answers: R 4.2.2 of Debian 12 (t.test, lm) on the logs.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
real=${PERDRAW_REAL:-$source_root/../shared/real}
maps=$source_root/tests/real
methods=$real/cd34_two_methods.csv
doses=$real/transplant_doses.arff
if [ ! -f "$methods" ] || [ ! -f "$doses" ]; then
	echo "NOT RUN: no real data in $real (set PERDRAW_REAL)"
	exit 77
fi

# near TABLE QUESTION VALUE LOW HIGH: the effect within 1e-7 of each.
near() {
	LC_ALL=C awk -F '\t' -v q="$2" -v v="$3" -v l="$4" -v h="$5" '
		function off(a, b) { return a > b ? (a - b) / b : (b - a) / b }
		$1 == q { n++; worst = off($3, v)
			if (off($4, l) > worst) worst = off($4, l)
			if (off($5, h) > worst) worst = off($5, h)
			print q ": " $3 " (" $4 " to " $5 ")" }
		END { exit !(n == 1 && worst < 1e-7) }' "$1"
}

# ask NAME FILE: load the file by its map, review its plan into NAME.tsv.
ask() {
	status 0 "load $1" "$perdraw" load --db "$scratch/$1.db" \
		--map "$maps/$1.map" --date 2026-01-05 "$2"
	cp "$scratch/out" "$scratch/$1.account"
	status 0 "review $1" "$perdraw" review --db "$scratch/$1.db" \
		--plan "$maps/$1.plan" --date 2026-01-05 --quiet --format tsv
	cp "$scratch/out" "$scratch/$1.tsv"
}

# Every case has a date and these files have none: the year of publication.
sed '1s/$/,date/; 2,$s/$/,2000-07-01/' "$methods" >"$scratch/methods.csv"
ask cd34 "$scratch/methods.csv"
check "40 rows of 20 samples" \
	sh -c "grep -q 'rows read *40 = 40' '$scratch/cd34.account' &&
		grep -q 'new patients *20\$' '$scratch/cd34.account' &&
		grep -q 'new results *40\$' '$scratch/cd34.account'"
check "method 3 against 1 is not the known ratio" near "$scratch/cd34.tsv" \
	methods 1.498632882 1.280625420 1.753752878
p=$(awk -F '\t' '$1 == "methods" { printf "%.4e", $6 }' "$scratch/cd34.tsv")
check "p is $p, known 3.3801e-05" [ "$p" = 3.3801e-05 ]

awk 'BEGIN { OFS = "," }
	{ sub(/\r$/, "") }
	tolower($1) == "@attribute" { head = head "," $2; next }
	tolower($1) == "@data" { print "row,date" head; data = 1; next }
	data && NF { print ++n, "2020-01-01", $0 }' "$doses" \
	>"$scratch/doses.csv"
ask transplant "$scratch/doses.csv"
check "187 rows" grep -q 'rows read *187 = 187' "$scratch/transplant.account"
check "blood against marrow, crude" near "$scratch/transplant.tsv" \
	crude 3.392274061 2.683512767 4.288231249
check "blood against marrow, adjusted" near "$scratch/transplant.tsv" \
	adjusted 3.143021883 2.5777662021 3.8322275114
check "ten years of donor age" near "$scratch/transplant.tsv" \
	donor-age 1.0297139898 0.9311558909 1.1387039604
# ---- more known answers, R 4.2.2: lm with the product; the spline's columns
# by hand at R's quantiles of the 185 donors; lm of the 0/100 values.
check "age in girls against boys" near "$scratch/transplant.tsv" \
	age-sex 1.3728291708 1.1122648495 1.6944344982
check "45 years against 25 on a curve" near "$scratch/transplant.tsv" \
	age-curve 1.0056757629 0.8152350631 1.2406038282
check "share that reaches 5" near "$scratch/transplant.tsv" \
	floor 65.5336617406 54.4179777507 76.6493457304

# flat NAME COMMAND...: its text without line ends in NAME.flat.
flat() {
	name=$1
	shift
	"$@" --date 2026-01-05 --width 200 >"$scratch/$name.txt" || :
	tr '\n' ' ' <"$scratch/$name.txt" | tr -s ' ' >"$scratch/$name.flat"
}
# told NAME WORDS...: each stands in NAME.flat.
told() {
	name=$1
	shift
	for words in "$@"; do
		check "$name: no '$words'" \
			grep -qF -- "$words" "$scratch/$name.flat"
	done
}
cd34=$scratch/cd34.db
dose=$scratch/transplant.db

# Signed rank V = 196, p = 0.0002098; Hodges-Lehmann exp(0.4143215), exp of
# 0.2397977 to 0.5725133; 16 of 20 rise; random intercepts 1.1218 and 0.2375,
# so that 1.1218^2 / (1.1218^2 + 0.2375^2) = 0.957 of the variance is the
# samples'. R 4.2.2: wilcox.test, binom.test; lme4 1.1-31.
flat pairs "$perdraw" ask -q --db "$cd34" --no-ledger \
	--plan "$maps/cd34.plan" methods
told pairs "1.50 (1.28 to 1.75) 19 <.001" \
	"signed-rank with Hodges-Lehmann interval 1.51 (1.27 to 1.77) <.001" \
	"16 of 20 lines rise, 4 fall" "standard deviation of the differences is 0.34"
flat spread "$perdraw" ask -q --db "$cd34" --no-ledger \
	--plan "$maps/cd34.plan" spread
told spread "patients 1.12 (" "laboratory 0.24 (" "22.4-fold 0.957"

# Limits of agreement 0.7758429 to 2.8947881, Deming's slope 1.085456524
# (closed forms in R).
flat agree "$perdraw" agree --db "$cd34" --outcome cd34 \
	--judge concentration --first 1 --second 3
told agree "second over first 1.50 (1.28 to 1.75)" \
	"Lower limit of agreement 0.78 (" "Upper limit of agreement 2.89 (" \
	"Deming's line 1.09 (" "20 pulls of 20 patients were counted by both" \
	"Forty are advised"

# power.t.test(delta = log(1.25), sd = 0.33589717, type = "paired"): 19.8.
flat size "$perdraw" size --db "$cd34" --plan "$maps/cd34.plan" \
	--truth 1.25 methods
told size "with a chance of 80.5% if the truth is 1.25; with one fewer" \
	"1.25 20 80.5"

# 1.62 (1.31 to 2.02) by the normal law; here by Student's of each arm's n.
flat claim "$perdraw" claim --db "$dose" "$maps/gauge.claim"
told claim "ratio 1.62 (95% CI, 1.31 to 2.01)" \
	"Nothing is recorded of needle_gauge"

flat pool "$perdraw" pool --outcome cd34 \
	--printed "$source_root/docs/published-ratios.csv"
told pool "1.62 (1.31 to 2.02)" "Not pooled. Why: 1 ratio"
flat expect "$perdraw" expect --db "$dose" --outcome cd34 --age 30 \
	--sex female
told expect "0 patients have CD34+ cells of single pulls with age, sex and volume"
flat watch "$perdraw" watch --db "$cd34" --outcome cd34
told watch "Cannot be watched. Why: Nothing is recorded of age_y, volume_ml."
flat missing "$perdraw" findings --db "$dose" --missing
told missing "CD34+ 187 187 0 0 0 0 0.0 (0.0 to 2.0)" \
	"no nucleated count is recorded"
status 0 "findings" "$perdraw" findings --db "$dose"
says out "implausible-value: found recipient_body_mass '103.4'"
check "no digits are said to be preferred: they are not" sh -c \
	"! grep -q digit-preference '$scratch/out'"

status 0 "release" "$perdraw" release --db "$dose" --seed 7 \
	--into "$scratch/given" --date 2026-01-05
check "187 rows are given away" sh -c \
	"cat '$scratch'/given/*.csv | grep -c ',\?' | awk '{ exit !(\$1 > 187) }'"
check "no date goes with them" sh -c \
	"! grep -q '2020-01-01' '$scratch'/given/*.csv"

# lm: body mass -0.018857905 (SE 0.002159623, 181 df): ln 2 over it and over
# its limits.
flat half "$perdraw" ask -q --db "$dose" --no-ledger \
	--plan "$maps/transplant.plan" body-mass
told half "half is left for every 36.8 (30 to 47.5) by which"

# ---- the questions of docs/questions.md as a clinic would ask them: neither
# file holds how a draw was made, so each is refused and a column named.
for set in cd34 transplant; do
	status 0 "questions of $set" "$perdraw" review -q \
		--db "$scratch/$set.db" --no-ledger \
		--plan "$source_root/demo-data/questions.plan" \
		--date 2026-01-05 --format tsv --text "$scratch/q.txt" \
		--width 200
	check "$set: all are refused" awk -F '\t' \
		'NR > 1 && $NF != "no answer" { exit 1 }' "$scratch/out"
	asked=$(sed 1d "$scratch/out" | wc -l)
	sed '/^effects were tested/q; /^The answer in full/q' "$scratch/q.txt" |
		tr '\n' ' ' | tr -s ' ' >"$scratch/q.flat"
	named=$(grep -o 'Why: no row is left after the steps below\. Nothing is recorded of [a-z]' \
		"$scratch/q.flat" | wc -l)
	check "$set: $asked asked, $named name a column" \
		[ "$named" -ge "$asked" ]
	rm "$scratch/q.txt"
done
for words in "Why: 75 against 25 lies outside the values seen" \
	"Why: 'repeat case 1' was drawn in 0 patients" \
	"Why: no row is left after the steps below. Nothing is recorded of operator."; do
	flat refused "$perdraw" review -q --db "$dose" --no-ledger \
		--plan "$maps/transplant.plan"
	told refused "$words"
done
rows=$(sed -n '/^## On real data/,$p' "$source_root/docs/questions.md" |
	grep -c '^| [0-9]')
check "43 questions on real data, found $rows" [ "$rows" -eq 43 ]

# Twice the same bytes.
cp "$scratch/pairs.txt" "$scratch/before.txt"
flat pairs "$perdraw" ask -q --db "$cd34" --no-ledger \
	--plan "$maps/cd34.plan" methods
check "same bytes twice" cmp -s "$scratch/pairs.txt" "$scratch/before.txt"
finish
