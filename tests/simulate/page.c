/*
 * page.c - counts kept in a file between runs, and the table of the page on
 * coverage.
 */
#include "run.h"

#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char from[] = "<!-- made by simulate_coverage: from here -->\n";
static const char to[] = "<!-- made by simulate_coverage: to here -->\n";

void sim_keep(FILE *f, const sim_cell *cell, const sim_count *c)
{
	for (size_t k = 0; k < cell->n_methods; k++)
		fprintf(f, "%s\t%s\t%llu\t%llu\t%llu\t%llu\t%.17g\n",
		        cell->name, cell->method[k].name,
		        (unsigned long long)c[k].sets,
		        (unsigned long long)c[k].answered,
		        (unsigned long long)c[k].hits,
		        (unsigned long long)c[k].not_finite, c[k].length);
	fflush(f);
}

/* A kept line into the method it names; 1 when it is one of this cell. */
static int take_line(const char *line, const sim_cell *cell, uint64_t sets,
                     sim_count *c, int *seen)
{
	char name[128], method[128];
	unsigned long long n, answered, hits, odd;
	double length;

	if (sscanf(line, "%127[^\t]\t%127[^\t]\t%llu\t%llu\t%llu\t%llu\t%lf",
	           name, method, &n, &answered, &hits, &odd, &length) != 7 ||
	    strcmp(name, cell->name) != 0 || n != sets)
		return 0;
	for (size_t k = 0; k < cell->n_methods; k++)
		if (strcmp(method, cell->method[k].name) == 0) {
			c[k] = (sim_count){ n, answered, hits, odd, length };
			seen[k] = 1;
		}
	return 1;
}

int sim_recall(const char *path, const sim_cell *cell, uint64_t sets,
               sim_count *c)
{
	FILE *f = path ? fopen(path, "r") : NULL;
	char line[512];
	int seen[SIM_METHODS] = { 0 };
	size_t found = 0;

	while (f && fgets(line, sizeof line, f))
		take_line(line, cell, sets, c, seen);
	if (f)
		fclose(f);
	for (size_t k = 0; k < cell->n_methods; k++)
		found += seen[k] != 0;
	return found == cell->n_methods;
}

static const char *word_of(const sim_method *m, sim_word w)
{
	if (w == SIM_ALONE)
		return "for comparison";
	if (w == SIM_KEEPS)
		return m->rule == SIM_NEAR ? "yes" :
			m->rule == SIM_LEAST ? "at least" : "at most";
	return "**no**";
}

void sim_page_cell(FILE *f, const sim_cell *cell, const sim_count *c)
{
	for (size_t k = 0; k < cell->n_methods; k++) {
		const sim_method *m = &cell->method[k];
		double low, high, n = (double)c[k].answered;
		double share = n > 0 ? (double)c[k].hits / n : NAN;
		sim_word w = sim_judge(m, &c[k]);

		pd_binomial_limits((double)c[k].hits, n, 0.95, &low, &high);
		fprintf(f, "| %s | %s | %.0f | %.2f | %.2f to %.2f | ",
		        cell->name, m->name, 100 * m->asked, 100 * share,
		        100 * low, 100 * high);
		if (isnan(c[k].length))
			fputs("- |", f);
		else
			fprintf(f, "%.3g |", c[k].length);
		fprintf(f, " %llu | %llu | %s |\n",
		        (unsigned long long)c[k].sets,
		        (unsigned long long)(c[k].sets - c[k].answered),
		        word_of(m, w));
	}
}

static char *whole_file(const char *path)
{
	FILE *f = fopen(path, "r");
	char *text = NULL;
	long size = 0;

	if (!f)
		return NULL;
	if (fseek(f, 0, SEEK_END) == 0 && (size = ftell(f)) >= 0 &&
	    fseek(f, 0, SEEK_SET) == 0)
		text = calloc((size_t)size + 1, 1);
	if (text && fread(text, 1, (size_t)size, f) != (size_t)size) {
		free(text);
		text = NULL;
	}
	fclose(f);
	return text;
}

int sim_page_write(const char *path, const char *made, size_t length)
{
	char *text = whole_file(path);
	char *begin = text ? strstr(text, from) : NULL;
	char *end = begin ? strstr(begin, to) : NULL;
	FILE *f = end ? fopen(path, "w") : NULL;
	int bad = 1;

	if (f) {
		begin += strlen(from);
		bad = fwrite(text, 1, (size_t)(begin - text), f) !=
			(size_t)(begin - text);
		bad |= fwrite(made, 1, length, f) != length;
		bad |= fputs(end, f) < 0;
		bad |= fclose(f) != 0;
	}
	free(text);
	return bad;
}
