#!/bin/sh
# The command as its users meet it: exit statuses, what goes to which stream,
# files whole or absent, the same bytes twice. Data: the demo clinic, seeded.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
plan=$source_root/demo-data/demo.plan
unset SOURCE_DATE_EPOCH COLUMNS NO_COLOR || :

"$generate" --seed 7 --cases 400 --out-dir "$scratch" || exit 99
cp "$source_root/demo-data/small.csv" "$scratch"
cd "$scratch"
sum() { sha256sum <"$1"; }

# ---- words before any data ----------------------------------------------
status 64 "no command" "$perdraw"
says err "a command is missing"
silent out
status 0 "help" "$perdraw" --help
says out "usage: perdraw COMMAND"
says out "licensed clinical"
silent err
status 0 "version" "$perdraw" --version
check "version line" grep -qxE 'perdraw [0-9]+\.[0-9]+\.[0-9]+' out
status 64 "misspelt command" "$perdraw" reveiw
says err "did you mean 'review'?"
status 64 "far-off command" "$perdraw" frobnicate
says err "there is no command 'frobnicate'"
status 64 "option before the command" "$perdraw" --db x load
says err "the command comes first"
for command in load findings ask review; do
	status 0 "$command --help" "$perdraw" $command --help
	says out "usage: perdraw $command"
	silent err
	cp out help
	status 0 "help $command" "$perdraw" help $command
	check "help $command and $command --help are the same" cmp -s out help
	check "$command --help keeps to 80 columns" \
		[ -z "$(grep -E '.{81,}' help)" ]
done
status 64 "misspelt option" "$perdraw" load --dbb x f.csv
says err "did you mean '--db'?"
status 64 "abbreviated option" "$perdraw" review --db x --pla y
says err "did you mean '--plan'?"
status 64 "missing option" "$perdraw" review --db x
says err "'--plan FILE' is missing"
status 64 "no file" "$perdraw" load --db x.db
check "no database for a refused command line" [ ! -e x.db ]
status 64 "a word too many" "$perdraw" review --db x --plan y z
says err "takes no further word, found 'z'"

# ---- standard output that fails ------------------------------------------
if [ -c /dev/full ]; then
	got=0
	"$perdraw" --help >/dev/full 2>err || got=$?
	check "a full standard output gives 74, got $got" [ "$got" -eq 74 ]
	check "a full standard output is said" grep -q "standard output" err
fi
got=0
"$perdraw" --help >&- 2>err || got=$?
check "a closed standard output gives 74, got $got" [ "$got" -eq 74 ]

# ---- load ------------------------------------------------------------------
status 0 "dry run" "$perdraw" load --db dry.db --dry-run --date 2026-01-05 \
	clinic.csv
says out "checked, nothing stored (dry run)"
status 0 "findings after a dry run" "$perdraw" findings --db dry.db
check "a dry run stores no finding" [ "$(cat out)" = "no findings" ]

status 0 "load" "$perdraw" load --db clinic.db --date 2026-01-05 clinic.csv \
	cd34.csv pools.csv
says out "clinic.csv: stored"
says out "cd34.csv: stored"
rows=$(($(wc -l <clinic.csv) - 1))
says out "rows read             $rows = $rows accepted + 0 rejected"
says out "$(sha256sum clinic.csv | cut -d' ' -f1)"
check "the database is its owner's alone" \
	[ "$(stat -c %a clinic.db)" = 600 ]
before=$(sum clinic.db)
status 0 "load again" "$perdraw" load --db clinic.db --date 2026-01-06 \
	clinic.csv
says out "loaded before, nothing done"
check "loading again changes nothing" [ "$before" = "$(sum clinic.db)" ]

status 65 "bad rows" "$perdraw" load --db bad.db --date 2026-01-05 bad.csv
says out "refused, nothing stored"
says out "rows read             40 = 0 accepted + 40 rejected"
check "findings name file, line, column, level and code" \
	grep -qE '^bad\.csv:[0-9]+:[0-9]+: error: [a-z0-9-]+: found .*expected ' err
