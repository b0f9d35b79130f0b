#!/bin/sh
# Figures as files: read back by others' readers, the same bytes wherever they
# are made, whole or not at all, known to the manifest.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
cd "$scratch"
unset SOURCE_DATE_EPOCH COLUMNS || :
"$generate" --cases 300 --out-dir . || exit 99
cp "$source_root/demo-data/demo.claim" .
awk '/^\[/ { use = /plan|second-pull\]|site-volume|operator|redirect/ } use' \
	"$source_root/demo-data/demo.plan" >demo.plan
status 0 "the demo clinic loads" "$perdraw" load --db demo.db \
	--date 2026-01-05 clinic.csv cd34.csv

ask() {
	"$perdraw" ask --db demo.db --no-ledger --date 2026-01-05 --quiet \
		--outcome tnc --judge concentration --within site \
		--compare 'aliquot_no 2 against 1' --margin 0.80 "$@"
}

# A build without them says how to get them, before any work.
if ! ask --figures probe >out 2>err && grep -q 'built without' err; then
	status 64 "built without figure files" ask --figures none --text none.txt
	says err 'libcairo2-dev'
	check "nothing is written" [ ! -e none.txt ]
	finish
fi
rm -rf probe
if ! command -v python3 >/dev/null 2>&1; then
	echo "python3 is not installed: the readers are NOT RUN"
fi

# judge FOLDER: its files are sound.
judge() {
	command -v python3 >/dev/null 2>&1 || return 0
	python3 "$source_root/tests/figure_files_read.py" "$1" 2026-01-05 \
		>read.out 2>&1 || echo "FAILED: the reader ended early" >>read.out
	grep -v '^read ' read.out | head -20 || :
	check "$1: unsound files" sh -c '! grep -q FAILED read.out'
	check "$1: nothing was read" grep -q '^read [1-9]' read.out
}

status 0 "review" "$perdraw" review --db demo.db --plan demo.plan --no-ledger \
	--date 2026-01-05 --quiet --figures figures --manifest review.manifest
silent out
judge figures
for f in figure-1.svg figure-1-85mm.pdf figure-1-174mm.pdf figure-1-85mm.png \
	figure-1-174mm.png figures.txt; do
	check "figures/$f is missing" [ -s "figures/$f" ]
	check "figures/$f is not in the manifest" \
		grep -q "^output	figures/$f	" review.manifest
done
check "the list has the table" grep -q '^Table [0-9]' figures/figures.txt
what="verify"
status 0 "$what" "$perdraw" verify review.manifest
check "$what: every file is there" grep -q 'Of \([0-9]*\), \1 lie' out
printf 'x' >>figures/figure-1-174mm.pdf
status 2 "$what of a changed figure" "$perdraw" verify review.manifest
says out 'figures/figure-1-174mm.pdf'

# Other commands; text that would mean something in a file's form.
status 0 "watch" "$perdraw" watch --db demo.db --date 2026-01-05 \
	--figures watch/
judge watch
status 0 "claim" "$perdraw" claim --db demo.db --date 2026-01-05 --no-ledger \
	--figures claim --quiet demo.claim
judge claim
status 0 "expect" "$perdraw" expect --db demo.db --date 2026-01-05 --outcome tnc \
	--age 60 --sex female --target 500 --sites '2 3 4' --ml-per-site '5 10' \
	--figures expect
judge expect
hostile='=1+1 ]]> <b>&amp; "q" %s %n (()\) \\ ffi office 中文 שלום ￾ '
status 0 "hostile words" ask --title "$hostile" --figures hostile
judge hostile
check "ligatures are letters" sh -c \
	'! command -v pdftotext >/dev/null || ! pdftotext hostile/figure-1-174mm.pdf - |
	grep -q "ﬁ\|ﬀ\|ﬃ"'
status 0 "no figure" "$perdraw" size --db demo.db --plan demo.plan \
	--date 2026-01-05 --figures empty second-pull
says err 'no figure'
check "no folder for no figure" [ ! -e empty ]

