#!/bin/sh
# demo.sh - the demo clinic itself: same seed same bytes, TRUTH.md as the
# generator states it, simulated truths still true, files that load without an
# error, the planted slips noticed, and forty bad rows that are all found.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
demo=$source_root/demo-data
one=$scratch/one
two=$scratch/two
mkdir "$one" "$two"

# ---- the generator
status 0 "generate" "$generate" --out-dir "$one"
LC_ALL=de_DE.UTF-8 "$generate" --seed 1 --cases 2400 --out-dir "$two"
check "the same seed gives other bytes" diff -r "$one" "$two"
"$generate" --seed 2 --out-dir "$two"
check "another seed gives the same clinic" \
	sh -c "! cmp -s '$one/clinic.csv' '$two/clinic.csv'"
status 64 "generate without a folder" "$generate" --seed 3
status 64 "generate with a bad number" "$generate" --cases 1x --out-dir "$two"
status 0 "simulated truths" "$generate" --check-truth
"$generate" --truth-table >"$scratch/table"
sed -n '/^<!-- made by/,/^<!-- end/p' "$demo/TRUTH.md" | sed '1d;$d' \
	>"$scratch/written"
check "TRUTH.md is not what generate --truth-table prints" \
	diff "$scratch/table" "$scratch/written"
"$generate" --cases 60 --out-dir "$two"
check "small.csv is not the first 60-case clinic" \
	cmp "$demo/small.csv" "$two/clinic.csv"

# ---- the sound files
status 0 "load the clinic" "$perdraw" load --db "$one/db" --date 2026-01-05 \
	--all "$one/clinic.csv" "$one/cd34.csv" "$one/pools.csv"
cp "$scratch/out" "$scratch/account"
cp "$scratch/err" "$scratch/found"
check "a sound file has an error finding" \
	sh -c "! grep -q ': error: ' '$scratch/found'"
for code in tnc-unit-slip pool-copied-down digit-preference; do
	check "the planted $code is not found" grep -q "$code" "$scratch/found"
done
status 0 "load small.csv" "$perdraw" load --db "$two/db" --date 2026-01-05 \
	"$demo/small.csv"

# ---- the clinic's own dialect gives the same store
status 0 "load the dialect" "$perdraw" load --db "$scratch/local.db" \
	--map "$demo/local.map" --date 2026-01-05 "$one/local.csv"
sed -n '/clinic.csv/,/new results/p' "$scratch/account" | grep '  ' \
	>"$scratch/canonical"
sed -n '/local.csv/,/new results/p' "$scratch/out" | grep '  ' \
	>"$scratch/dialect"
check "the dialect is read as another clinic" \
	diff "$scratch/canonical" "$scratch/dialect"

# ---- the bad file
status 65 "load bad.csv" "$perdraw" load --db "$scratch/bad.db" \
	--date 2026-01-05 --all "$one/bad.csv"
cp "$scratch/err" "$scratch/found"
while IFS='	' read -r line code what; do
	[ "$line" = line ] && continue
	check "bad.csv line $line ($what): no finding $code" \
		grep -q "bad.csv:$line:.*$code" "$scratch/found"
done <"$one/bad.tsv"
finish
