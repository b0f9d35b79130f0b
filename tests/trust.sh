#!/bin/sh
# Trust: a database somebody else wrote in shows the row; copies are whole,
# checked and never replace a file; a manifest is recomputed and says same,
# different and where.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
demo=$source_root/demo-data
unset SOURCE_DATE_EPOCH COLUMNS NO_COLOR || :
cd "$scratch"
"$generate" --cases 60 --out-dir . || exit 99
cp "$demo/demo.plan" .
"$perdraw" load --quiet --db c.db --date 2026-01-05 clinic.csv cd34.csv \
	2>/dev/null || exit 99
"$perdraw" review --quiet --db c.db --plan demo.plan --date 2026-01-06 \
	>/dev/null || exit 99

# ---- history -----------------------------------------------------------------
status 0 "the history of a sound database" "$perdraw" history --db c.db
says out 'The audit chain holds'
says out 'clinic.csv: 326 rows'
silent err
head=$(sed -n 's/^  Newest row: //p' out)
status 0 "its files" "$perdraw" history --db c.db --what load --since 2026-01-05
says out 'cd34.csv'
check "readings are listed among files" sh -c '! grep -q "looked at" out'
status 0 "nothing since" "$perdraw" history --db c.db --since 2026-01-07
says out 'No row of the chain is of that kind and time.'
status 0 "a printed hash" "$perdraw" history --db c.db --printed "$head"
says out 'is that of row'
status 3 "a foreign hash" "$perdraw" history --db c.db --printed \
	"$(printf '%064d' 7)"
says out 'another database, or rows were taken out'
status 64 "no date" "$perdraw" history --db c.db --since 2026-02-30
says err "--since"
status 64 "no hash" "$perdraw" history --db c.db --printed abc
status 64 "no kind" "$perdraw" history --db c.db --what thing
status 66 "no database" "$perdraw" history --db none.db
# Nothing of a patient: no case or patient label in any form.
labels=$(awk -F, 'NR > 1 { print $1; print $4 }' clinic.csv | sort -u)
for form in text html tsv; do
	"$perdraw" history --db c.db --format $form >all.$form
	for label in $labels; do
		if grep -qwF -- "$label" all.$form; then
			fail "label $label is in the history as $form"
		fi
	done
	pass
done

if command -v sqlite3 >/dev/null 2>&1; then
	# tamper SQL: with the triggers off, as a stranger's tool would.
	tamper() {
		rm -f t.db
		"$perdraw" backup --quiet --db c.db t.db || exit 99
		sqlite3 t.db '.dbconfig enable_trigger off' "$1" >/dev/null
	}
	tamper "UPDATE audit SET detail = replace(detail, '326', '325') WHERE seq = 2"
	status 3 "a changed row" "$perdraw" history --db t.db
	says out 'The audit chain is broken at 1 of its'
	says out 'Row 2 (loaded): its words give the hash'
	says out 'What to do'
	says out 'Take the newest copy whose chain holds'
	status 3 "a changed row in a review" "$perdraw" review --quiet \
		--db t.db --plan demo.plan
	says err 'audit row 2 was changed'
	says err "'perdraw history --db FILE' shows what differs and what to do"
	silent out
	status 3 "a changed row, copied" "$perdraw" backup --db t.db u.db
	check "a broken database was copied" [ ! -e u.db ]
	status 3 "a changed row, loaded into" "$perdraw" load --db t.db pools.csv
	tamper "DELETE FROM audit WHERE seq = 3"
	status 3 "a row taken out" "$perdraw" history --db t.db
	says out 'row 3 should stand here and is missing'
	tamper "UPDATE audit SET previous = hash WHERE seq = 5"
	status 3 "a row that does not follow" "$perdraw" history --db t.db
	says out 'Row 5 (looked at): it follows'
	tamper "DELETE FROM looks WHERE look_id = 2"
	status 3 "a reading taken out" "$perdraw" history --db t.db
	says out 'The audit chain holds'
	says out 'are not the same'
	# one value of one row, by another program
	tamper "UPDATE assays SET tnc = tnc * 1.001 WHERE assay_id =
		(SELECT min(assay_id) FROM assays WHERE tnc IS NOT NULL)"
	status 3 "a changed count" "$perdraw" history --db t.db
	says out 'The audit chain holds'
	says out "table 'assays'"
	status 3 "a changed count, reviewed" "$perdraw" review --quiet \
		--db t.db --plan demo.plan
	says err "rows of table 'assays' are not those"
	silent out
	status 3 "a changed count, copied" "$perdraw" backup --db t.db u.db
	status 3 "a changed count, loaded onto" "$perdraw" load --db t.db \
		pools.csv
	# rows cut from the end: only a printed hash shows it
	tamper "DELETE FROM audit WHERE seq = (SELECT max(seq) FROM audit);
		DELETE FROM looks WHERE look_id = (SELECT max(look_id) FROM looks)"
	status 0 "rows cut from the end" "$perdraw" history --db t.db
	status 3 "and the hash printed before" "$perdraw" history --db t.db \
		--printed "$head"