# Same bytes: another folder, locale, time zone, home, and the user's own
# settings of fonts.
mkdir -p elsewhere home/.config/fontconfig
cat >home/.config/fontconfig/fonts.conf <<'X'
<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "fonts.dtd"><fontconfig>
<match target="pattern"><edit name="family" mode="assign" binding="strong">
<string>serif</string></edit></match>
<match target="font"><edit name="embolden" mode="assign"><bool>true</bool></edit>
<edit name="matrix" mode="assign"><times><name>matrix</name><matrix>
<double>2</double><double>0</double><double>0</double><double>1</double>
</matrix></times></edit></match></fontconfig>
X
ask --figures one --manifest one.manifest >/dev/null
(cd elsewhere && cp ../demo.db . && HOME="$scratch/home" TZ=Pacific/Auckland \
	LC_ALL=C.UTF-8 LANG=ja_JP.UTF-8 XDG_CONFIG_HOME="$scratch/home/.config" \
	ask --figures ./one/ --manifest one.manifest >/dev/null)
for f in one/* one.manifest; do
	check "$f: elsewhere, other bytes" cmp -s "$f" "elsewhere/$f"
done
(unset XDG_CONFIG_HOME; SOURCE_DATE_EPOCH=1577880000 "$perdraw" ask --db demo.db \
	--no-ledger --quiet --outcome tnc --judge concentration --within site \
	--compare 'aliquot_no 2 against 1' --figures epoch >/dev/null)
check "SOURCE_DATE_EPOCH is the date" sh -c \
	'! command -v pdfinfo >/dev/null ||
	TZ=UTC pdfinfo -isodates epoch/figure-1-85mm.pdf | grep -q "2020-01-01"'

# No font: said, and nothing done.
echo '<?xml version="1.0"?><fontconfig></fontconfig>' >empty.conf
status 66 "no font" env FONTCONFIG_FILE="$scratch/empty.conf" "$perdraw" watch \
	--db demo.db --date 2026-01-05 --figures nofont --text nofont.txt
says err 'DejaVu Sans'
says err 'fonts-dejavu-core'
check "nothing is written without the font" \
	sh -c '[ ! -e nofont ] && [ ! -e nofont.txt ]'

# Whole or not at all, nothing replaced unasked.
status 73 "files are there" ask --figures one
says err '--force replaces it'
rm one/figure-1-85mm.pdf
echo mine >one/figures.txt
status 73 "the last file is there" ask --figures one
check "none of the others came" [ ! -e one/figure-1-85mm.pdf ]
check "what was there is kept" grep -qx mine one/figures.txt
status 0 "replaced when asked" ask --figures one --force
check "all came" cmp -s one/figures.txt elsewhere/one/figures.txt
check "all came" [ -s one/figure-1-85mm.pdf ]
: >plain
status 73 "a file in the folder's place" ask --figures plain
says err 'not a folder'
status 73 "no folder above" ask --figures no/such/folder
check "no folder above" [ ! -e no ]
status 64 "no name" ask --figures ''
mkdir inputs
cp demo.plan inputs/figure-7.svg
status 73 "an input is never replaced" "$perdraw" review --db demo.db \
	--plan inputs/figure-7.svg --date 2026-01-05 --no-ledger --quiet \
	--figures inputs --force
says err 'is an input'
check "and it is whole" cmp -s demo.plan inputs/figure-7.svg
mkdir locked
chmod 500 locked
if [ -w locked ]; then
	echo "this user may write everywhere: a locked folder is NOT RUN"
else
	status 73 "a locked folder" ask --figures locked
	status 73 "a folder in a locked one" ask --figures locked/new
fi
# The disk fills up in the middle: the largest files are not let through.
status 74 "a full disk" sh -c 'trap "" XFSZ; ulimit -f 64; "$@"' limited \
	"$perdraw" ask --db demo.db --no-ledger --date 2026-01-05 --quiet \
	--outcome tnc --judge concentration --within site \
	--compare 'aliquot_no 2 against 1' --figures full
check "nothing is left of it" [ ! -e full ]
cp -r one before
status 74 "a full disk, files to replace" sh -c \
	'trap "" XFSZ; ulimit -f 64; "$@"' limited "$perdraw" ask --db demo.db \
	--no-ledger --date 2026-01-05 --quiet --outcome cfu_f --judge prevalence \
	--within site --compare 'aliquot_no 2 against 1' --figures one --force
check "what was there is whole" diff -r before one
finish
