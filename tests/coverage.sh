#!/bin/sh
# coverage.sh - do the review's intervals cover the truth? Fresh demo clinics
# are generated, loaded and reviewed, a seed each; every effect of demo.plan is
# held against the truth the generator states.
#   - 95 % intervals must cover in at least 90 % of all effects x seeds;
#   - with twenty seeds or more, each effect must in 80 % of the seeds;
#   - each comparison of naive.plan must miss in more than half of the seeds;
#   - no question may go unanswered.
# PERDRAW_SEEDS  how many seeds (default 4, `make intervals`: 50)
# PERDRAW_CASES  cases a clinic (default 2400)
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
seeds=${PERDRAW_SEEDS:-4}
cases=${PERDRAW_CASES:-2400}
plans=$source_root/demo-data

# read_plan DATABASE PLAN: the review as a table beside the clinic's files.
read_plan() {
	"$perdraw" review --db "$1" --plan "$plans/$2.plan" \
		--date 2026-01-05 --quiet --no-ledger --format tsv \
		>"$scratch/clinic/$2.tsv"
}

# one_seed N: appends to $scratch/cells one line an effect:
#   question effect expect truth value low high
one_seed() {
	d=$scratch/clinic
	rm -rf "$d"
	mkdir "$d"
	"$generate" --seed "$1" --cases "$cases" --out-dir "$d" || return 1
	"$perdraw" load --db "$d/db" --date 2026-01-05 --quiet \
		"$d/clinic.csv" "$d/cd34.csv" "$d/pools.csv" \
		>"$d/out" 2>&1 || { tail -5 "$d/out"; return 1; }
	"$perdraw" load --db "$d/naive" --map "$plans/naive.map" \
		--date 2026-01-05 --quiet "$d/clinic.csv" "$d/pools.csv" \
		>"$d/out" 2>&1 || { tail -5 "$d/out"; return 1; }
	read_plan "$d/db" demo && read_plan "$d/naive" naive || return 1
	LC_ALL=C awk -f "$source_root/tests/coverage.awk" \
		"$d/truth.tsv" "$d/demo.tsv" "$d/naive.tsv" >>"$scratch/cells"
}

: >"$scratch/cells"
seed=1
while [ "$seed" -le "$seeds" ]; do
	check "seed $seed: generate, load or review failed" one_seed "$seed"
	seed=$((seed + 1))
done

LC_ALL=C awk -F '\t' -v seeds="$seeds" '
	{
		key = $1 ($2 == "" ? "" : " " $2)
		if (!(key in n))
			order[++keys] = key
		n[key]++
		expect[key] = $3
		if ($5 == "" || $6 == "" || $7 == "") {
			none[key]++
			next
		}
		covered = $4 + 0 >= $6 + 0 && $4 + 0 <= $7 + 0
		hit[key] += covered
		truth[key] = $4
		value[key] += $5
	}
	END {
		for (i = 1; i <= keys; i++) {
			k = order[i]
			answered = n[k] - none[k]
			printf "%-32s %-5s %3d of %3d cover, mean %8.4f, " \
			       "truth %8.4f%s\n", k, expect[k], hit[k], n[k],
			       answered ? value[k] / answered : 0, truth[k],
			       none[k] ? ", " none[k] " unanswered" : ""
			if (n[k] != seeds || none[k])
				bad = bad " unanswered:" k
			if (expect[k] == "miss" && 2 * hit[k] >= n[k])
				bad = bad " naive-covers:" k
			if (expect[k] != "cover")
				continue
			cells += n[k]
			hits += hit[k]
			if (seeds >= 20 && hit[k] < 0.8 * n[k])
				bad = bad " seldom-covers:" k
		}
		printf "all: %d of %d intervals cover (%.1f %%)\n", hits, cells,
		       cells ? 100 * hits / cells : 0
		if (!cells || hits < 0.9 * cells)
			bad = bad " too-few-cover"
		print bad >BAD
	}' BAD="$scratch/bad" "$scratch/cells" >"$scratch/table"
cat "$scratch/table"
for what in unanswered naive-covers seldom-covers too-few-cover; do
	names=$(tr ' ' '\n' <"$scratch/bad" | grep "^$what" | tr '\n' ' ') || :
	check "$names" [ -z "$names" ]
done
finish