else
	echo "sqlite3 is not installed: tampering by its shell is NOT RUN"
fi

# ---- backup ------------------------------------------------------------------
status 0 "a copy" "$perdraw" backup --db c.db k.db
says out 'copied and checked'
check "the printed SHA-256 is not that of the copy" \
	[ "$(sed -n 's/^  sha256 *//p' out)" = "$(sha256sum <k.db | cut -c1-64)" ]
check "the copy is not for its owner alone" \
	[ "$(stat -c %a k.db)" = 600 ]
for db in c.db k.db; do
	"$perdraw" review --quiet --no-ledger --db $db --plan demo.plan \
		--date 2026-01-06 >review.$db
	"$perdraw" history --db $db >history.$db
done
check "a review of the copy differs" cmp -s review.c.db review.k.db
check "the history of the copy differs" cmp -s history.c.db history.k.db
sum=$(cat k.db | sha256sum)
status 73 "a copy over a file" "$perdraw" backup --db c.db k.db
status 73 "a copy over itself" "$perdraw" backup --db c.db c.db
status 73 "a copy into no folder" "$perdraw" backup --db c.db none/k.db
ln -s k.db link.db
status 73 "a copy over a link" "$perdraw" backup --db c.db link.db
check "a copy was replaced" [ "$(cat k.db | sha256sum)" = "$sum" ]
status 66 "a copy of nothing" "$perdraw" backup --db none.db n.db
status 64 "a copy to nowhere" "$perdraw" backup --db c.db
# A file that may not grow: like a full disk.
got=0
(trap '' XFSZ; ulimit -f 100; "$perdraw" backup --db c.db full.db) \
	>out 2>err || got=$?
what="a full disk"
check "a full disk: exit status $got, expected 74" [ "$got" -eq 74 ]
says err 'full.db'
check "a full disk left something: $(echo full.db*)" \
	[ "$(echo full.db*)" = 'full.db*' ]
if [ "$(id -u)" -eq 0 ]; then
	echo "run by root: a folder that may not be written is NOT RUN"
else
	mkdir shut && chmod 500 shut
	status 77 "a folder that may not be written" \
		"$perdraw" backup --db c.db shut/k.db
	chmod 700 shut
fi
# Copies while somebody loads: each is of one moment, before or after.
mkdir big
"$generate" --cases 3000 --out-dir big || exit 99
"$perdraw" load --quiet --db w.db --date 2026-01-05 big/clinic.csv \
	2>/dev/null || exit 99
"$perdraw" load --quiet --db w.db --date 2026-01-07 big/cd34.csv big/pools.csv \
	>/dev/null 2>&1 &
loader=$!
n=0
while kill -0 "$loader" 2>/dev/null || [ "$n" -eq 0 ]; do
	n=$((n + 1))
	"$perdraw" backup --quiet --db w.db "w$n.db" 2>err ||
		{ fail "copy $n beside a loader: $(cat err)"; break; }
	"$perdraw" history --db "w$n.db" >out || fail "copy $n is broken"
	[ "$n" -lt 50 ] || break
done
wait "$loader" || fail "the load beside the copies failed"
pass

# ---- manifest and verify -----------------------------------------------------
# The same files in two folders, under another locale, time zone and number of
# processors: the same bytes, the audit chain and its end too.
one_cpu=
if command -v taskset >/dev/null 2>&1 && taskset -c 0 true 2>/dev/null; then
	one_cpu='taskset -c 0'
else
	echo "taskset is not installed: one processor is NOT RUN"
fi
xlsx=
if "$perdraw" history --db c.db --xlsx probe.xlsx >/dev/null 2>&1; then
	xlsx='--xlsx r.xlsx'
else
	echo "built without the .xlsx form: its bytes are NOT RUN"