check "no patient name of the file reaches the screen" \
	[ -z "$(grep -h 'Erika' out err)" ]
listed=$(grep -cE '^bad\.csv:[0-9]+(:[0-9]+)?: (error|warning|note): ' err)
check "at most 50 findings unless --all, listed $listed" [ "$listed" -le 50 ]
status 65 "all bad rows" "$perdraw" load --db bad.db --date 2026-01-05 --all \
	bad.csv
check "--all lists them all" [ -z "$(grep 'more finding' err)" ]
status 0 "a refused file left nothing" "$perdraw" findings --db bad.db
check "nothing of a refused file is stored" [ "$(cat out)" = "no findings" ]

status 66 "missing file" "$perdraw" load --db clinic.db no-such.csv
says err "no-such.csv"
status 66 "missing map" "$perdraw" load --db clinic.db --map no.map local.csv
status 64 "supersede without a reason" "$perdraw" load --db clinic.db \
	--supersede clinic.csv
says err "--reason TEXT"
status 64 "impossible date" "$perdraw" load --db clinic.db --date 2025-02-30 \
	clinic.csv
says err "found '2025-02-30'"
status 0 "quiet load" "$perdraw" load --db quiet.db --quiet clinic.csv
silent out
silent err
status 65 "first bad, second not tried" "$perdraw" load --db order.db bad.csv \
	clinic.csv
says err "1 further file not tried"

status 64 "make-key alone" "$perdraw" load --db k.db --make-key clinic.csv
status 0 "make-key" "$perdraw" load --db k.db --key secret --make-key clinic.csv
check "the key is its owner's alone" [ "$(stat -c %a secret)" = 600 ]
check "the key has 32 bytes" [ "$(wc -c <secret)" -eq 32 ]
cp secret secret.before
status 73 "a key is never replaced" "$perdraw" load --db k.db --key secret \
	--make-key clinic.csv
check "the key is as it was" cmp -s secret secret.before

# ---- findings --------------------------------------------------------------
status 64 "findings wants a database" "$perdraw" findings
status 66 "findings of no database" "$perdraw" findings --db none.db
status 73 "a database in no folder" "$perdraw" load --db none/x.db small.csv
check "reading makes no database" [ ! -e none.db ]
status 0 "dictionary" "$perdraw" findings --dictionary
says out "tnc_e6_per_ml"
says out "posterior iliac crest"
status 0 "fields" "$perdraw" findings --db clinic.db --fields
says out "volume_ml"
status 0 "findings" "$perdraw" findings --db clinic.db --all
n_findings=$(grep -c . out)
status 0 "findings by code" "$perdraw" findings --db clinic.db
says out "--all shows them"
status 64 "a form of the list" "$perdraw" findings --db clinic.db --format html
status 64 "two kinds of findings" "$perdraw" findings --db clinic.db --missing --fields
status 0 "fields by year" "$perdraw" findings --db clinic.db --years
says out "percent filled"
status 0 "missing results" "$perdraw" findings --db clinic.db --missing --width 60
says out "Results by outcome"
status 0 "summary" "$perdraw" findings --db clinic.db --summary
check "the summary counts every finding" \
	[ "$(awk '{ n += $1 } END { print n + 0 }' out)" -eq "$n_findings" ]
echo "not a database" >text.db
status 65 "a file that is no database" "$perdraw" findings --db text.db

# ---- review ----------------------------------------------------------------
status 0 "review" "$perdraw" review --db clinic.db --plan "$plan" \
	--date 2026-01-05 --quiet
says out "licensed"
silent err
check "text without control bytes" [ -z "$(tr -d '\n\40-\176\200-\377' <out)" ]
says out "holds for the 12 planned readings together"
cp out review.1
sed 's/^looks = .*//' "$plan" >open.plan
status 0 "no number of looks planned" "$perdraw" ask --db clinic.db \
	--plan open.plan --date 2026-01-05 --quiet second-pull
