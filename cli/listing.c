/* listing.c - see listing.h. */
#include "listing.h"
#include "say.h"

void listing_line(const char *file, size_t line, size_t column,
                  const char *level, const char *code, const char *found,
                  const char *expected, FILE *to)
{
	say_clean(file, to);
	if (line)
		fprintf(to, ":%zu", line);
	if (line && column)
		fprintf(to, ":%zu", column);
	fprintf(to, ": %s: %s: ", level, code);
	if (found && *found) {
		fputs("found ", to);
		say_clean(found, to);
	}
	if (expected && *expected) {
		fputs(found && *found ? ", expected " : "expected ", to);
		say_clean(expected, to);
	}
	fputc('\n', to);
}

static const char *level_word(pd_finding_level level)
{
	return level == PD_ERROR     ? "error"
	       : level == PD_WARNING ? "warning"
	                             : "note";
}

/* The findings of one kind, `left` of them at most; returns what is left. */
static size_t list_level(const pd_findings *list, const char *file,
                         bool errors, size_t left, FILE *to)
{
	for (size_t i = 0; left && i < pd_findings_stored(list); i++) {
		const pd_finding *f = pd_findings_at(list, i);

		if ((f->level == PD_ERROR) != errors)
			continue;
		listing_line(file, f->line, f->column, level_word(f->level),
		             f->code, f->found, f->expected, to);
		left--;
	}
	return left;
}

void listing_findings(const pd_findings *list, const char *file, bool all,
                      bool only_errors, FILE *to)
{
	size_t total = pd_findings_count(list, PD_ERROR);
	size_t room = all ? (size_t)-1 : LISTING_MOST;

	if (!only_errors)
		total += pd_findings_count(list, PD_WARNING) +
		         pd_findings_count(list, PD_NOTE);
	size_t left = list_level(list, file, true, room, to);

	if (!only_errors)
		left = list_level(list, file, false, left, to);
	size_t listed = room - left;

	if (listed >= total)
		return;
	say_clean(file, to);
	fprintf(to, ": %zu more finding%s", total - listed,
	        total - listed == 1 ? "" : "s");
	fputs(all ? " not kept\n" : "; --all lists them\n", to);
}