fi
make_set() { # FOLDER
	mkdir -p "$1"
	cp clinic.csv cd34.csv demo.plan "$1"
	(
		cd "$1"
		$cpu "$perdraw" load --quiet --db c.db clinic.csv cd34.csv 2>/dev/null
		$cpu "$perdraw" review --quiet --db c.db --plan demo.plan \
			--html r.html --text r.txt --tsv r.tsv --csv r.csv \
			--json r.json --latex r.tex $xlsx --manifest r.manifest
	)
}
(cpu=; SOURCE_DATE_EPOCH=1767571200 TZ=UTC LC_ALL=C
	export SOURCE_DATE_EPOCH TZ LC_ALL
	make_set one >/dev/null 2>&1) || fail "the first set"
(cpu=$one_cpu; SOURCE_DATE_EPOCH=1767571200 TZ=Pacific/Kiritimati
	LC_ALL=de_DE.UTF-8 LANG=tr_TR.UTF-8
	export SOURCE_DATE_EPOCH TZ LC_ALL LANG
	make_set other/two >/dev/null 2>&1) || fail "the second set"
check "a set has its manifest" [ -s one/r.manifest ]
for f in one/r*; do
	check "$f differs in another folder, locale and zone" \
		cmp "$f" "other/two/${f#one/}"
done
check "the date of SOURCE_DATE_EPOCH" \
	grep -q '^date	2026-01-05$' one/r.manifest
check "a path in the manifest" sh -c '! grep -q "$PWD" one/r.manifest'
for kind in program command date option input database state chain count source \
	plan seed flow output end; do
	check "the manifest has no line '$kind'" grep -q "^$kind	" one/r.manifest
done
check "the manifest and r.html differ in its hash" grep -q \
	"^output	r.html	$(wc -c <one/r.html)	$(sha256sum <one/r.html | cut -c1-64)\$" \
	one/r.manifest
check "the manifest's end is not the SHA-256 of its lines" [ \
	"$(sed -n 's/^end	//p' one/r.manifest)" = \
	"$(sed '$d' one/r.manifest | sha256sum | cut -c1-64)" ]

before=$(sha256sum <one/c.db)
status 0 "the same" "$perdraw" verify one/r.manifest
says out 'The same: all outputs were recomputed'
silent err
check "verify wrote to the database" [ "$(sha256sum <one/c.db)" = "$before" ]
check "verify wrote a file" [ "$(ls one | grep -c '^r')" -eq \
	"$(ls other/two | grep -c '^r')" ]
status 0 "from another folder, under another locale" env TZ=Asia/Tokyo \
	LC_ALL=de_DE.UTF-8 "$perdraw" verify one/r.manifest --format tsv
# another database of the same files
status 0 "with the other database" "$perdraw" verify --db other/two/c.db \
	one/r.manifest
# without the outputs
mkdir bare && cp one/r.manifest one/demo.plan bare
status 0 "without outputs" "$perdraw" verify --db one/c.db bare/r.manifest
says out ', 0 lie'
status 66 "without the database" "$perdraw" verify bare/r.manifest
status 66 "without the plan" "$perdraw" verify --db one/c.db \
	--folder big one/r.manifest
says err "demo.plan"
status 0 "inputs elsewhere" "$perdraw" verify --folder one bare/r.manifest

# The chain went on: a further question is no difference.
"$perdraw" ask --quiet --db one/c.db --date 2026-02-01 --outcome tnc \
	--judge concentration --slope 'volume_ml per doubling' >/dev/null || exit 99
status 0 "after a further question" "$perdraw" verify one/r.manifest
says out 'The audit chain went on since'

# An output changed.
cp -r one edited
sed 's/cases/visits/' one/r.txt >edited/r.txt
status 2 "an output edited" "$perdraw" verify edited/r.manifest
says out 'Different: 0 of'
says out 'changed since'
says out 'line 3'
# The plan changed.
cp -r one plan
sed 's/^margin *= 0.80/margin = 0.70/' demo.plan >plan/demo.plan
cmp -s demo.plan plan/demo.plan && fail "the plan was not changed"
status 2 "the plan edited" "$perdraw" verify plan/r.manifest
says out 'input plan'
says out 'r.html'
says out 'recomputed'
# A file was loaded since.
cp -r one later
"$perdraw" load --quiet --db later/c.db --date 2026-02-02 pools.csv \
	>/dev/null 2>&1 || exit 99
