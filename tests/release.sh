#!/bin/sh
# A data set for others: whole or not there, the same bytes from the same seed,
# nothing of the clinic's in any byte, no group too small, results and effects
# as they were, noted in the chain.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
unset SOURCE_DATE_EPOCH COLUMNS NO_COLOR || :
reader=$source_root/tests/release_read.py
cd "$scratch"
"$generate" --cases 300 --out-dir . || exit 99
"$perdraw" load --quiet --db c.db --date 2026-01-05 clinic.csv cd34.csv \
	pools.csv 2>/dev/null || exit 99
python=
command -v python3 >/dev/null 2>&1 && python=python3
[ -n "$python" ] || echo "python3 is not installed: the reader is NOT RUN"
release="$perdraw release --db c.db --date 2026-01-06"

# ---- what is written -----------------------------------------------------------
status 0 "a release" $release --into one --seed 31 --key one.key
says out 'pseudonymised, not anonymous'
says out 'The privacy officer decides'
says out 'no legal advice'
silent err
check "the report is not what was printed" cmp -s out one/report.txt
check "files of the folder" [ "$(ls one | tr '\n' ' ')" = "README.txt \
csv-metadata.json dictionary.csv dictionary.txt long.csv manifest.tsv \
report.txt wide.csv " ]
check "the folder is for others to read" \
	[ "$(stat -c '%a' one one/long.csv one.key | tr '\n' ' ')" = \
	"700 600 600 " ]
check "something is left beside it" [ -z "$(ls -d one.part* 2>/dev/null)" ]

# another seed, another time zone, folder, locale: what may differ and what not
mkdir -p "far/there"
TZ=Pacific/Kiritimati LC_ALL=de_DE.UTF-8 $release --into far/there/one \
	--seed 31 >/dev/null
check "the same seed, other bytes" diff -r one far/there/one
$release --into two --seed 32 >/dev/null
check "another seed, the same codes" sh -c '! cmp -s one/long.csv two/long.csv'
check "another seed changed a number" cmp -s one/dictionary.csv \
	two/dictionary.csv
$release --into three >/dev/null
$release --into four >/dev/null
check "drawn codes are the same twice" \
	sh -c '! cmp -s three/wide.csv four/wide.csv'
check "drawn codes changed the report" cmp -s three/report.txt four/report.txt
says_codes=$(cut -d, -f1 three/wide.csv four/wide.csv one/wide.csv |
	sort -u | wc -l)
check "codes of two releases meet" [ "$says_codes" -gt 700 ]
SOURCE_DATE_EPOCH=1767657600 "$perdraw" release --db c.db --into five \
	--seed 31 >/dev/null
check "SOURCE_DATE_EPOCH is another date" diff -r one five

# ---- somebody else's reader ------------------------------------------------------
# reads FOLDER N: all of release_read.py's checks.
reads() {
	[ -n "$python" ] || return 0
	"$python" "$reader" check "$1" c.db "$2" >read.txt 2>&1 || :
	tally=$(tail -1 read.txt)
	case $tally in
	*" passed, 0 failed") pass ;;
	*) fail "the reader of $1: $(head -5 read.txt) $tally" ;;
	esac
}
reads one 5
if [ -n "$python" ]; then
	what="marks"
	cp read.txt out
	says out 'below, failed, measured, not ordered, too many to count, zero'
fi
reads three 5
status 0 "groups of eleven" $release --into eleven --smallest 11 --seed 31
says out 'the rule was 11 or more'
reads eleven 11
status 0 "all choices" $release --into choices --seed 31 --ages years --days \
	--batches --method-names --key choices.key
for words in 'Days between visits' 'Source files' 'Names of method versions' \
	'Ages in whole years' 'Seed: '; do
	says out "$words"
done
check "no name of a method version" grep -q 'lab-a 1' choices/long.csv
check "no days" grep -q '^patient,case,visit_no,days_since_first' \
	choices/long.csv
check "the source files are not coded" grep -q '^source	F' choices.key
status 0 "small groups told" $release --into told --small-groups tell
says out 'Small groups were only to be told, not'
check "something was blanked" grep -q 'Nothing was blanked' told/report.txt

# ---- effects --------------------------------------------------------------------
# The released rows, loaded as a clinic's file: the same question, the same answer.
if [ -n "$python" ]; then
	"$python" "$reader" reload one back.csv >/dev/null
	"$perdraw" load --quiet --db back.db back.csv 2>/dev/null || exit 99
	ask() {
		"$perdraw" ask --no-ledger --quiet --db "$1" --outcome "$2" \
			--judge concentration --within site --date 2026-02-01 \
			--compare 'aliquot_no 2 against 1' --format tsv |
			tail -1
	}
	check "the ratio of total nucleated cells" \
		[ "$(ask c.db tnc)" = "$(ask back.db tnc)" ]
	# zeros and dishes nobody could count are imputed by draws that go by
	# the order of rows: near, not the same
	check "the ratio of colonies" sh -c '
		printf "%s\n%s\n" "$1" "$2" | awk -F"\t" "
			{ x[NR] = log(\$3); l[NR] = log(\$4) }
			END { d = x[1] - x[2]; e = l[1] - l[2]
			      exit !(d * d < 1e-4 && e * e < 1e-4 && x[1] < 0) }"' \
		sh "$(ask c.db cfu_f)" "$(ask back.db cfu_f)"
