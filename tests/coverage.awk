# coverage.awk - truth.tsv, then review tables: one line a stated truth with
# the effect found for it. A truth names its question and, where a question has
# several effects, a word of its effect's label.
# Out: question effect expect truth value low high (the last three blank where
# the review has no such effect or no answer).
BEGIN { FS = OFS = "\t" }
FNR == 1 { file++; next }
file == 1 {
	n++
	question[n] = $1
	effect[n] = $2
	truth[n] = $4
	expect[n] = $5
	next
}
{
	for (i = 1; i <= n; i++)
		if (question[i] == $1 &&
		    (effect[i] == "" || index($2, effect[i]) > 0)) {
			if (found[i]++)
				twice[i] = 1
			value[i] = $3
			low[i] = $4
			high[i] = $5
		}
}
END {
	for (i = 1; i <= n; i++)
		if (twice[i]) # two effects for one truth: neither is meant
			print question[i], effect[i], expect[i], truth[i], "", "", ""
		else
			print question[i], effect[i], expect[i], truth[i], \
			      value[i], low[i], high[i]
}
