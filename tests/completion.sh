#!/bin/sh
# Completion in the real shells: what bash, zsh and fish offer after each
# command is what its option table holds (--help prints it), choice words,
# questions of a plan, files and folders; a hostile name stays one word.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
LC_ALL=C.UTF-8
export LC_ALL
cd "$scratch"
HOME=$scratch
export HOME
mkdir plans
: >some.csv
printf '[plan]\ntitle = x\n[one-a]\n[ $(touch pwned) ]\n[two_b] # c\n' \
	>plans/some.plan
cp plans/some.plan 'plans/$(touch pwned).plan'

for shell in bash zsh fish; do
	status 0 "the script for $shell" "$perdraw" --completion-for "$shell"
	cp out "perdraw.$shell"
	check "$shell: the same bytes twice" sh -c \
		"'$perdraw' --completion-for $shell | cmp -s - perdraw.$shell"
done
status 64 "a script for another shell" "$perdraw" --completion-for csh
says err "one of bash, zsh, fish, found 'csh'"
status 64 "a script for no shell" "$perdraw" --completion-for

# ---- what the tables hold, as --help prints it: COMMAND|OPTION|VALUE
commands=$("$perdraw" --help |
	sed -n '/^commands/,/^$/s/^  \([a-z]*\) .*/\1/p')
for c in $commands; do
	"$perdraw" "$c" --help | sed -n '/^options/,/^$/p' |
		sed -n "s/^  \(-., \|    \)--\([a-z-]*\) \{0,1\}\([^ ]*\).*/$c:\2:\3/p"
done >table
check "the tables hold options" [ "$(wc -l <table)" -gt 100 ]

# Lines to be completed, and what is to be offered for each, sorted.
mkdir want
: >lines
n=0
# line TEXT WORD...: another line and what is to be offered after it.
line() {
	n=$((n + 1))
	printf '%s\n' "$1" >>lines
	shift
	printf '%s\n' "$@" | grep . | LC_ALL=C sort -u >"want/$n" || :
}
line 'perdraw ' $commands help
line 'perdraw --' --help --version --completion-for
line 'perdraw help ' $commands
line 'perdraw --completion-for ' bash zsh fish
for c in $commands; do
	line "perdraw $c --" $(sed -n "s/^$c:\([a-z-]*\):.*/--\1/p" table)
	grep "^$c:.*|" table >choices || :
	while IFS=: read -r _ name value; do
		line "perdraw $c --$name " $(echo "$value" | tr '|' ' ')
	done <choices
done
check "many lines to complete, found $n" [ "$n" -ge 30 ]
line 'perdraw ask --quiet --format t' text tsv
line 'perdraw ask -f t' text tsv
line 'perdraw ask --format=t' text tsv
line 'perdraw review --date '
line 'perdraw watch --outcome tn' tnc
line 'perdraw size --plan plans/some.plan ' one-a two_b
line 'perdraw ask --quiet -p ~/plans/some.plan t' two_b
line "perdraw size --plan 'plans/\$(touch pwned).plan' " one-a two_b
line 'perdraw size --plan plans/none.plan '
line 'perdraw verify --folder pla' plans
line 'perdraw load --db some' some.csv
line 'perdraw load some' some.csv
line 'perdraw load --date some'

# compare SHELL: the offers in SHELL.N against what is wanted.
compare() {
	i=0
	while [ "$i" -lt "$n" ]; do
		i=$((i + 1))
		# A folder's slash and an option before '=' are the shell's.
		sed 's:/$::; s/^--[a-z-]*=\(.\)/\1/' "$1.$i" >offered
		if diff "want/$i" offered >difference; then
			pass
		else
			fail "$1 offers other words (<: table, >: $1) after" \
				"'$(sed -n "${i}p" lines)'"
			head -20 difference
		fi
	done
}

if command -v bash >/dev/null 2>&1; then
	check "bash: syntax" bash -n perdraw.bash
	bash --norc "$source_root/tests/completion/offers.bash" lines
	compare bash
else
	echo "bash is not installed: its offers are NOT RUN"
fi
if command -v fish >/dev/null 2>&1; then
	check "fish: syntax" fish --no-config -n perdraw.fish
	fish --no-config "$source_root/tests/completion/offers.fish" lines
	compare fish
else
	echo "fish is not installed: its offers are NOT RUN"
fi
keys="$source_root/tests/completion/keys.py"
for shell in bash zsh; do
	if ! command -v "$shell" >/dev/null 2>&1 ||
		! command -v python3 >/dev/null 2>&1; then
		echo "$shell or python3 is not installed: keys are NOT RUN"
		continue
	fi
	if [ "$shell" = zsh ]; then
		check "zsh: syntax" zsh -n perdraw.zsh
		check "zsh answers" python3 "$keys" zsh offers \
			"$source_root/tests/completion/offers.zsh"
		compare zsh
	fi
	python3 "$keys" "$shell" name >keys.out 2>&1 || :
	check "$shell: $(head -5 keys.out)" grep -q '^same' keys.out
done
if command -v fish >/dev/null 2>&1; then
	check "fish: a hostile name stays one word" fish --no-config \
		"$source_root/tests/completion/name.fish"
fi
check "a name on the line was run" sh -c '! find . -name "pwned*" | grep .'

finish