fi

# ---- the key ---------------------------------------------------------------------
check "a patient of the key is not in the table" sh -c '
	awk -F"\t" "\$1 == \"patient\" { print \$2 }" one.key | sort >k
	cut -d, -f1 one/wide.csv | sed 1d | sort -u >w
	[ -s w ] && [ -z "$(comm -13 k w)" ]'
check "the key does not name the clinic's patients" \
	grep -q '	P00001$' one.key
status 73 "a key that is there" $release --into six --key one.key
check "a folder without its key" [ ! -e six ]
status 64 "a key in the folder" $release --into six --key six/key
says err 'would lie in the folder'
mkdir six
status 64 "a key in the empty folder" $release --into six --key six/key
status 64 "a result in the folder" $release --into six --text six/a.txt
status 64 "figures in the folder" $release --into six --figures six/f
status 73 "a key nowhere" $release --into six --key nowhere/key
check "a key nowhere: something is left" [ -z "$(ls six)" ]

# ---- the chain ---------------------------------------------------------------------
status 0 "for whom" $release --into six --recipient 'registry, agreement 7'
status 0 "the history" "$perdraw" history --db c.db --what release
says out 'The audit chain holds'
says out 'given away'
says out 'agreement 7'
manifest=$(sha256sum <six/manifest.tsv | cut -c1-12)
tr -d '\n' <out | tr -s ' ' >flat
check "the chain names another manifest" grep -q "$manifest" flat
check "the recipient went out" sh -c '! grep -rq registry six'
n=$(grep -c 'given away' out)
status 73 "a folder that is there" $release --into six
says err 'is not empty'
status 64 "too small a number" $release --into seven --smallest 1
status 64 "no such choice" $release --into seven --small-groups drop
status 64 "a manifest without a seed" $release --into seven --manifest m
says err "goes with '--seed'"
status 66 "no database" "$perdraw" release --db none.db --into seven
status 64 "no folder" "$perdraw" release --db c.db
status 73 "a file in its place" $release --into c.db
ln -s six link
status 73 "a link in its place" $release --into link
status 73 "no parent" $release --into none/seven
"$perdraw" history --db c.db --what release >again
check "a failed release is in the chain" \
	[ "$(grep -c 'given away' again)" -eq "$n" ]

# ---- refused -------------------------------------------------------------------------
head -3 clinic.csv >few.csv
"$perdraw" load --quiet --db few.db few.csv 2>/dev/null || exit 99
status 1 "too few patients" "$perdraw" release --db few.db --into seven
says err 'nothing can be released'
sed '1!s/,lab-a 1,/,lot 88123 from St. Anna by the river; see note,/' \
	clinic.csv >free.csv
"$perdraw" load --quiet --db free.db free.csv 2>/dev/null || exit 99
status 1 "free text" "$perdraw" release --db free.db --into seven \
	--method-names
says err "field 'method_version' cannot go out as it is"
status 0 "free text, coded" "$perdraw" release --db free.db --into coded
check "free text went out" sh -c '! grep -rqi "anna" coded'
check "a refused release left a folder" [ ! -e seven ]

# ---- nothing half ----------------------------------------------------------------------
full() {
	(
		ulimit -f "$1"
		trap '' XFSZ
		$release --into seven --key seven.key
	)
}
# A block is 512 or 1024 bytes, by the shell: half of the largest file in either.
for blocks in 1 200 $(($(wc -c <one/long.csv) / 2048)); do
	got=0
	full "$blocks" >/dev/null 2>err || got=$?
	check "disk full at $blocks: status $got" [ "$got" -ne 0 ]
	check "disk full at $blocks: something is left" \
		[ -z "$(ls -d seven* 2>/dev/null)" ]
done
if [ "$(id -u)" -ne 0 ]; then
	mkdir shut
	chmod 500 shut
	status 77 "a folder nobody may write" $release --into shut/seven
	check "a folder nobody may write: left" [ -z "$(ls shut)" ]
	chmod 700 shut
else
	echo "run by root: a folder that may not be written is NOT RUN"
fi

# ---- verified -----------------------------------------------------------------------------
status 0 "the folder verified" "$perdraw" verify one/manifest.tsv
says out 'The same: 7 of 7 files'
says out 'nothing was recomputed'
cp -r one bent
printf 'x' >>bent/wide.csv
status 2 "a changed file" "$perdraw" verify bent/manifest.tsv
says out 'changed since'
rm bent/README.txt
status 2 "a missing file" "$perdraw" verify bent/manifest.tsv
says out 'Different: 5 of 7 files'
status 0 "with the clinic's manifest" $release --into eight --seed 7 \
	--manifest eight.manifest --html eight.html --json eight.json \
	--csv eight.csv --latex eight.tex --tsv eight.tsv --text eight.txt
check "forms" [ -s eight.html ] && [ -s eight.json ] && [ -s eight-4.csv ]
status 0 "recomputed" "$perdraw" verify eight.manifest
says out 'The same: all outputs were recomputed, every byte as'
check "verifying wrote a folder" [ ! -e eight/eight ]
check "the folder's manifest tells the seed" \
	sh -c '! grep -q seed eight/manifest.tsv'
check "a clinic's name is in no form" sh -c \
	'! cat eight.html eight.json eight.tex eight.t* | grep -q "clinic\.csv"'

finish
