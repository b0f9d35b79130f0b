#!/bin/sh
# After `make install`: the command runs, a program of somebody else compiles
# and links by pkg-config, and its symbols are only ours. Run by
# `make installcheck`, and so by `make distcheck`.
set -eu
. "$PERDRAW_SOURCE/tests/shell.sh"

status 0 "installed command" "$perdraw" --version
says out "perdraw "
version=$(sed 's/perdraw //' "$scratch/out")
check "pkg-config knows version $version" \
	[ "$(pkg-config --modversion perdraw)" = "$version" ]
libdir=$(pkg-config --variable=libdir perdraw)
check "the library has a versioned soname" [ -e "$libdir/libperdraw.so.0" ]

# shellcheck disable=SC2046
status 0 "a user's program compiles" ${PERDRAW_CC:-cc} -std=c17 -Wall -Wextra \
	-Werror -o "$scratch/user" "$PERDRAW_SOURCE/tests/installed/user.c" \
	$(pkg-config --cflags --libs perdraw)
status 0 "a user's program runs" "$scratch/user" "$scratch/new.db"
says out "0 patients"
for script in "$PERDRAW_BASH/perdraw" "$PERDRAW_DATA/zsh/site-functions/_perdraw" \
	"$PERDRAW_DATA/fish/vendor_completions.d/perdraw.fish"; do
	check "no completion script $script" grep -q "'--\{0,1\}[^']*db\|-l db" "$script"
done

exported=$(nm -D --defined-only "$libdir/libperdraw.so" |
	awk '$2 != "A" && $3 !~ /^(pd_|__asan|_init$|_fini$|__bss_start$|_edata$|_end$)/ { print $3 }')
check "the library exports only pd_ names, found: $exported" \
	[ -z "$exported" ]
finish
