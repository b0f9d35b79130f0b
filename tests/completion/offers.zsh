# zsh: what is offered for each line of the file `lines`, into zsh.1 ...; one
# key (^G) asks for all. Typed into an interactive zsh by keys.py.
autoload -Uz compinit
compinit -u -D
source ./perdraw.zsh
typeset -g offers
compadd() {
	local -a hits
	if [[ ${@[1,(i)(-|--)]} == *-[a-zA-Z]#[OAD]* ]]; then
		builtin compadd "$@"
		return
	fi
	builtin compadd -A hits "$@"
	print -rl -- $hits >>$offers.part
	builtin compadd "$@"
}
ask_all() {
	local text
	local i=0
	for text in "${(@f)$(<lines)}"; do
		(( i++ ))
		offers=zsh.$i
		: >$offers.part
		BUFFER=$text
		CURSOR=$#BUFFER
		zle list-choices
		sed 's/=$//' $offers.part | grep . | LC_ALL=C sort -u >$offers
		rm $offers.part
	done
	BUFFER=
	: >zsh.done
}
zle -N ask_all
bindkey '^G' ask_all
setopt extended_glob
