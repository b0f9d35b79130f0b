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
	status 3 "a changed row in a review" "$perdraw" review --quiet \
		--db t.db --plan demo.plan
	says err 'audit row 2 was changed'
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
finish
