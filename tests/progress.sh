#!/bin/sh
# The sign of life: a line on a terminal after two seconds, wiped before the
# result; none before that, none with --quiet, nothing rewritten on a dumb
# terminal, nothing coloured with NO_COLOR, and no trace where stderr is a file.
# Slow work is an input that comes late, through a pipe.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
cd "$scratch"
if ! command -v python3 >/dev/null 2>&1; then
	echo "python3 is not installed: the terminal is NOT RUN"
	finish
fi
unset NO_COLOR COLUMNS SOURCE_DATE_EPOCH || :
"$generate" --cases 60 --out-dir . >/dev/null || exit 99
cp "$source_root/demo-data/printed.csv" "$source_root/demo-data/demo.plan" .
status 0 "a small clinic loads" "$perdraw" load --quiet --db c.db \
	--date 2026-01-05 clinic.csv cd34.csv
mkfifo late
esc=$(printf '\033')
wipe="$(printf '\r')$esc[K"

# slow SECONDS FILE COMMAND...: `late` is FILE, that much later.
slow() {
	seconds=$1
	file=$2
	shift 2
	(sleep "$seconds" && cat "$file" >late) &
	TERM=${term-xterm} python3 "$source_root/tests/terminal.py" 80 \
		"$perdraw" "$@" >screen || :
	wait
	tr -d '\r' <screen | sed "s/^.*$esc\[K//" >result
}
# has WORDS / lacks WORDS: on the screen, as written.
has() {
	check "$what: its screen lacks '$1'" grep -qF -- "$1" screen
}
lacks() {
	check "$what: its screen has '$1'" sh -c "! grep -qF -- '$1' screen"
}

pool="pool --date 2026-01-05 --outcome cfu_f"
"$perdraw" $pool --printed printed.csv >plain
# The same without emphasis, which a terminal gets and a file does not.
same() {
	sed "s/$esc\[[0-9;]*m//g" result >bare
	check "$what: another result" diff bare plain
}
sed "s/printed\.csv/late/" plain >late.out
mv late.out plain

what="two seconds and more"
slow 5 printed.csv $pool --printed late
has "${wipe}perdraw: pool, 2 s"
same
what="less than two seconds"
slow 0 printed.csv $pool --printed late
lacks "perdraw: pool"
lacks "$wipe"
same
what="--quiet"
slow 5 printed.csv $pool --printed late --quiet
lacks "perdraw: pool"
same
what="a dumb terminal"
term=dumb
slow 5 printed.csv $pool --printed late
unset term
lacks "$esc"
lacks "perdraw: pool"
same
what="NO_COLOR"
NO_COLOR=1
export NO_COLOR
slow 5 printed.csv $pool --printed late
unset NO_COLOR
has "${wipe}perdraw: pool, 2 s"
check "$what: no colour, no bold" sh -c "! grep -q '$esc\[[0-9;]*m' screen"
same
what="an error after two seconds"
slow 5 clinic.csv $pool --printed late
has "${wipe}perdraw: pool, 2 s"
check "$what: the error stands alone" grep -q '^late:1:1: error: ' result

# Every command waits the same way: plans and printed claims come late, too.
for c in "review --no-ledger" "ask --no-ledger second-pull" "size second-pull" \
	"paper --no-ledger"; do
	name=${c%% *}
	what=$name
	# shellcheck disable=SC2086
	slow 5 demo.plan $c --db c.db --plan late --text "$name.txt"
	has "${wipe}perdraw: $name, "
	check "$what: something else stays on the screen" \
		sh -c "! grep . result"
done
what=load
slow 5 clinic.csv load --db new.db late
has "${wipe}perdraw: load, 2 s"

# Where standard error is a file nothing is rewritten.
(sleep 3 && cat printed.csv >late) &
# shellcheck disable=SC2086
status 0 "standard error is a file" "$perdraw" $pool --printed late
silent err
check "and the result is the same" cmp -s out plain
wait
finish
