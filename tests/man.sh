#!/bin/sh
# The manual pages: clean under mandoc's lint, and naming exactly the options
# the command has (both come from one table: --help prints it).
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
pages=$source_root/docs/man

if command -v mandoc >/dev/null 2>&1; then
	for page in "$pages"/*.[1-9]; do
		mandoc -T lint -W warning "$page" >"$scratch/lint" 2>&1 || :
		check "$(basename "$page"): $(head -3 "$scratch/lint")" \
			[ ! -s "$scratch/lint" ]
	done
else
	echo "mandoc is not installed: the pages' lint is NOT RUN"
fi

# options_of_help COMMAND / options_of_page FILE: long names, sorted.
options_of_help() {
	"$perdraw" "$1" --help | sed -n '/^options/,/^$/p' |
		sed -n 's/^  \(-., \|    \)--\([a-z-]*\).*/\2/p' | LC_ALL=C sort
}
options_of_page() {
	sed -n 's/^\.It .*Fl -\([a-z-]*\).*/\1/p' "$1" | LC_ALL=C sort -u
}

for command in $("$perdraw" --help | sed -n '/^commands/,/^$/s/^  \([a-z]*\) .*/\1/p'); do
	page=$pages/perdraw-$command.1
	check "perdraw $command has no manual page" [ -f "$page" ]
	[ -f "$page" ] || continue
	options_of_help "$command" >"$scratch/help"
	options_of_page "$page" >"$scratch/page"
	check "perdraw $command --help lists no option" [ -s "$scratch/help" ]
	if diff "$scratch/help" "$scratch/page" >"$scratch/diff"; then
		pass
	else
		fail "perdraw-$command(1) and --help differ in options (<: help, >: page)"
		cat "$scratch/diff"
	fi
	check "perdraw(1) does not name $command" \
		grep -q "perdraw-$command" "$pages/perdraw.1"
done

# same WORDS: the two sorted lists in $scratch/code and $scratch/page agree.
same() {
	check "$1: nothing found to compare" [ -s "$scratch/code" ]
	if diff "$scratch/code" "$scratch/page"; then
		pass
	else
		fail "$1 (<: code, >: page)"
	fi
}

# Names a plan may use, and its keys; the keys of a map's [file].
cd "$source_root"
sed -n 's/^	{ "\([a-z_]*\)", [A-Z_]*, PD_.*/\1/p' lib/data/query_column.c |
	grep -vxE 'patient|case|side|site' | LC_ALL=C sort >"$scratch/code"
sed -n '/^\.Ss Names/,/^\.Sh/p' "$pages/perdraw-plan.5" | sed -n 's/^\.Cm //p' |
	tr -d ' ' | tr ',' '\n' | grep . | grep -vx 'where:' |
	LC_ALL=C sort >"$scratch/page"
same "perdraw-plan(5) and query_column.c differ in names"
sed -n '/struct key {/,/^};/p' lib/plan/question.c |
	grep -o '{ "[a-z_]*", [sp]' | sed 's/{ "//; s/",.*//' |
	LC_ALL=C sort >"$scratch/code"
sed -n '/^\.Ss The other sections/,/^\.Ss Names/s/^\.It Cm \([a-z_]*\)$/\1/p' \
	"$pages/perdraw-plan.5" | LC_ALL=C sort >"$scratch/page"
same "perdraw-plan(5) and question.c differ in keys"
sed -n '/struct file_key {/,/^};/p' lib/data/mapfile.c |
	grep -o '{ "[a-z_]*", set' | sed 's/{ "//; s/",.*//' |
	LC_ALL=C sort >"$scratch/code"
sed -n '/^\.Ss \[file\]/,/^\.Ss \[columns\]/s/^\.It Cm \([a-z_]*\)$/\1/p' \
	"$pages/perdraw-map.5" | LC_ALL=C sort >"$scratch/page"
same "perdraw-map(5) and mapfile.c differ in the keys of [file]"

# Exit statuses: the page lists what status.h lists.
sed -n 's/^[ 	]*X(PD_[A-Z_]*, \([0-9]*\),.*/\1/p' \
	"$source_root/lib/base/status.h" | sort -n >"$scratch/codes"
sed -n '/^\.Sh EXIT STATUS/,/^\.Sh/s/^\.It \([0-9]*\)$/\1/p' \
	"$pages/perdraw.1" | sort -n >"$scratch/page-codes"
check "status.h lists no exit status" [ -s "$scratch/codes" ]
if diff "$scratch/codes" "$scratch/page-codes"; then
	pass
else
	fail "perdraw(1) and lib/base/status.h differ in exit statuses"
fi
finish
