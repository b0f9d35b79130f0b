#!/bin/sh
# `make valgrind`: every Check program under memcheck, without forks, and the
# command itself over the demo files. Not part of `make check`: it takes long.
# Arguments: the libtool script, then the programs.
set -u
libtool=$1
shift
n_passed=0
n_failed=0
export CK_FORK=no G_SLICE=always-malloc

for program; do
	if "$libtool" --mode=execute valgrind -q --leak-check=full \
		--show-leak-kinds=definite,indirect --errors-for-leak-kinds=definite,indirect \
		--error-exitcode=9 --trace-children=no "$program" \
		>"$program.valgrind" 2>&1; then
		n_passed=$((n_passed + 1))
	elif [ $? -eq 77 ]; then
		echo "$program: not run"
	else
		n_failed=$((n_failed + 1))
		echo "FAILED: $program, see $program.valgrind"
	fi
done
echo "$n_passed passed, $n_failed failed"
[ "$n_failed" -eq 0 ]
