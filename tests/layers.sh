#!/bin/sh
# Includes point one way: base < data, stats < plan < report < cli. data and
# stats never include each other, report knows answers (base) and never a
# model, the command knows the library by its front door only.
set -eu
. "${PERDRAW_SOURCE:-$(dirname "$0")/..}/tests/shell.sh"
cd "$source_root"

# includes FILE: the names between quotes.
includes() {
	sed -n 's/^[ 	]*#[ 	]*include[ 	]*"\([^"]*\)".*/\1/p' "$1"
}

# below INCLUDE ALLOWED...: is it of an allowed room?
below() {
	include=$1
	shift
	for allowed; do
		case $include in "$allowed"/*) return 0 ;; esac
	done
	return 1
}

# room FOLDER ALLOWED...: every file of lib/FOLDER includes only allowed
# rooms, and only what is there. One check a file.
room() {
	folder=$1
	shift
	n_files=0
	for f in lib/"$folder"/*.c lib/"$folder"/*.h; do
		n_files=$((n_files + 1))
		bad=
		for i in $(includes "$f"); do
			below "$i" "$@" || bad="$bad $i (above or beside)"
			[ -f "lib/$i" ] || bad="$bad $i (not there)"
		done
		check "$f includes$bad" [ -z "$bad" ]
	done
	check "lib/$folder has files" [ "$n_files" -gt 1 ]
}

room base base
room data base data
room stats base stats
room plan base data stats plan
room report base report

for f in cli/*.c cli/*.h; do
	bad=
	for i in $(includes "$f"); do
		[ "$i" = perdraw.h ] || [ -f "cli/$i" ] || bad="$bad $i"
	done
	check "$f includes$bad: the command uses perdraw.h and its own headers" \
		[ -z "$bad" ]
done

# only HEADER FOLDER...: who may use an outside library. One check a library.
only() {
	header=$1
	shift
	bad=
	for f in $(grep -l "include <$header" lib/*/*.[ch] cli/*.[ch]); do
		below "$f" "$@" || bad="$bad $f"
	done
	check "<$header...> belongs to $* but is used in$bad" [ -z "$bad" ]
}
only sqlite3.h lib/data
only csv.h lib/data
only zstd.h lib/data
only gsl/ lib/base lib/data lib/stats lib/plan
only sodium.h lib/base lib/data lib/plan

# What perdraw.h pulls in must be installed, or a user's program breaks.
installed=$(sed -n '/^pkginclude_HEADERS/,/^## ---- sql/p' Makefile.am)
todo=perdraw.h
done_already=
while [ -n "$todo" ]; do
	next=
	for h in $todo; do
		case " $done_already " in *" $h "*) continue ;; esac
		done_already="$done_already $h"
		check "lib/$h is not installed but perdraw.h needs it" \
			sh -c 'printf "%s" "$1" | grep -q "lib/$2"' - \
			"$installed" "$h"
		next="$next $(includes "lib/$h" | tr '\n' ' ')"
	done
	todo=$(echo $next)
done
for h in $(printf '%s' "$installed" | grep -o 'lib/[a-z/_]*\.h'); do
	case " $done_already " in
	*" ${h#lib/} "*) pass ;;
	*) fail "$h is installed but perdraw.h does not need it" ;;
	esac
done
finish