status 2 "a file loaded since" "$perdraw" verify later/r.manifest
says out 'source 3'
says out 'state'
says out 'no such line'
# A database made of other data.
mkdir small && "$generate" --cases 20 --seed 9 --out-dir small >/dev/null 2>&1 &&
	"$perdraw" load --quiet --db small/c.db --date 2026-01-05 \
	small/clinic.csv >/dev/null 2>&1
[ -s small/c.db ] && status 2 "another database" "$perdraw" verify \
	--db small/c.db one/r.manifest
# A tampered one.
if command -v sqlite3 >/dev/null 2>&1; then
	cp -r one bad
	sqlite3 bad/c.db '.dbconfig enable_trigger off' \
		"UPDATE audit SET uid = 7 WHERE seq = 2" >/dev/null
	status 3 "a broken chain" "$perdraw" verify bad/r.manifest
fi

# Every command that takes --manifest.
cp one/c.db one/demo.plan "$demo/demo.claim" "$demo/printed.csv" .
try() { # NAME STATUS WORDS...
	name=$1
	want=$2
	shift 2
	status "$want" "$name with a manifest" "$perdraw" "$@" \
		--out "m-$name.txt" --manifest "m-$name.manifest"
	[ -s "m-$name.manifest" ] || { fail "$name wrote no manifest"; return; }
	status 0 "$name again" "$perdraw" verify "m-$name.manifest"
	says out 'The same: the output was recomputed'
}
try ask 0 ask --quiet --db c.db --date 2026-01-05 --plan demo.plan site-volume
try refused 1 ask --quiet --db c.db --date 2026-01-05 --plan demo.plan second-pull
try asked 0 ask --quiet --db c.db --date 2026-01-05 --outcome tnc --judge \
	concentration --compare 'aliquot_no 2 against 1' --within site \
	--title "50 % less \\n or ä?" --level 0.9 --seed 17
try size 1 size --db c.db --date 2026-01-05 --plan demo.plan second-pull
try watch 1 watch --db c.db --date 2026-01-05 --outcome tnc
try claim 0 claim --quiet --db c.db --date 2026-01-05 demo.claim
try pool 0 pool --date 2026-01-05 --printed printed.csv
try pooled 0 pool --db c.db --date 2026-01-05 --printed printed.csv \
	--plan demo.plan second-pull
try history 0 history --db c.db

# Manifests that are none.
reseal() { # of standard input, into FILE
	cat >"$1"
	printf 'end\t%s\n' "$(sha256sum <"$1" | cut -c1-64)" >>"$1"
}
lines() { sed '$d' one/r.manifest; }
: >m0
printf 'perdraw-manifest\t1\n' >m1
sed 's/^seed	.*/seed	1/' one/r.manifest >m2
sed '$d' one/r.manifest >m3
head -c 4000 one/r.manifest >m4
tr '\n' '\r' <one/r.manifest >m5
lines | sed '1s/1$/2/' | reseal m6
lines | sed '/^command/d' | reseal m7
lines | sed '/^output/d' | reseal m8
lines | sed '/^seed/s/$/	more/' | reseal m9
lines | sed '/^seed/s/.*/&\n&/' | reseal m10
lines | sed '/^date/s/.*/date/' | reseal m11
lines | sed '/^plan/{h;d;};/^seed/G' | reseal m12
lines | sed '/^seed/s/$/\\q/' | reseal m13
lines | sed '/^seed/s/.*/colour	red/' | reseal m14
lines | sed '/^command/s/review/load/' | reseal m15
lines | sed '/^command/s/review/verify/' | reseal m16
lines | sed '/^option	text/s/text/ink/' | reseal m17
{ lines; printf 'output\tx\0y\t1\t2\n'; } | reseal m18
cp r.db m19 2>/dev/null || cp c.db m19
lines | sed '/^output	r.txt/p' | reseal m20
for k in 0 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20; do
	status 65 "manifest m$k" "$perdraw" verify --db one/c.db \
		--plan one/demo.plan "m$k"
	silent out
done
status 66 "no manifest" "$perdraw" verify none.manifest
status 64 "no word" "$perdraw" verify
status 64 "an output twice" "$perdraw" review --db c.db --plan demo.plan \
	--text x --manifest x
status 64 "two outputs of one name" "$perdraw" review --quiet --db c.db \
	--plan demo.plan --text x --html big/x --manifest y
status 73 "a manifest over the database" "$perdraw" review --db c.db \
	--plan demo.plan --force --manifest c.db
finish
