#!/bin/sh
# embed.sh FILE.sql ... - print one C file holding the SQL as strings.
# A file is one string, pd_sql_NAME by the file's name; a file with lines
# `--: NAME` is one string for each of them. Lines that are only a comment
# before a statement are left out, so that the text stays small.
printf '/* Made by sql/embed.sh from the files in sql/. */\n'
printf '#include "data/sql_text.h"\n'
for file in "$@"; do
	name=$(basename "$file" .sql)
	awk -v name="$name" '
	function open(which) {
		if (is_open)
			print "\t\"\";"
		printf "\nconst char pd_sql_%s[] =\n", which
		is_open = 1
	}
	/^--: / { open($2); next }
	/^--/ || /^[ \t]*$/ { next }
	{
		if (!is_open)
			open(name)
		gsub(/\\/, "\\\\")
		gsub(/"/, "\\\"")
		gsub(/\t/, "\\t")
		printf "\t\"%s\\n\"\n", $0
	}
	END { if (is_open) print "\t\"\";" }
	' "$file" || exit 1
done
