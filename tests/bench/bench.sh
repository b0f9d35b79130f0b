#!/bin/sh
# bench.sh - every timed workload beside its reference, in one run.
#
#   tests/bench/bench.sh PERDRAW GEN FITS > bench.tsv
#
# PERDRAW is the program, GEN the generator (gen.c), FITS the timed fits
# (fits.c). References run where they are installed: R with lme4 and pbkrtest,
# Debian's numpy, the sqlite3 shell; without them the columns stay empty.
# Medians of RUNS (5) runs, of slow references fewer. BENCH_CASES: sizes
# (3500 35000); BENCH_WORK: only these workloads. Ratio is reference / ours:
# above 1 we are faster. A line on standard error says where the two do not
# come to the same number, and how the time grows with the size.
set -eu
here=$(dirname "$0")
program=$1
gen=$2
fits=$3
runs=${RUNS:-5}
sizes=${BENCH_CASES:-3500 35000}
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
export OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1

has_r=$(Rscript -e 'library(lme4); library(pbkrtest)' >/dev/null 2>&1 &&
	echo yes || echo no)
python=
for p in /usr/bin/python3 python3; do
	[ -z "$python" ] && $p -c 'import numpy' >/dev/null 2>&1 && python=$p
done

# reference WORK CASES: program and runs, nothing where it would take too long
reference() {
	case $1 in
	bootstrap-10000 | sign-flip-100000 | least-squares | clusters-2000)
		[ -n "$python" ] && [ "$2" -le 35000 ] &&
			echo "$python $here/fits.py $runs"
		;;
	four-levels | one-level)
		[ "$has_r" = yes ] && [ "$2" -le 3500 ] &&
			echo "Rscript $here/fits.R 3"
		;;
	kenward-roger | profile-one | poisson-nodes-9 | nb2-nodes-9)
		[ "$has_r" = yes ] && [ "$2" -le 3500 ] &&
			echo "Rscript $here/fits.R 1"
		;;
	esac || :
}

# one WORK CASES FILE
one() {
	ours=$("$fits" "$1" "$3" "$runs")
	how=$(reference "$1" "$2")
	theirs=
	if [ -n "$how" ]; then
		theirs=$(${how% *} "$1" "$3" "${how##* }" 2>/dev/null) ||
			echo "$1: the reference failed" >&2
	fi
	printf '%s\n%s\n' "$ours" "$theirs" | awk -F '\t' -v cases="$2" '
		NR == 1 { w = $1; s = $4; mb = $7; a = $8 }
		NR == 2 { r = $2; b = $3; used = $4 }
		END {
			ratio = r != "" && s > 0 ? sprintf("%.3g", r / s) : ""
			printf "%s\t%d\t%.6f\t%d\t%s\t%s\t%s\n", w, cases, s,
			       mb, used, r, ratio
			d = a - b
			m = b < 0 ? -b : b
			if (r != "" && (d > 1e-3 * m || d < -1e-3 * m))
				printf "%s: ours came to %s, the reference to %s\n",
				       w, a, b > "/dev/stderr"
		}'
}

growth() {
	awk -F '\t' '$1 == w && last { printf "%s: time grows as cases to the %.2f\n",
		w, log($3 / last) / log($2 / n) } { w = $1; last = $3; n = $2 }' \
		"$1" >&2
}

printf 'workload\tcases\tours_s\tours_mb\treference\treference_s\tratio\n'
for work in ${BENCH_WORK:-load $("$fits" list)}; do
	: >"$folder/rows"
	for cases in $sizes; do
		if [ "$work" = load ]; then
			SIZES=$cases RUNS=$runs sh "$here/load.sh" "$program" \
				"$gen" | tail -n +2 >>"$folder/rows"
			continue
		fi
		file=$folder/$cases.csv
		[ -f "$file" ] || "$gen" "$cases" >"$file"
		one "$work" "$cases" "$file" >>"$folder/rows"
	done
	cat "$folder/rows"
	growth "$folder/rows"
done
