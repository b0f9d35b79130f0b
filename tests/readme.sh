#!/bin/sh
# The tour of README.md is real: every line after "    $ " is run, in order,
# and what follows it must be what it prints. To renew it after a change:
#   PERDRAW_GOLDEN=refresh sh tests/readme.sh
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
readme=$source_root/README.md
unset SOURCE_DATE_EPOCH COLUMNS NO_COLOR || :

# The build folder as the reader sees it.
mkdir "$scratch/tour" "$scratch/tour/demo-data"
cd "$scratch/tour"
printf '#!/bin/sh\nexec "%s" "$@"\n' "$perdraw" >perdraw
printf '#!/bin/sh\nexec "%s" "$@"\n' "$generate" >demo-data/generate
chmod +x perdraw demo-data/generate
cp "$source_root"/demo-data/*.plan "$source_root"/demo-data/*.map \
	"$source_root"/demo-data/*.claim demo-data/

awk '
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
' "$readme" >"$scratch/README.md"

n_commands=$(grep -c '^    \$ ' "$readme")
check "the tour has commands" [ "$n_commands" -ge 6 ]
if [ "${PERDRAW_GOLDEN:-}" = refresh ]; then
	cp "$scratch/README.md" "$readme"
	echo "renewed, now read: git diff README.md"
fi
if diff "$readme" "$scratch/README.md" >"$scratch/difference"; then
	pass
else
	fail "README.md shows what the command does not print"
	head -60 "$scratch/difference"
fi
finish
