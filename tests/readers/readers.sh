#!/bin/sh
# readers.sh TOOLS FOLDER: every form of what every command writes, opened by
# real readers: vnu, Chromium with axe-core, qpdf and pdftotext, pdflatex,
# openpyxl, LibreOffice, jsonschema, Python's csv. Then the same for texts that
# each form would take for its own markup. Needs what setup.sh installs; a
# missing reader is a failure. Last line: N passed, N failed.
set -u
[ $# = 2 ] || { echo "use: readers.sh TOOLS FOLDER" >&2; exit 64; }
source_root=${PERDRAW_SOURCE:-$(cd "$(dirname "$0")/../.." && pwd)}
here=$source_root/tests/readers
tools=$(cd "$1" && pwd) || exit 66
rm -rf "$2"
mkdir -p "$2/paper" "$2/faulty"
folder=$(cd "$2" && pwd)
export PERDRAW_SOURCE="$source_root"
export PERDRAW="${PERDRAW:-$PWD/perdraw}"
export PERDRAW_GENERATE="${PERDRAW_GENERATE:-$PWD/demo-data/generate}"
export PYTHONDONTWRITEBYTECODE=1 PYTHONIOENCODING=utf-8
passed=0
failed=0
begun=$(date +%s)

# Python with openpyxl and jsonschema.
python=
for p in python3 /usr/bin/python3; do
	! "$p" -c 'import openpyxl, jsonschema' 2>/dev/null ||
		python=${python:-$p}
done

pass() { passed=$((passed + 1)); }
fail() { failed=$((failed + 1)); echo "FAILED: $*"; }

# counted NAME FILE STATUS: adds what the last line of FILE says.
counted() {
	line=$(grep -E '^[0-9]+ passed, [0-9]+ failed$' "$2" | tail -n 1)
	if [ -z "$line" ]; then
		fail "$1 ended early"
		tail -n 20 "$2"
		return
	fi
	grep FAILED "$2" | head -n 30
	printf '%-34s %s, at %s s\n' "$1" "$line" $(($(date +%s) - begun))
	passed=$((passed + ${line%% *}))
	line=${line#*, }
	failed=$((failed + ${line%% *}))
	[ "$3" -eq 0 ] || [ "${line%% *}" -gt 0 ] || fail "$1: status $3"
}

# step NAME COMMAND...: runs it and counts.
step() {
	step=$1
	shift
	"$@" >"$folder/step.log" 2>&1
	counted "$step" "$folder/step.log" $?
}

# valid STRICTNESS FILE...: vnu finds no error of HTML, SVG or CSS; with
# --Werror no warning either.
valid() {
	strict=$1
	shift
	if java -Xss8m -jar "$tools/node_modules/vnu-jar/build/dist/vnu.jar" \
		"$strict" --format gnu "$@" >"$folder/vnu.log" 2>&1; then
		echo "$# passed, 0 failed"
	else
		sed 's/^/FAILED: /' "$folder/vnu.log" | head -n 20
		bad=$(cut -d'"' -f2 "$folder/vnu.log" | sort -u | grep -c '^file:')
		[ "$bad" -gt 0 ] || bad=$#
		echo "$(($# - bad)) passed, $bad failed"
	fi
}

# forms FOLDER NAME...: the forms beside each other.
forms() {
	at=$1
	shift
	n=0
	for name; do
		(cd "$at/$name" && "$python" "$source_root/tests/forms_read.py" \
			"$source_root/docs/perdraw.schema.json") \
			>"$folder/forms.log" 2>&1 ||
			echo "FAILED: the reader ended early" >>"$folder/forms.log"
		sed -n "s/^FAILED/& ($name)/p" "$folder/forms.log" | head -n 10
		n=$((n + $(sed -n 's/^compared //p' "$folder/forms.log")))
		grep -q '^compared [1-9]' "$folder/forms.log" ||
			echo "FAILED: $name: nothing was compared"
	done >"$folder/forms.out"
	cat "$folder/forms.out"
	echo "$n passed, $(grep -c FAILED "$folder/forms.out") failed"
}

for c in java node chromium qpdf pdftotext pdfinfo pdflatex soffice xmllint; do
	if command -v "$c" >/dev/null; then
		pass
	else
		fail "$c is not installed: see tests/readers/setup.sh"
	fi
done
[ -n "$python" ] && pass || { fail "python3 without openpyxl, jsonschema"; }
if [ "$failed" -gt 0 ]; then
	echo "$passed passed, $failed failed"
	exit 1
fi

# ---- every command
sh "$here/every.sh" "$folder/every" >"$folder/every.log" 2>&1 ||
	fail "every.sh: $(tail -n 5 "$folder/every.log")"
names=$(grep -E '^[a-z]+$' "$folder/every.log")
[ -n "$names" ] || { echo "$passed passed, $failed failed"; exit 1; }
cd "$folder/every" || exit 1
pages=$(for n in $names; do echo "$n/out.html"; done)

# What must be found is found: a reader that finds nothing proves nothing.
node "$here/pages.mjs" "$tools" "$folder/faulty" "$here/faulty/out.html" \
	>"$folder/step.log" 2>&1
for fault in structure 'light: axe-core' 'dark: axe-core' '320 px: no' \
	'200 % zoom: no' 'light: contrast' keyboard 'nothing runs' \
	'nothing points' 'policy is kept' 'one request' 'rows stay whole' \
	'figures stay whole' 'no error in the browser'; do
	if grep -q "^FAILED: faulty.*$fault" "$folder/step.log"; then
		pass
	else
		fail "a faulty page passes: $fault"
	fi
done
valid --Werror "$here/faulty/out.html" >"$folder/step.log"
grep -q ' 1 failed' "$folder/step.log" && pass || fail "vnu finds no fault"

step "HTML is valid" valid --Werror $pages
step "HTML in Chromium" node "$here/pages.mjs" "$tools" "$folder/paper" $pages
step "HTML on paper" "$python" "$here/paper.py" "$folder/paper"
step "the forms say the same" forms . $names
step "LaTeX" "$python" "$here/latex.py" . $names
step "LibreOffice" "$python" "$here/office.py" . $names
step "text, 40 to 200 columns" "$python" "$here/widths.py" .

# ---- texts that would be markup
step "hostile texts" "$python" "$here/hostile.py" "$folder/hostile"
cd "$folder/hostile" || exit 1
names=$(for f in */out.html; do echo "${f%/out.html}"; done)
pages=$(for n in $names; do echo "$n/out.html"; done)
mkdir -p "$folder/hostile-paper"
step "hostile: HTML is valid" valid --errors-only $pages
step "hostile: HTML in Chromium" node "$here/pages.mjs" --sealed "$tools" \
	"$folder/hostile-paper" $pages
step "hostile: the forms say the same" forms . $names
step "hostile: LaTeX" "$python" "$here/latex.py" . $names
step "hostile: LibreOffice" "$python" "$here/office.py" . $names

echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
