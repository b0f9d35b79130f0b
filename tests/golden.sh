#!/bin/sh
# Whole outputs of the command against the files of tests/golden. After a
# change that is meant, refresh them with
#   PERDRAW_GOLDEN=refresh sh tests/golden.sh
# (in the build folder, PERDRAW_SOURCE naming the source if it is elsewhere)
# and read the difference before it is committed.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
golden=$source_root/tests/golden
demo=$source_root/demo-data
unset SOURCE_DATE_EPOCH COLUMNS NO_COLOR || :
cd "$scratch"
mkdir got
"$generate" --cases 60 --out-dir . || exit 99
cp "$demo/small.csv" "$demo/demo.plan" .

# keep NAME STATUS COMMAND...: both streams and the exit status.
keep() {
	name=$1
	shift
	end=0
	"$perdraw" "$@" >out 2>err </dev/null || end=$?
	{
		sed -e '/Head of the audit chain/{s/[0-9a-f]\{64\}/(by moment and user)/;n;s/[0-9a-f]\{64\}/(by moment and user)/;}' \
			-e '/^Analyses were made with perdraw/,/^$/c\(with the versions of the libraries)' out
		[ ! -s err ] || { echo "---- standard error"; cat err; }
		echo "---- exit status $end"
	} >"got/$name"
}

keep help.txt --help
for command in load findings ask review paper; do
	keep help-$command.txt $command --help
done
keep dictionary.txt findings --dictionary
keep load-small.txt load --db small.db --date 2026-01-05 --all small.csv
keep load-again.txt load --db small.db --date 2026-01-05 small.csv
keep load-bad.txt load --db bad.db --date 2026-01-05 --all bad.csv
keep findings-small.txt findings --db small.db
keep fields-small.txt findings --db small.db --fields
keep first-page-small.txt review --quiet --db small.db --plan demo.plan \
	--date 2026-01-05 --first-page --width 100
keep ask-small.txt ask --quiet --db small.db --plan demo.plan --date 2026-01-05 \
	second-pull
keep ask-options.txt ask --quiet --db small.db --date 2026-01-05 --outcome tnc \
	--judge concentration --compare 'aliquot_no 2 against 1' --within site \
	--margin 0.80
keep paper-small.txt paper --quiet --db small.db --plan demo.plan \
	--date 2026-01-05 --width 120
# Full precision differs in the last digits between compilers.
keep review-small.tsv review --quiet --db small.db --plan demo.plan \
	--date 2026-01-05 --format tsv
awk -F'\t' 'BEGIN { OFS = FS } NF == 8 && NR > 1 {
	for (i = 3; i <= 7; i++)
		if ($i != "") $i = sprintf("%.6g", $i)
} { print }' got/review-small.tsv >rounded && mv rounded got/review-small.tsv

if [ "${PERDRAW_GOLDEN:-}" = refresh ]; then
	cp got/* "$golden/"
	echo "refreshed, now read: git diff tests/golden"
fi
for f in got/*; do
	name=${f#got/}
	if diff -u "$golden/$name" "$f" >difference 2>&1; then
		pass
	else
		fail "$name is not what tests/golden/$name says"
		head -40 difference
	fi
done
for f in "$golden"/*; do
	check "tests/golden/${f##*/} belongs to no command" \
		[ -f "got/${f##*/}" ]
done
finish
