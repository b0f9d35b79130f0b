#!/bin/sh
# Every form of a result, read by readers that are not the program's own:
# the numbers are the same in all, text stays text, same input gives the same
# bytes. LaTeX is compiled where pdflatex is installed.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
cd "$scratch"
unset SOURCE_DATE_EPOCH COLUMNS || :
"$generate" --cases 300 --out-dir . || exit 99
cp "$source_root/demo-data/demo.claim" .
sed '/^\[second-pull\]/,/^\[/!b' "$source_root/demo-data/demo.plan" >demo.plan
status 0 "the demo clinic loads" "$perdraw" load --db demo.db \
	--date 2026-01-05 clinic.csv cd34.csv pools.csv

# Text that each form would take for something else, in a title.
hostile='=1+1 \input{/etc/passwd} $x$ 50% & _a^b~ {[*]} <b>&amp; "q" `c` ^^M'
hostile="$hostile \\end{document} %"

python=
for p in python3 /usr/bin/python3; do
	if command -v "$p" >/dev/null 2>&1; then
		python=${python:-$p}
		! "$p" -c 'import openpyxl, jsonschema' 2>/dev/null || {
			python=$p
			break
		}
	fi
done
[ -n "$python" ] || echo "python3 is not installed: the readers are NOT RUN"

# all FOLDER COMMAND...: every form of one run, into a new folder.
all() {
	folder=$1
	command=$2
	shift 2
	mkdir "$folder"
	status "${refused:-0}" "$folder, all forms" "$perdraw" "$command" \
		${undated-"--date=2026-01-05"} --width 200 --text "$folder/out.txt" \
		--html "$folder/out.html" --csv "$folder/out.csv" \
		--latex "$folder/out.tex" --xlsx "$folder/out.xlsx" \
		--json "$folder/out.json" --tsv "$folder/out.tsv" "$@"
}

# compile FOLDER FILE: with the references settled.
compile() {
	(cd "$1" && for _ in 1 2; do
		timeout 120 pdflatex -no-shell-escape -halt-on-error \
			-interaction=nonstopmode "$2" </dev/null >latex.out 2>&1 ||
			{ tail -20 latex.out; exit 1; }
	done)
}

judge() {
	folder=$1
	if [ -n "$python" ]; then
		(cd "$folder" && "$python" "$source_root/tests/forms_read.py" \
			"$source_root/docs/perdraw.schema.json" >read.out 2>&1) ||
			echo "FAILED: the reader ended early" >>"$folder/read.out"
		grep -v '^compared' "$folder/read.out" | head -20 || :
		check "$folder: the forms differ" \
			sh -c "! grep -q FAILED '$folder/read.out'"
		check "$folder: nothing compared" \
			grep -q '^compared [1-9][0-9]' "$folder/read.out"
	fi
	if command -v pdflatex >/dev/null 2>&1; then
		check "$folder: the LaTeX compiles" compile "$folder" out.tex
	else
		echo "pdflatex is not installed: compiling is NOT RUN"
	fi
}

all review review --quiet --db demo.db --plan demo.plan --no-ledger
judge review
all paper paper --quiet --db demo.db --plan demo.plan --no-ledger
judge paper
sed "s/^title *= .*/title = $(printf '%s' "$hostile" |
	sed 's/[\\&/]/\\&/g')/" demo.plan >hostile.plan
all hostile-paper paper --quiet --db demo.db --plan hostile.plan --no-ledger
judge hostile-paper
sed "s/^name  *= closed.*/name = $(printf '%s' "$hostile" |
	sed 's/[\\&/]/\\&/g')/" demo.claim >hostile.claim
all claim claim --quiet --db demo.db --no-ledger hostile.claim
judge claim
sed 's/^Report A (invented)/=HYPERLINK("x") #1 \\input{t1} $/' \
	"$source_root/demo-data/printed.csv" |
	sed 's/^\(=.*\$\),cfu/"\1",cfu/; s/K("x")/K(""x"")/' >printed.csv
all pool pool --printed printed.csv --outcome cfu_f
judge pool
check "a formula is text" grep -q "'=HYPERLINK" pool/out-1.csv
all size size --db demo.db --plan demo.plan second-pull
judge size
all watch watch --db demo.db
judge watch

# Two laboratories on the same pulls, made up from the demo clinic's.
awk -F, 'NR == 1 {
	print "patient,case,case_date,side,site_no,aliquot_no,method_version,outcome,value,unit"
	next
} $30 > 0 && n < 60 {
	n++
	printf "%s,%s,%s,%s,%s,%s,lab-c 1,tnc,%.2f,10*6/mL\n", $1, $4, $5, $12,
		$13, $21, $30 * (1.1 + 0.02 * (7 * n % 13 - 6))
}' clinic.csv >both.csv
cp demo.db both.db
status 0 "two laboratories load" "$perdraw" load --db both.db \
	--date 2026-01-05 both.csv
