#!/bin/sh
# every.sh FOLDER: one document of every command that answers, in every form,
# from a generated clinic: FOLDER/NAME/out.txt out.html out.csv-metadata.json
# out-N.csv out.tex out.xlsx out.json out.tsv. Prints the commands written.
# A command whose --help offers --html and that is not here is a failure.
set -eu
source_root=${PERDRAW_SOURCE:-$(cd "$(dirname "$0")/../.." && pwd)}
perdraw=${PERDRAW:-$PWD/perdraw}
generate=${PERDRAW_GENERATE:-$PWD/demo-data/generate}
demo=$source_root/demo-data
unset SOURCE_DATE_EPOCH COLUMNS NO_COLOR || :
mkdir -p "$1"
cd "$1"
written=

# form NAME STATUS COMMAND...: all forms of one run in the folder NAME.
form() {
	name=$1
	wanted=$2
	shift 2
	rm -rf "$name"
	mkdir "$name"
	end=0
	"$perdraw" "$@" --text "$name/out.txt" --html "$name/out.html" \
		--csv "$name/out.csv" --latex "$name/out.tex" \
		--xlsx "$name/out.xlsx" --json "$name/out.json" \
		--tsv "$name/out.tsv" --width 120 >"$name/log" 2>&1 </dev/null ||
		end=$?
	if [ "$end" -ne "$wanted" ]; then
		echo "every.sh: $name: exit status $end, expected $wanted" >&2
		cat "$name/log" >&2
		exit 1
	fi
	written="$written $1"
	echo "$name"
}

if [ ! -s clinic.csv ]; then
	"$generate" --cases 300 --out-dir . >/dev/null
	# The laboratory counted forty pulls with a new counter as well.
	awk -F, 'NR == 1 { for (i = 1; i <= NF; i++) at[$i] = i
		print "case,side,site_no,aliquot_no,method_version,tnc_e6_per_ml" }
		NR > 1 && n < 40 && $at["tnc_e6_per_ml"] ~ /^[0-9.]+$/ {
		printf "%s,%s,%s,%s,counter 2,%.1f\n", $at["case"],
			$at["side"], $at["site_no"], $at["aliquot_no"],
			$at["tnc_e6_per_ml"] * (0.86 + n % 7 / 50); n++ }' \
		clinic.csv >counter.csv
	cp "$demo/demo.plan" "$demo/demo.claim" "$demo/printed.csv" .
fi
rm -f demo.db
"$perdraw" load --quiet --db demo.db --date 2026-01-05 clinic.csv cd34.csv \
	pools.csv counter.csv 2>load.err || { cat load.err >&2; exit 1; }
version=$(awk -F, 'NR == 1 { for (i = 1; i <= NF; i++)
	if ($i == "method_version") k = i } NR == 2 { print $k }' clinic.csv)

day="--date 2026-02-01"
form missing 0 findings --db demo.db $day --missing
form review 0 review --quiet --db demo.db --plan demo.plan $day \
	--manifest review.manifest
form verify 0 verify review.manifest
form ask 0 ask --quiet --db demo.db --plan demo.plan $day --no-ledger \
	syringe-10-50
form options 0 ask --quiet --db demo.db $day --no-ledger --outcome tnc \
	--judge concentration --slope 'volume_ml per doubling' \
	--adjust 'age_y, operator' --title 'Does volume dilute? <b>&amp;</b> 50 %'
form claim 0 claim --quiet --db demo.db $day demo.claim
form size 0 size --db demo.db --plan demo.plan $day syringe-10-50
form expect 0 expect --db demo.db $day --outcome cfu_f --age 55 --sex female \
	--target 20000
form watch 0 watch --db demo.db $day
form agree 0 agree --db demo.db $day --outcome tnc --judge concentration \
	--first "$version" --second 'counter 2' --margin 0.90
form pool 0 pool --db demo.db --plan demo.plan $day --printed printed.csv \
	--outcome cfu_f second-pull
sed '/^\[syringe-5-30\]/,$d' demo.plan >short.plan
form paper 0 paper --quiet --db demo.db --plan short.plan $day --no-ledger
rm -rf set
form release 0 release --quiet --db demo.db --into set --seed 7 $day
form history 0 history --db demo.db

for command in $("$perdraw" --help | sed -n '/^commands/,/^$/s/^  \([a-z]*\) .*/\1/p'); do
	"$perdraw" "$command" --help | grep -q '^ *--html' || continue
	case " $written " in
	*" $command "*) ;;
	*) echo "every.sh: '$command' writes documents and is not read" >&2
	   exit 1 ;;
	esac
done
