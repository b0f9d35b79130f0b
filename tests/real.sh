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
finish