all agree agree --db both.db --outcome tnc --judge concentration \
	--first 'lab-a 1' --second 'lab-c 1' --margin 0.80
judge agree
all expect expect --db demo.db --outcome tnc --age 60 --sex female \
	--sites '1 2' --ml-per-site '5 10' --target 100
judge expect
all missing findings --missing --db demo.db
judge missing
status 0 "a reading with a manifest" "$perdraw" size --db demo.db \
	--plan demo.plan --date 2026-01-05 --text size.txt --csv size.csv \
	--manifest size.manifest second-pull
undated=
all history history --db both.db
judge history
all verify verify size.manifest
judge verify
sed 's/patients/persons/' size.txt >changed && mv changed size.txt
refused=2
all verify-changed verify size.manifest
judge verify-changed
refused=0
unset undated

# An answer in words alone is one in every form, but for CSV.
mkdir few
"$generate" --cases 60 --out-dir few >/dev/null || exit 99
status 0 "a few draws load" "$perdraw" load --db few.db --date 2026-01-05 \
	few/clinic.csv
refused=1
all words watch --db few.db
refused=0
says err "no table"
check "nothing is written as CSV" sh -c '! ls words/*.csv* 2>/dev/null'
check "the words are in the workbook" [ -s words/out.xlsx ]
all ask ask --quiet --db demo.db --no-ledger --outcome tnc --judge concentration \
	--compare 'aliquot_no 2 against 1' --within site --margin 0.80 \
	--title "$hostile"
judge ask
check "the title is in the HTML as text" grep -qF '&lt;b&gt;&amp;amp;' ask/out.html
check "the LaTeX reads no file" sh -c "! grep -q '[^a-z]input{' ask/out.tex"

# Same input, same bytes, of every form.
all again ask --quiet --db demo.db --no-ledger --outcome tnc --judge concentration \
	--compare 'aliquot_no 2 against 1' --within site --margin 0.80 \
	--title "$hostile"
for f in again/*; do
	check "${f##*/}: another run, other bytes" cmp -s "$f" "ask/${f##*/}"
done

# A table drops into a manuscript.
what="one table"
status 0 "$what" "$perdraw" ask --db demo.db --no-ledger --date 2026-01-05 \
	--quiet --outcome tnc --judge concentration --within site \
	--compare 'aliquot_no 2 against 1' --format latex --table 1
cp out t1.tex
check "$what is not a document" sh -c '! grep -q documentclass t1.tex'
cat >paper.tex <<'EOF'
\documentclass[twocolumn]{article}
\usepackage{array,booktabs,longtable}
\begin{document}
As Table~\ref{tab:perdraw-1} shows.
\input{t1}
\end{document}
EOF
if command -v pdflatex >/dev/null 2>&1; then
	check "a manuscript takes the table" compile . paper
fi

# Places: all files or none, nothing replaced unasked.
ask() {
	"$perdraw" ask --db demo.db --no-ledger --date 2026-01-05 --quiet \
		--outcome tnc --judge concentration --within site \
		--compare 'aliquot_no 2 against 1' "$@"
}
status 0 "csv to standard output" ask --format csv
head -1 out | grep -q ',' && pass || fail "csv to standard output: no heads"
cp out first.csv
status 0 "csv, its first table" ask --format csv --table 1
check "the first table is the one" cmp -s out first.csv
status 0 "csv, one table to a file" ask --format csv --table 1 --out one.csv
check "the file as named" cmp -s one.csv first.csv
check "its description beside it" grep -q '"url": "one.csv"' \
	one.csv-metadata.json
status 64 "no such table" ask --format csv --table 99
says err 'has no table 99'
status 64 "a table of the text" ask --table 1
says err "'--table' goes with"
mkdir full
: >full/x-2.csv
status 73 "a file is there already" ask --csv full/x.csv
says err 'full/x-2.csv'
check "none was written" [ "$(ls full)" = x-2.csv ]
status 0 "and replaced when asked" ask --csv full/x.csv --force
check "all were written" [ -s full/x-2.csv ]
cp printed.csv full/y-1.csv
status 73 "an input is never replaced" "$perdraw" pool --printed full/y-1.csv \
	--outcome cfu_f --date 2026-01-05 --csv full/y.csv --force
says err 'is an input'
check "and it is whole" cmp -s printed.csv full/y-1.csv
status 64 "two outputs of one name" ask --csv a --xlsx a
finish
