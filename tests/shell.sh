# shell.sh - what the shell tests share: counting, a scratch folder, checks.
# Sourced; the test ends with `finish`, whose last line is the count.

n_passed=0
n_failed=0
source_root=${PERDRAW_SOURCE:-$(cd "$(dirname "$0")/.." && pwd)}
perdraw=${PERDRAW:-$PWD/perdraw}
scratch=$(mktemp -d "${TMPDIR:-/tmp}/perdraw-test.XXXXXX") || exit 99
trap 'rm -rf "$scratch"' EXIT
trap 'exit 99' HUP INT TERM

pass() {
	n_passed=$((n_passed + 1))
}

fail() {
	n_failed=$((n_failed + 1))
	echo "FAILED: $*"
}

# check WORDS COMMAND...: passes when the command succeeds.
check() {
	what=$1
	shift
	if "$@"; then pass; else fail "$what"; fi
}

# status WANTED WORDS COMMAND...: runs it with standard output in
# $scratch/out and standard error in $scratch/err.
status() {
	wanted=$1
	what=$2
	shift 2
	got=0
	"$@" >"$scratch/out" 2>"$scratch/err" </dev/null || got=$?
	if [ "$got" -eq "$wanted" ]; then
		pass
	else
		fail "$what: exit status $got, expected $wanted"
		sed 's/^/    /' "$scratch/out" "$scratch/err" | head -20
	fi
}

# says FILE TEXT: out or err of the last `status` holds TEXT.
says() {
	if grep -qF -- "$2" "$scratch/$1"; then
		pass
	else
		fail "$what: no '$2' in its $1"
		sed 's/^/    /' "$scratch/$1" | head -20
	fi
}

# silent FILE: out or err of the last `status` is empty.
silent() {
	if [ -s "$scratch/$1" ]; then
		fail "$what: its $1 is not empty"
		sed 's/^/    /' "$scratch/$1" | head -20
	else
		pass
	fi
}

finish() {
	echo "$n_passed passed, $n_failed failed"
	[ "$n_failed" -eq 0 ]
	exit
}
