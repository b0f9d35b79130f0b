#!/bin/sh
# demo.sh PERDRAW GENERATE PLAN DATE - the demo clinic from nothing to a
# review: demo.db, review.txt and review.html in the current folder.
set -eu
perdraw=$1
generate=$2
plan=$3
date=$4

rm -rf demo-files
rm -f demo.db demo.db-wal demo.db-shm review.txt review.html
mkdir demo-files
"$generate" --out-dir demo-files
"$perdraw" load --db demo.db --date "$date" demo-files/clinic.csv \
	demo-files/cd34.csv demo-files/pools.csv 2>demo-files/findings.txt ||
	{ status=$?; cat demo-files/findings.txt >&2; exit "$status"; }
"$perdraw" review --db demo.db --plan "$plan" --date "$date" \
	--text review.txt --html review.html --first-page
here=$(pwd)
echo
echo "database          $here/demo.db"
echo "whole review      $here/review.txt"
echo "the same as HTML  $here/review.html"
echo "files loaded      $here/demo-files"