says out "holds for any number of readings"
status 0 "review again" "$perdraw" review --db clinic.db --plan "$plan" \
	--date 2026-01-05
check "the same review gives the same bytes" cmp -s out review.1
status 0 "review by the epoch" env SOURCE_DATE_EPOCH=1767571200 \
	"$perdraw" review --db clinic.db --plan "$plan"
check "SOURCE_DATE_EPOCH dates like --date" cmp -s out review.1

status 0 "three forms at once" "$perdraw" review --db clinic.db --plan "$plan" \
	--date 2026-01-05 --text r.txt --html r.html --tsv r.tsv
silent out
check "the text file is what standard output had" cmp -s r.txt review.1
check "HTML begins as HTML" grep -qi '^<!doctype html>' r.html
check "HTML has no script" [ -z "$(grep -i '<script' r.html)" ]
check "HTML asks nothing from elsewhere" \
	[ -z "$(grep -oiE '(src|href)="?(https?:)?//' r.html)" ]
check "results are their owner's alone" [ "$(stat -c %a r.html)" = 600 ]
status 73 "an existing file stays" "$perdraw" review --db clinic.db \
	--plan "$plan" --date 2026-01-05 --text r.txt
says err "--force replaces it"
status 0 "force" "$perdraw" review --db clinic.db --plan "$plan" \
	--date 2026-01-05 --text r.txt --force
status 73 "the database is never an output" "$perdraw" review --db clinic.db \
	--plan "$plan" --out clinic.db --force
says err "is an input"
status 64 "one file for two outputs" "$perdraw" review --db clinic.db \
	--plan "$plan" --text a --html a
status 73 "no folder" "$perdraw" review --db clinic.db --plan "$plan" \
	--date 2026-01-05 --out no/such/file
check "no temporary file is left" [ -z "$(ls | grep part-)" ]

status 0 "out" "$perdraw" review --db clinic.db --plan "$plan" \
	--date 2026-01-05 --format tsv --out o.tsv
silent out
check "--out and --tsv write the same" cmp -s o.tsv r.tsv
check "tsv header" [ "$(head -1 o.tsv | tr '\t' ' ')" = \
	"question effect value low high p p_adjusted verdict" ]
check "tsv has eight fields a line" \
	[ -z "$(awk -F'\t' 'NF != 8' o.tsv)" ]
check "tsv numbers are numbers" \
	[ -z "$(cut -f3-7 o.tsv | grep -iE 'nan|inf')" ]
for question in $(sed -n 's/^\[\([a-z0-9_-]*\)\]$/\1/p' "$plan"); do
	[ "$question" = plan ] && continue
	check "question $question is in the tsv" \
		grep -q "^$question	" o.tsv
done

status 0 "first page" "$perdraw" review --db clinic.db --plan "$plan" \
	--date 2026-01-05 --first-page
check "the first page is shorter than the review" \
	[ "$(wc -l <out)" -lt "$(wc -l <review.1)" ]
status 64 "first page of HTML" "$perdraw" review --db clinic.db \
	--plan "$plan" --first-page --format html
status 64 "too narrow" "$perdraw" review --db clinic.db --plan "$plan" \
	--width 20
before=$(sum clinic.db)
status 0 "no ledger" "$perdraw" review --db clinic.db --plan "$plan" \
	--date 2026-02-05 --no-ledger
check "--no-ledger leaves the database alone" [ "$before" = "$(sum clinic.db)" ]

sed 's/^judge .*/judgement = x/' "$plan" >wrong.plan
status 78 "wrong plan" "$perdraw" review --db clinic.db --plan wrong.plan
check "a wrong plan is said with its place" \
	grep -qE '^wrong\.plan:[0-9]+:[0-9]+: error: ' err
status 66 "no plan" "$perdraw" review --db clinic.db --plan none.plan
status 66 "review of no database" "$perdraw" review --db none.db --plan "$plan"

# ---- ask -------------------------------------------------------------------
status 0 "ask" "$perdraw" ask --db clinic.db --plan "$plan" \
	--date 2026-01-05 --format tsv second-pull
grep '^second-pull	' out | cut -f2-6 >by-name
check "ask answers one question" [ "$(wc -l <out)" -eq 2 ]
grep '^second-pull	' r.tsv | cut -f2-6 >by-review
check "ask and review give the same effect" cmp -s by-name by-review
status 64 "ask a misspelt question" "$perdraw" ask --db clinic.db \
	--plan "$plan" second-pul
says err "did you mean 'second-pull'?"
status 64 "ask nothing" "$perdraw" ask --db clinic.db
status 64 "ask both ways" "$perdraw" ask --db clinic.db --plan "$plan" \
	--outcome tnc second-pull
status 64 "ask an unknown outcome" "$perdraw" ask --db clinic.db \
	--outcome luck --judge concentration --compare 'aliquot_no 2 against 1'
status 64 "no second key inside a value" "$perdraw" ask --db clinic.db \
	--outcome 'tnc
margin = 0.1' --judge concentration --compare 'aliquot_no 2 against 1'
sed 's/^looks = .*/looks = 1/' "$plan" >once.plan
status 0 "ask of a plan for one look" "$perdraw" ask --db clinic.db \
	--plan once.plan --date 2026-01-05 --format tsv second-pull
grep '^second-pull	' out | cut -f2-6 >by-name
status 0 "ask by options" "$perdraw" ask --db clinic.db --date 2026-01-05 \
	--outcome cfu_f --judge concentration \
	--compare 'aliquot_no 2 against 1' --within site \
	--where "$(sed -n '/^\[second-pull\]/,/^$/s/^where *= *//p' "$plan")" \
	--margin 0.80 --format tsv \
	--seed "$(sed -n 's/^seed *= *//p' "$plan")"
grep '^asked' out | cut -f2-6 >by-options
check "options and plan give the same effect" cmp -s by-options by-name
status 1 "a question without data" "$perdraw" ask --db clinic.db \
	--date 2026-01-05 --outcome cd271 --judge concentration \
	--compare 'aliquot_no 2 against 1' --within site --format tsv
says out "no answer"

# ---- other conditions -------------------------------------------------------
status 0 "another locale" env LC_ALL=de_DE.UTF-8 LC_NUMERIC=de_DE.UTF-8 \
	"$perdraw" review --db clinic.db --plan "$plan" --date 2026-01-05
check "the locale changes no byte" cmp -s out review.1
status 0 "another time zone" env TZ=Pacific/Kiritimati SOURCE_DATE_EPOCH=1767571200 \
	"$perdraw" review --db clinic.db --plan "$plan"
check "the time zone changes no byte" cmp -s out review.1
for folder in here elsewhere; do
	mkdir $folder
	"$perdraw" load --db $folder/c.db --quiet --date 2026-01-05 \
		clinic.csv cd34.csv pools.csv
	status 0 "review in another folder" "$perdraw" review \
		--db $folder/c.db --plan "$plan" --date 2026-01-05
	# The head of the audit chain holds the moment and the user of making.
	sed '/Head of the audit chain/{n;d;}' out >$folder/review
done
check "the same files give the same bytes in two databases" \
	cmp here/review elsewhere/review
check "no path of this run in the results" \
	[ -z "$(grep -l "$scratch" r.txt r.html r.tsv)" ]
# A writer holds the database for longer than a second one waits.
if command -v sqlite3 >/dev/null 2>&1; then
	(echo 'BEGIN IMMEDIATE;'; sleep 8) | sqlite3 clinic.db &
	sleep 1
	status 75 "a database in use" "$perdraw" load --db clinic.db small.csv
	kill $! 2>/dev/null || :
	wait
else
	echo "no sqlite3 shell: the test of a database in use is NOT RUN"
fi
if [ "$(id -u)" -ne 0 ]; then
	chmod 400 clinic.db
	status 77 "a database that may not be written" "$perdraw" load \
		--db clinic.db pools.csv
fi
finish
