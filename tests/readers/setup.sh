#!/bin/sh
# setup.sh FOLDER: what `make readers` needs beside what .ci/setup installs:
# Debian's packages (as root or with sudo), and three packages of the npm
# registry by version into FOLDER, which is never part of the source. Does
# nothing where all is there.
set -eu
[ $# = 1 ] || { echo "use: setup.sh FOLDER" >&2; exit 64; }
packages="chromium nodejs npm openjdk-17-jre-headless qpdf poppler-utils
	texlive-latex-base texlive-latex-recommended libreoffice-calc-nogui
	python3-openpyxl python3-jsonschema libxml2-utils fonts-liberation"
modules="axe-core@4.14.1 playwright-core@1.56.1 vnu-jar@26.9.27"

# A command or a package that does the same counts.
there() {
	case $1 in
	chromium) command -v chromium ;;
	nodejs) command -v node ;;
	npm) command -v npm ;;
	openjdk-*) command -v java ;;
	libreoffice-*) command -v soffice ;;
	*) dpkg-query -W -f='${Status}' "$1" 2>/dev/null | grep ' installed$' ;;
	esac >/dev/null 2>&1
}

missing=
for p in $packages; do
	there "$p" || missing="$missing $p"
done
if [ -n "$missing" ]; then
	echo "readers: installing$missing"
	root=
	if [ "$(id -u)" -ne 0 ]; then
		command -v sudo >/dev/null 2>&1 || {
			echo "readers: run as root, or install sudo" >&2
			exit 77
		}
		root=sudo
	fi
	$root env DEBIAN_FRONTEND=noninteractive apt-get update -q ||
		echo "readers: apt-get update failed, trying the lists at hand" >&2
	# shellcheck disable=SC2086
	$root env DEBIAN_FRONTEND=noninteractive apt-get install -q -y \
		--no-install-recommends $missing
fi

mkdir -p "$1"
cd "$1"
if [ "$(cat versions 2>/dev/null)" != "$modules" ]; then
	rm -rf node_modules
	# shellcheck disable=SC2086
	npm install --prefix . --no-save --no-package-lock --ignore-scripts \
		--no-audit --no-fund $modules
	echo "$modules" >versions
fi
