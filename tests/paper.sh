#!/bin/sh
# The command paper: what it writes of a generated clinic, what it must not
# write, wrong use, refused questions, one reading with a review, the same bytes
# twice, its manifest. Forms and LaTeX as a whole: forms.sh.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
cd "$scratch"
unset SOURCE_DATE_EPOCH COLUMNS NO_COLOR || :
"$generate" --cases 220 --out-dir . || exit 99
status 0 "the clinic loads" "$perdraw" load --db demo.db --date 2026-01-05 \
	clinic.csv
cat >t.plan <<'END'
[plan]
title = A small plan
min_patients = 8

[needle]
title    = Does the needle matter?
outcome  = tnc
judge    = concentration
compare  = needle_geometry closed-tip side-hole against open-end
adjust   = age_y, sex, log volume_ml, method_version
where    = landmark is posterior iliac crest; aliquot_no is 1; site_in_side is 1
margin   = 0.80
margin_reason = a fifth would not pay
assigned = stock change on one day
role     = primary

[pull]
title   = Is the second pull poorer?
outcome = tnc
judge   = concentration
compare = aliquot_no 2 against 1
within  = site
where   = move is none or new hole
role    = secondary

[sites]
title   = Do sites matter?
outcome = tnc
judge   = yield per case
slope   = n_sites per doubling

[heel]
title   = Is the heel worth it?
outcome = tnc
judge   = concentration
compare = landmark calcaneus against posterior iliac crest

[events]
title   = Does the needle bring events?
outcome = adverse_event
judge   = risk per site
compare = needle_geometry closed-tip side-hole against open-end
END
paper() {
	"$perdraw" paper --db demo.db --plan t.plan --date 2026-01-05 --quiet "$@"
}

status 0 "a paper" paper --no-ledger --width 120
cp "$scratch/out" paper.txt
says out "Table 1. Characteristics of the patients and draws by needle geometry"
says out "Standardised"
says out "Figure 1. Flow of the records"
says out "Methods text"
says out "Data availability: [for the author to complete"
says out "Q1: stock change on one day"
says out "a fifth"
says out "One file was loaded:"
says out "Cautions in full"
silent err

# What must not stand in it: labels of patients and cases, days of cases, names
# of files.
awk -F, 'NR == 1 { for (i = 1; i <= NF; i++) at[$i] = i; next }
	{ print $at["patient"]; print $at["case"]; print $at["case_date"] }' \
	clinic.csv | sort -u >labels
check "labels were read" [ "$(wc -l <labels)" -gt 200 ]
grep -vx '2026-01-05' labels >other
check "no label of a patient or case, no day of a case" \
	sh -c '! grep -qwFf other paper.txt'
check "no name of a file" sh -c '! grep -q clinic.csv paper.txt'

# Table 1 counts whom Table 2 counts, for each question: the last number of the
# row of patients is that of the question's row.
place=0
for q in needle pull sites heel events; do
	place=$((place + 1))
	paper --no-ledger --by "$q" --format tsv >t.tsv || fail "--by $q"
	all=$(awk -F'\t' '$1 == "Patients, No." {
		n = $NF == "" ? $(NF - 1) : $NF } END { print n }' t.tsv)
	used=$(awk -F'\t' -v k="$place" '/^# Table/ { at = $0 ~ /^# Table 2\./ }
		at && NF == 9 { if (i++ == k) print $2 }' t.tsv)
	[ "$q" = heel ] || # refused: no Table 1
		check "$q: $all patients in Table 1, $used in Table 2" \
			[ "${all:-none}" = "$used" ]
done

# One reading with a review; a second state of the data would be another.
status 0 "a paper is read" paper --first-page
status 0 "a review is read" "$perdraw" review --db demo.db --plan t.plan \
	--date 2026-01-05 --quiet
says out "Readings so far, this one included: 1"
status 0 "the chain holds" "$perdraw" history --db demo.db

# The same bytes twice, and from the manifest.
paper --no-ledger --html a.html --latex a.tex --csv a.csv --xlsx a.xlsx \
	--json a.json --tsv a.tsv --text a.txt --manifest a.manifest
mkdir again
(cd again && "$perdraw" paper --db ../demo.db --plan ../t.plan \
	--date 2026-01-05 --quiet --no-ledger --html a.html --latex a.tex \
	--csv a.csv --xlsx a.xlsx --json a.json --tsv a.tsv --text a.txt)
for f in html tex xlsx json tsv txt; do
	check "the same $f twice" cmp a.$f again/a.$f
done
status 0 "the manifest is recomputed" "$perdraw" verify a.manifest
if command -v pdflatex >/dev/null 2>&1; then
	paper --no-ledger --latex t1.tex --table 1
	cat >m.tex <<'END'
\documentclass{article}
\usepackage{booktabs,array,longtable}
\usepackage[utf8]{inputenc}
\begin{document}
\input{t1}
\end{document}
END
	check "Table 1 drops into a manuscript" sh -c \
		'pdflatex -no-shell-escape -halt-on-error m.tex >m.out 2>&1'
else
	echo "pdflatex is not installed: compiling is NOT RUN"
fi

# Other plans.
status 0 "a refused question" paper --no-ledger --by heel
says out "No table: "
says out "1 question of the plan could not be answered"
sed '/^role/d' t.plan >none.plan
status 0 "no primary question" "$perdraw" paper --db demo.db --plan none.plan \
	--date 2026-01-05 --quiet --no-ledger
says out "The plan declares no primary question"
says out "by needle geometry"
sed 's/posterior iliac crest; al/sternum; al/' t.plan | sed '/^\[pull\]/,$d' \
	>zero.plan
status 0 "no row at all" "$perdraw" paper --db demo.db --plan zero.plan \
	--date 2026-01-05 --quiet --no-ledger
says out "No table: no row is left"
status 0 "no small cells asked for" paper --no-ledger --least 0 --first-page
check "none is named" sh -c "! grep -q 'of Table 1 hold' '$scratch/out'"
status 0 "large small cells" paper --no-ledger --least 50 --first-page
says out "of Table 1 hold fewer than 50"

# Wrong use.
status 64 "--least wants a number" paper --no-ledger --least five
says err "--least"
status 64 "--by wants a question" paper --no-ledger --by nosuch
says err "nosuch"
status 64 "no operands" paper --no-ledger extra
printf '[plan]\ntitle = x\n\n[a]\nassigned =\n' >bad.plan
status 78 "an empty 'assigned'" "$perdraw" paper --db demo.db --plan bad.plan
says err "bad.plan:5"
finish
