#!/bin/sh
# The examples of the manual pages and of --help are commands that run: each is
# run as it stands, in a folder that holds the files it names, made of a small
# demo clinic. What an example writes is there for a `verify` that follows it.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
unset COLUMNS || :
SOURCE_DATE_EPOCH=1767571200
export SOURCE_DATE_EPOCH

# ---- the files the examples name
mkdir "$scratch/base" "$scratch/bin" "$scratch/base/keys"
printf '#!/bin/sh\nexec "%s" "$@"\n' "$perdraw" >"$scratch/bin/perdraw"
chmod +x "$scratch/bin/perdraw"
PATH=$scratch/bin:$PATH
cd "$scratch/base"
"$generate" --cases 300 --out-dir . >/dev/null || exit 99
mv clinic.csv draws-2025.csv
mv cd34.csv lab-2025.csv
for q in plan second-pull syringe-10-50 redirect needle; do
	sed -n "/^\[$q\]/,/^$/p" "$source_root/demo-data/demo.plan"
done | sed 's/^min_patients.*/min_patients = 5/' >quarter.plan # a small clinic
cp "$source_root/demo-data/demo.claim" needle.claim
cp "$source_root/demo-data/printed.csv" published.csv
sed '1d; s/,cfu_f,/,cd34,/' "$source_root/demo-data/printed.csv" >>published.csv
# Two laboratories on the same pulls.
awk -F, 'NR == 1 {
	print "patient,case,case_date,side,site_no,aliquot_no,method_version,outcome,value,unit"
	next
} $30 > 0 && n < 60 {
	n++
	printf "%s,%s,%s,%s,%s,%s,lab-c 1,tnc,%.2f,10*6/mL\n", $1, $4, $5, $12,
		$13, $21, $30 * (1.1 + 0.02 * (7 * n % 13 - 6))
}' draws-2025.csv >both.csv
# A correction: the first pull again, with another count.
awk -F, -v OFS=, 'NR == 2 { $30 = $30 * 2 } NR <= 2' draws-2025.csv >fix.csv
printf '[columns]\nPatient = patient\n' >ward.map
sed '1s/patient/Patient/' draws-2025.csv >export.csv
status 0 "the clinic of the examples" perdraw load --quiet --db clinic.db \
	draws-2025.csv lab-2025.csv both.csv
perdraw review --quiet --db clinic.db --plan quarter.plan >/dev/null
mkdir archive
cp clinic.db archive/

# commands: the examples of standard input, one a line.
commands() {
	awk '
		/^ *(perdraw|sha256sum) / || more {
			sub(/^ */, more ? " " : "")
			more = sub(/ *\\$/, "")
			line = line $0
			if (!more) { print line; line = "" }
		}'
}

# example FROM COMMAND: runs it; 0, or 1 where an answer may be refused.
n=0
example() {
	n=$((n + 1))
	case $2 in
	*"perdraw verify "* | *sha256sum*) ;;
	*)
		rm -rf "$scratch/work"
		cp -r "$scratch/base" "$scratch/work"
		# `load` makes its database, `backup` and the others read one
		case $2 in
		*"load --db clinic.db draws"*) rm "$scratch/work/clinic.db" ;;
		esac
		;;
	esac
	cd "$scratch/work"
	status 0 "$1: $2" sh -c "$2"
	cd "$scratch"
}

cd "$scratch"
: >seen
for c in $(perdraw --help | sed -n '/^commands/,/^$/s/^  \([a-z]*\) .*/\1/p'); do
	perdraw "$c" --help | sed -n '/^examples/,$p' | commands >"help.$c"
	: >"page.$c"
	if command -v mandoc >/dev/null 2>&1; then
		mandoc -T utf8 -O width=200 "$source_root/docs/man/perdraw-$c.1" |
			sed "s/.$(printf '\b')//g" |
			sed -n '/^EXAMPLES/,/^[A-Z]/p' | commands >"page.$c"
		check "perdraw-$c(1) has an example" [ -s "page.$c" ]
	fi
	check "perdraw $c --help has an example" [ -s "help.$c" ]
	for from in help page; do
		while IFS= read -r line <&3; do
			case $line in
			*verify*) ;;
			*) ! grep -qxF -- "$line" seen || continue ;;
			esac
			echo "$line" >>seen
			example "$from of $c" "$line"
		done 3<"$from.$c"
	done
done
check "many examples were run, found $n" [ "$n" -ge 30 ]
finish
