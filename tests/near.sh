#!/bin/sh
# A slip of the pen: wherever a name has to be one of those there are, the
# nearest is suggested and nothing is done; a name far from all gets none.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
cd "$scratch"
mkdir clinic
"$generate" --cases 60 --out-dir clinic >/dev/null || exit 99
cp "$source_root"/demo-data/*.plan "$source_root"/demo-data/*.claim \
	"$source_root"/demo-data/*.map "$source_root/demo-data/printed.csv" .
status 0 "a small clinic loads" "$perdraw" load --quiet --db c.db \
	--date 2026-01-05 clinic/clinic.csv clinic/cd34.csv
cp c.db before.db

# suggests STATUS NAME COMMAND...: ends so and asks whether NAME was meant.
suggests() {
	wanted=$1
	name=$2
	shift 2
	status "$wanted" "$*" "$perdraw" "$@"
	silent out
	says err "; did you mean '$name'?"
}
# plain STATUS COMMAND...: ends so and suggests nothing.
plain() {
	wanted=$1
	shift
	status "$wanted" "$*" "$perdraw" "$@"
	check "$*: suggests something" sh -c "! grep -q 'did you mean' err"
}

# commands, options, choice words
suggests 64 review revew --db c.db
suggests 64 review help reviw
suggests 64 backup back
plain 64 needle
suggests 64 --quiet ask --quite
suggests 64 --help ask --hepl
plain 64 ask --zzzzzz
suggests 64 latex size --db c.db --plan demo.plan --format latx x
suggests 64 warning findings --db c.db --level warnng
suggests 64 supersede history --db c.db --what supercede
suggests 64 not-worse size --db c.db --plan demo.plan --aim not-wors x
plain 64 history --db c.db --what everything

# question names, in every command that takes one
for c in ask size "pool --printed printed.csv --with-own"; do
	# shellcheck disable=SC2086
	suggests 64 second-pull $c --db c.db --plan demo.plan secnd-pull
	# shellcheck disable=SC2086
	plain 64 $c --db c.db --plan demo.plan entirely-other
done

# outcomes, columns, levels given by options
asked="ask --db c.db --judge concentration --within site"
# shellcheck disable=SC2086
{
	suggests 64 cfu_f $asked --outcome cfuf --compare 'aliquot_no 2 against 1'
	plain 64 $asked --outcome splendour --compare 'aliquot_no 2 against 1'
	suggests 64 aliquot_no $asked --outcome tnc --compare 'aliquot_n 2 against 1'
	suggests 64 volume_ml $asked --outcome tnc --slope 'volme_ml per 1'
	suggests 64 age_y $asked --outcome tnc --adjust agey \
		--compare 'aliquot_no 2 against 1'
	suggests 64 landmark $asked --outcome tnc --where 'landmrk is sternum' \
		--compare 'aliquot_no 2 against 1'
	suggests 64 'posterior iliac crest' $asked --outcome tnc \
		--where 'landmark is posterior iliac crst' \
		--compare 'aliquot_no 2 against 1'
	suggests 64 'closed-tip side-hole' $asked --outcome tnc \
		--compare 'needle_geometry closed-tip against open-end'
	suggests 64 'operator' $asked --outcome tnc --differs-by 'opertor A against B' \
		--compare 'aliquot_no 2 against 1'
}
suggests 64 tnc watch --db c.db --outcome tcn
suggests 64 operator watch --db c.db --adjust operater
suggests 64 cfu_f expect --db c.db --outcome cfuf --age 60 --sex female
suggests 64 female expect --db c.db --outcome tnc --age 60 --sex femal
suggests 64 sternum expect --db c.db --outcome tnc --age 60 --sex male \
	--landmark sternm
suggests 64 viability agree --db c.db --outcome viabilty --judge percent \
	--first 'lab-a 1' --second 'lab-a 2'
plain 64 agree --db c.db --outcome tnc --judge concentration \
	--first 'elsewhere 99' --second 'elsewhere 98'
says err "no method version 'elsewhere 99' of this outcome; there are '"
version=$(sed "s/.*there are '\([^']*\)'.*/\1/" err)
suggests 64 "$version" agree --db c.db --outcome tnc --judge concentration \
	--first "x$version" --second 'elsewhere 98'
suggests 64 cfu_f pool --printed printed.csv --outcome cfuf
suggests 64 concentration pool --printed printed.csv --judge concentratoin
first=$(sed -n 2p printed.csv | cut -d, -f4)
suggests 64 "$first" pool --printed printed.csv --first "${first%?}"
plain 64 pool --printed printed.csv --first zzzzzzzz
suggests 64 clinic.csv findings --db c.db --source clnic.csv
plain 64 findings --db c.db --source nothing-of-the-kind

# in_file STATUS PLACE NAME FILE SED COMMAND...: an error in a changed file.
in_file() {
	wanted=$1
	place=$2
	name=$3
	file=$4
	sed "$5" "$file" >"wrong.${file##*.}"
	cmp -s "$file" "wrong.${file##*.}" && fail "$5 changes nothing"
	shift 5
	suggests "$wanted" "$name" "$@"
	says err "wrong.${file##*.}:$place"
}
line() {
	grep -n "$1" "$2" | head -1 | cut -d: -f1
}
n=$(line '^outcome' demo.plan)
in_file 78 "$n:1: error:" outcome demo.plan "${n}s/outcome/outcme/" \
	review --db c.db --plan wrong.plan
n=$(line '^level\|^seed' demo.plan)
word=$(sed -n "${n}s/ *=.*//p" demo.plan)
in_file 78 "$n:1: error:" "$word" demo.plan "${n}s/$word/x$word/" \
	review --db c.db --plan wrong.plan
in_file 78 "$(line '^\[second-pull\]' demo.plan):1: error:" cfu_f demo.plan \
	"0,/^outcome *= cfu_f/s//outcome = cfu_g/" \
	review --db c.db --plan wrong.plan
n=$(line '^\[comparator\]' demo.claim)
in_file 78 "$n:1: error:" comparator demo.claim "${n}s/comparator/comparater/" \
	claim --db c.db wrong.claim
n=$(line '^wording' demo.claim)
in_file 78 "$n:1: error:" wording demo.claim "${n}s/wording/wrding/" \
	claim --db c.db wrong.claim
in_file 65 "1:" outcome printed.csv '1s/outcome/outcom/' \
	pool --printed wrong.csv
printf '[file]\ndelimitr = comma\n' >a.map
suggests 65 delimiter load --db c.db --map a.map clinic/clinic.csv
says err a.map:2:1
printf '[columns]\nPatient = patiens\n' >a.map
status 65 "a field of a map" "$perdraw" load --db c.db --map a.map clinic/clinic.csv
says err "nearest is 'patient'"
printf '[columns]\nS = sex\n[values sex]\nF = femal\n' >a.map
suggests 65 female load --db c.db --map a.map clinic/clinic.csv
says err a.map:4:5
check "nothing was written" cmp -s c.db before.db
finish
