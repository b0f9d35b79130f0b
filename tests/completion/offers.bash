# bash offers.bash LINES: what the completion function offers for each line,
# into the files bash.1, bash.2 ...; with the files or folders readline adds.
# shellcheck shell=bash
compopt() { readline=$2; }
source ./perdraw.bash
i=0
while IFS= read -r text; do
	i=$((i + 1))
	# Words as readline parts them: quotes stay on, '=' is a word.
	mapfile -t COMP_WORDS < <(grep -oE "'[^']*'|=|[^ =']+" <<<"$text")
	[[ $text == *' ' ]] && COMP_WORDS+=('')
	COMP_CWORD=$((${#COMP_WORDS[@]} - 1))
	COMPREPLY=()
	readline=
	_perdraw
	case $readline in
	default) mapfile -t COMPREPLY < <(compgen -f -- "${COMP_WORDS[-1]}") ;;
	dirnames) mapfile -t COMPREPLY < <(compgen -d -- "${COMP_WORDS[-1]}") ;;
	esac
	printf '%s\n' "${COMPREPLY[@]}" | grep . | LC_ALL=C sort -u >"bash.$i"
done <"$1"
exit 0
