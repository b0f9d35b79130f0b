#!/bin/sh
# The tour of README.md and the pages of docs/guide are real: every line after
# "    $ " is run, in order, each page in a build folder of its own, and what
# follows it must be what it prints. To renew them after a change:
#   PERDRAW_GOLDEN=refresh sh tests/readme.sh
# PERDRAW_PAGES names some of them.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
unset SOURCE_DATE_EPOCH COLUMNS NO_COLOR || :
umask 022

# The folder as the reader sees it: a build folder, or a folder of work where
# the command is installed.
folder() {
	mkdir -p "$1/demo-data"
	printf '#!/bin/sh\nexec "%s" "$@"\n' "$perdraw" >"$1/perdraw"
	printf '#!/bin/sh\nexec "%s" "$@"\n' "$generate" >"$1/demo-data/generate"
	chmod +x "$1/perdraw" "$1/demo-data/generate"
	cp "$source_root"/demo-data/*.plan "$source_root"/demo-data/*.map \
		"$source_root"/demo-data/*.claim "$source_root"/demo-data/*.csv \
		"$1/demo-data/"
}

# run PAGE: the page again, with what its commands print now.
run() {
	PATH=$PWD:$PATH awk '
		function run(command,   line) {
			while ((command | getline line) > 0)
				print line == "" ? "" : "    " line
			close(command)
		}
		/^    \$ / {
			print
			run(substr($0, 7))
			in_output = 1
			next
		}
		in_output && (/^    / || /^$/) { next }
		in_output { print ""; in_output = 0 }
		{ print }
	' "$1"
}

cd "$source_root"
pages=${PERDRAW_PAGES:-README.md $(ls docs/guide/*.md)}
for page in $pages; do
	tour=$scratch/$(basename "$page" .md)
	folder "$tour"
	cd "$tour"
	run "$source_root/$page" 2>"$tour.err" >"$tour.md"
	sed -i '/^perdraw: .* \.\.\.$/d' "$tour.err" # a slow machine's progress
	cd "$source_root"
	if [ "${PERDRAW_GOLDEN:-}" = refresh ]; then
		cp "$tour.md" "$source_root/$page"
		echo "renewed, now read: git diff $page"
	fi
	if diff "$source_root/$page" "$tour.md" >"$scratch/difference"; then
		pass
	else
		fail "$page shows what the command does not print"
		head -60 "$scratch/difference"
	fi
	check "$page: $(head -3 "$tour.err")" [ ! -s "$tour.err" ]
	# Whoever reads a page about decisions reads the cautions there, too.
	check "$page has no cautions" grep -qi '^## cautions\|^# .*guide' "$page"
done
n_commands=$(cat $pages | grep -c '^    \$ ')
[ -n "${PERDRAW_PAGES:-}" ] ||
	check "the pages have commands" [ "$n_commands" -ge 30 ]

# Every page of the guide is named by its first page, and every command of the
# program by some page.
if [ -z "${PERDRAW_PAGES:-}" ]; then
	for page in docs/guide/*.md; do
		name=$(basename "$page")
		check "docs/guide/index.md does not name $name" \
			grep -q "$name" docs/guide/index.md README.md
	done
	for c in $("$perdraw" --help |
		sed -n '/^commands/,/^$/s/^  \([a-z]*\) .*/\1/p'); do
		check "no page of the guide runs perdraw $c" \
			grep -q "^    \$ .*perdraw $c " docs/guide/*.md
	done
fi
finish
