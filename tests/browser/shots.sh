#!/bin/sh
# Renders an HTML report in headless Chromium and leaves pictures to look at:
#   sh tests/browser/shots.sh REPORT.html FOLDER
# desktop.png, desktop-dark.png and desktop-full.png (1280 wide), phone.png,
# phone-dark.png and phone-full.png (390 wide), narrow.png (320 wide),
# large.png (1280 wide at 200% zoom), print.pdf and print-N.png.
# Headless windows are not narrower than 500, so the phone widths are an
# iframe of that width: media queries inside it see the frame.
set -eu
[ $# = 2 ] || { echo "use: shots.sh REPORT.html FOLDER" >&2; exit 64; }
case $1 in /*) page=$1 ;; *) page=$PWD/$1 ;; esac
[ -r "$page" ] || { echo "shots.sh: cannot read $1" >&2; exit 66; }
mkdir -p "$2"
out=$(cd "$2" && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT INT TERM
tall=${TALL:-14000}

chrome() {
	timeout 120 "${CHROMIUM:-chromium}" --headless --no-sandbox \
		--disable-gpu --disable-quic --no-first-run \
		--disable-background-networking --disable-component-update \
		--disable-sync --hide-scrollbars \
		--user-data-dir="$work/profile" "$@" >"$work/log" 2>&1 || {
		cat "$work/log" >&2
		return 1
	}
}

dark=--blink-settings=preferredColorScheme=0
light=--blink-settings=preferredColorScheme=1

# frame WIDTH HEIGHT FILE: a page that shows the report that wide.
frame() {
	cat >"$3" <<-EOF
	<!DOCTYPE html><html lang="en"><title>frame</title>
	<style>body{margin:0;background:#888}iframe{border:0;display:block}</style>
	<iframe title="report" src="file://$page" width="$1" height="$2"></iframe>
	EOF
}

chrome $light --window-size=1280,900 --screenshot="$out/desktop.png" \
	"file://$page"
chrome $dark --window-size=1280,1800 --screenshot="$out/desktop-dark.png" \
	"file://$page"
chrome $light --window-size=1280,"$tall" \
	--screenshot="$out/desktop-full.png" "file://$page"
frame 390 844 "$work/phone.html"
chrome $light --window-size=500,844 --screenshot="$out/phone.png" \
	"file://$work/phone.html"
frame 390 "$tall" "$work/long.html"
chrome $light --window-size=500,"$tall" --screenshot="$out/phone-full.png" \
	"file://$work/long.html"
chrome $dark --window-size=500,2400 --screenshot="$out/phone-dark.png" \
	"file://$work/long.html"
frame 320 6000 "$work/narrow.html"
chrome $light --window-size=500,6000 --screenshot="$out/narrow.png" \
	"file://$work/narrow.html"
# 200% zoom of a 1280 window is a 640 window at two pixels a CSS pixel.
chrome $light --window-size=640,1200 --force-device-scale-factor=2 \
	--screenshot="$out/large.png" "file://$page"
chrome --no-pdf-header-footer --print-to-pdf="$out/print.pdf" "file://$page"
pdftoppm -r 60 -png "$out/print.pdf" "$out/print"
ls "$out"
