#!/bin/sh
# `make fuzz`: every target of targets.h under libFuzzer with address and
# undefined-behaviour checks, SECONDS each (FUZZ_SECONDS, 60), two at a time.
# What was found stays in fuzz-build/TARGET-*; last line: N passed, N failed.
# Needs clang and its runtime (Debian: clang, libclang-rt-14-dev).
set -eu
source=$(cd "$1" && pwd)
seconds=${FUZZ_SECONDS:-60}
targets=${FUZZ_TARGETS:-table plan claim printed number store}
clang=${FUZZ_CC:-clang}
check="-fsanitize=address,undefined -fno-sanitize-recover=all"

mkdir -p fuzz-build
cd fuzz-build
# The library only, with its counters of edges.
if [ ! -f Makefile ]; then
	"$source/configure" -q --disable-shared --enable-static CC="$clang" \
		CFLAGS="-O1 -g -fsanitize=fuzzer-no-link $check" \
		LDFLAGS="$check" >configure.out
fi
make -j2 libperdraw-core.la >make.out 2>&1 || { tail make.out; exit 99; }
libs=$(printf 'include Makefile\nfuzz-libs:\n\t@echo $(OUTSIDE_LIBS)\n' |
	make -s -f - fuzz-libs)
for t in $targets; do
	$clang -std=c17 -D_GNU_SOURCE -O1 -g "-fsanitize=fuzzer,address,undefined" \
		-fno-sanitize-recover=all -I"$source/lib" \
		-DFUZZ_TARGET="fuzz_$t" "$source/tests/fuzz/entry.c" \
		"$source/tests/fuzz/targets.c" .libs/libperdraw-core.a \
		$libs -o "fuzz-$t"
done

# Seeds are files the project has anyway.
demo=$source/demo-data
bad=$source/tests/bad
for t in $targets; do mkdir -p "seeds/$t" "found/$t"; done
seed() {
	[ ! -d "seeds/$1" ] || cp "$2" "seeds/$1/"
}
for f in "$demo"/small.csv "$bad"/*.csv; do seed table "$f"; done
if [ -d seeds/table ]; then
	{ cat "$bad/dialect.map"; printf '\n----\n'; cat "$bad/dialect.csv"; } \
		>seeds/table/dialect
fi
for f in "$demo"/*.plan; do seed plan "$f"; done
seed claim "$demo/demo.claim"
seed printed "$demo/printed.csv"
seed number "$source/tests/fuzz/numbers.txt"
if [ -d seeds/store ] && [ ! -f seeds/store/small.db ] && [ -x ../perdraw ]; then
	../perdraw load -q --db one.db --date 2026-01-05 "$demo/small.csv" \
		2>/dev/null && ../perdraw backup -q --db one.db \
		seeds/store/small.db >/dev/null || exit 99
	rm -f one.db*
fi

n_passed=0
n_failed=0
one() {
	size=65536
	[ "$1" != store ] || size=800000
	if "./fuzz-$1" -max_total_time="$seconds" -max_len=$size -timeout=10 \
		-rss_limit_mb=2048 -seed=20260105 -print_final_stats=1 \
		-artifact_prefix="$1-" -dict="$source/tests/fuzz/words.dict" \
		"found/$1" "seeds/$1" >"$1.log" 2>&1; then
		echo good >"$1.end"
	else
		echo bad >"$1.end"
	fi
}
report() {
	runs=$(sed -n 's/^stat::number_of_executed_units: *//p' "$1.log")
	edges=$(sed -n 's/.* cov: \([0-9]*\) .*/\1/p' "$1.log" | tail -n 1)
	if [ "$(cat "$1.end")" = good ]; then
		n_passed=$((n_passed + 1))
		echo "fuzz $1: ${runs:-0} inputs in $seconds s, $edges edges, no finding"
	else
		n_failed=$((n_failed + 1))
		echo "FAILED: fuzz $1 after ${runs:-?} inputs, see fuzz-build/$1.log"
		grep -m 3 -E 'ERROR|broken word|runtime error|SUMMARY' "$1.log" || :
	fi
}
set -- $targets
while [ $# -gt 0 ]; do
	one "$1" &
	pair=$1
	shift
	if [ $# -gt 0 ]; then
		one "$1" &
		pair="$pair $1"
		shift
	fi
	wait
	for t in $pair; do report "$t"; done
done
echo "$n_passed passed, $n_failed failed"
[ "$n_failed" -eq 0 ]
