#!/bin/sh
# load.sh - the loader against a plain import of the same file.
#
#   tests/bench/load.sh PERDRAW GEN [FOLDER] > rows of bench.tsv
#
# PERDRAW is the program, GEN the generator (gen.c). The reference is the
# sqlite3 shell's .import of the file into one STRICT table with a unique
# index, with no journal and no sync: it checks nothing but types. Both run in
# turn, five times each, whole processes; medians are compared. The last column
# is import / load: above 1 loading is faster.
set -eu
program=$1
gen=$2
folder=${3:-$(mktemp -d)}
runs=${RUNS:-5}
sizes=${SIZES:-3500 35000}

# seconds and peak MB of a command, its output thrown away
clock() {
	/usr/bin/time -f '%e %M' -o "$folder/clock" "$@" \
		>"$folder/out" 2>"$folder/err" || {
		cat "$folder/err" >&2
		exit 1
	}
	tail -n 1 "$folder/clock"
}

median() {
	sort -n | awk '{ x[NR] = $1 } END {
		m = int((NR + 1) / 2)
		print (x[m] + x[NR + 1 - m]) / 2
	}'
}

import() {
	rm -f "$folder/import.db"*
	clock sqlite3 "$folder/import.db" \
		'PRAGMA journal_mode=OFF; PRAGMA synchronous=OFF;
		 PRAGMA cache_size=-200000; PRAGMA temp_store=MEMORY;
		 PRAGMA locking_mode=EXCLUSIVE;' \
		'CREATE TABLE t (patient TEXT, sex TEXT, birth_year INTEGER,
		 "case" TEXT, case_date TEXT, age_y INTEGER, operator TEXT,
		 side TEXT, site_no INTEGER, aliquot_no INTEGER, volume_ml ANY,
		 syringe_ml INTEGER, needle TEXT, anticoagulant_ml ANY,
		 tnc ANY, viability ANY, hct ANY, cells_plated ANY, dish_1 ANY,
		 dish_2 ANY, dish_3 ANY) STRICT;' \
		".import --csv --skip 1 $1 t" \
		'CREATE UNIQUE INDEX u ON t("case", site_no, aliquot_no);'
}

load() {
	rm -f "$folder/ours.db"*
	clock "$program" load --db "$folder/ours.db" --quiet "$1"
}

printf 'workload\tcases\tours_s\tours_mb\treference\treference_s\tratio\n'
for cases in $sizes; do
	file=$folder/wide-$cases.csv
	"$gen" "$cases" >"$file"
	: >"$folder/ours.txt"
	: >"$folder/import.txt"
	load "$file" >/dev/null # warm the file's pages
	for i in $(seq "$runs"); do
		import "$file" >>"$folder/import.txt"
		load "$file" >>"$folder/ours.txt"
	done
	ours=$(median <"$folder/ours.txt")
	theirs=$(median <"$folder/import.txt")
	mb=$(awk '{ if ($2 > m) m = $2 } END { printf "%.0f", m / 1024 }' \
		"$folder/ours.txt")
	awk -v c="$cases" -v o="$ours" -v m="$mb" -v t="$theirs" 'BEGIN {
		printf "load\t%d\t%.3f\t%d\tsqlite3 import\t%.3f\t%.3f\n", c, o,
		       m, t, t / o }'
	rm -f "$file" "$folder/ours.db"* "$folder/import.db"*
done
[ $# -ge 3 ] || rm -rf "$folder"
