#!/bin/sh
# torture.sh - memory that runs out, disks that fail, kills and damaged files:
# tests/fault/torture.py, every PERDRAW_EVERY-th place in `make check`, every
# single one in `make torture`.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
program=$perdraw
top=$(dirname "$perdraw")
# The program itself: libtool's wrapper is a shell, whose memory would run out.
if [ -x "$top/.libs/perdraw" ]; then
	program=$top/.libs/perdraw
	LD_LIBRARY_PATH=$top/.libs${LD_LIBRARY_PATH:+:$LD_LIBRARY_PATH}
	export LD_LIBRARY_PATH
fi
command -v python3 >/dev/null || { echo "NOT RUN: no python3"; exit 77; }

kinds="killed crowd flipped"
if [ -n "${PERDRAW_SANITIZED-}" ]; then
	echo "memory, storage: not run in a sanitized build, whose runtime has" \
		"its own memory and stops under a tracer"
else
	kinds="memory $kinds"
	${PERDRAW_CC:-cc} -std=c17 -D_GNU_SOURCE -O2 -fPIC -shared \
		-fno-optimize-sibling-calls -o "$scratch/fail_memory.so" \
		"$source_root/tests/fault/fail_memory.c" || exit 99
	if strace -f -o /dev/null true 2>/dev/null; then
		kinds="$kinds storage"
	else
		echo "storage: NOT RUN, no strace or no tracing allowed"
	fi
fi
every=${PERDRAW_EVERY:-41}
got=0
# shellcheck disable=SC2086
python3 "$source_root/tests/fault/torture.py" --perdraw "$program" \
	--generate "$generate" --demo "$source_root/demo-data" \
	--shim "$scratch/fail_memory.so" --every "$every" \
	--kills "${PERDRAW_KILLS:-50}" --rounds "${PERDRAW_ROUNDS:-20}" --flips "${PERDRAW_FLIPS:-2000}" \
	$kinds || got=$?
exit "$got"
