/*
 * main.c - do intervals cover, and are false claims as rare as they say?
 *
 *   simulate_coverage             the quick run: fewer sets, limits that are
 *                                 exact binomial bounds; part of the tests
 *   simulate_coverage --full      10,000 sets a cell
 *     --sets N      another number of sets
 *     --threads N   1 to 16 (default 2); the counts are the same for any
 *     --only TEXT   the cells whose names hold TEXT
 *     --state FILE  finished cells are kept there and not run again
 *     --page FILE   the table between the marks of FILE is written anew
 *     --list        the names of the cells
 *     --times       processor seconds a cell, to the standard error
 * A sweep of the quantile functions comes first (not with --only). Where
 * PERDRAW_SANITIZED is set (builds that look for faults of memory, ten times
 * slower) the quick run takes 50 sets, so few that it finds only crashes,
 * numbers that are none and gross misses.
 * Ends with 0 when every method keeps its rule, or misses it as its row says.
 */
#include "run.h"
#include "sweep.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

typedef struct task {
	int full, list, times;
	unsigned threads;
	uint64_t sets;
	const char *only, *state, *page;
	size_t passed, failed;
	FILE *made; /* the table, when a page is wanted                      */
	FILE *notes;
} task;

static const sim_list *const lists[] = {
	&sim_pairs, &sim_groups, &sim_mixed, &sim_counts, &sim_limits,
	&sim_looks, &sim_studies, &sim_rooms, &sim_curves,
	&sim_bends, &sim_alike
};

static int usage(void)
{
	fputs("usage: simulate_coverage [--full] [--sets N] [--threads N] "
	      "[--only TEXT]\n"
	      "       [--state FILE] [--page FILE] [--list] [--times]\n",
	      stderr);
	return 64;
}

static int read_options(int n, char **arg, task *t)
{
	*t = (task){ .threads = 2 };
	if (getenv("PERDRAW_SANITIZED"))
		t->sets = 50;
	for (int i = 1; i < n; i++) {
		const char *a = arg[i];

		if (strcmp(a, "--full") == 0)
			t->full = 1;
		else if (strcmp(a, "--list") == 0)
			t->list = 1;
		else if (strcmp(a, "--times") == 0)
			t->times = 1;
		else if (i + 1 == n)
			return 1;
		else if (strcmp(a, "--sets") == 0)
			t->sets = strtoull(arg[++i], NULL, 10);
		else if (strcmp(a, "--threads") == 0)
			t->threads = (unsigned)strtoul(arg[++i], NULL, 10);
		else if (strcmp(a, "--only") == 0)
			t->only = arg[++i];
		else if (strcmp(a, "--state") == 0)
			t->state = arg[++i];
		else if (strcmp(a, "--page") == 0)
			t->page = arg[++i];
		else
			return 1;
	}
	return 0;
}

static uint64_t sets_of(const task *t, const sim_cell *cell)
{
	uint64_t all = t->sets ? t->sets : 10000;

	if (!t->full)
		return t->sets && cell->quick ? t->sets : cell->quick;
	return cell->full_part ? all / cell->full_part : all;
}

/* Prints the method's line; 0 when it may pass. */
static int judge_quick(const task *t, const sim_method *m,
                       const sim_count *c)
{
	uint64_t least, most;
	double weak;
	int bad;

	sim_limits_of(m, c->answered, &least, &most, &weak);
	bad = c->hits < least || c->hits > most || c->not_finite > 0 ||
		(weak > 0.01 && !t->sets);
	if (m->rule == SIM_SHOWN)
		printf("  ....  ");
	else
		printf("  %s", bad ? "FAIL  " : "ok    ");
	printf("%-28s %llu of %llu (%.1f %%), let pass %llu to %llu, "
	       "mistaken %.1g",
	       m->name, (unsigned long long)c->hits,
	       (unsigned long long)c->answered,
	       100 * (double)c->hits / (double)c->answered,
	       (unsigned long long)least, (unsigned long long)most, weak);
	return bad && (m->rule != SIM_SHOWN || c->not_finite);
}

static int judge_full(const sim_method *m, const sim_count *c)
{
	sim_word w = sim_judge(m, c);
	int bad = (w == SIM_MISSES && !m->note) || c->not_finite > 0;

	printf("  %s%-28s %.2f %% (asked %.0f %%)",
	       w == SIM_ALONE ? "....  " : bad ? "FAIL  " :
	       w == SIM_MISSES ? "known " : "ok    ",
	       m->name, 100 * (double)c->hits / (double)c->answered,
	       100 * m->asked);
	return bad;
}

static void judge(task *t, const sim_cell *cell, const sim_count *c)
{
	for (size_t k = 0; k < cell->n_methods; k++) {
		const sim_method *m = &cell->method[k];
		int bad = t->full ? judge_full(m, &c[k])
		                  : judge_quick(t, m, &c[k]);

		if (isfinite(c[k].length))
			printf(", mean length %.3g", c[k].length);
		if (c[k].answered < c[k].sets)
			printf(", %llu refused",
			       (unsigned long long)(c[k].sets - c[k].answered));
		if (c[k].not_finite)
			printf(", %llu not finite",
			       (unsigned long long)c[k].not_finite);
		putchar('\n');
		t->failed += bad != 0;
		t->passed += !bad && m->rule != SIM_SHOWN;
		if (t->notes && sim_judge(m, &c[k]) == SIM_MISSES)
			fprintf(t->notes, "- %s, %s: %s.\n", cell->name,
			        m->name, m->note ? m->note : "not explained");
	}
}

static void run_cell(task *t, const sim_cell *cell)
{
	uint64_t sets = sets_of(t, cell);
	sim_count c[SIM_METHODS];
	clock_t began = clock();

	if (!sets || (t->only && !strstr(cell->name, t->only)))
		return;
	printf("%s, %llu sets\n", cell->name, (unsigned long long)sets);
	if (!sim_recall(t->state, cell, sets, c)) {
		pd_status st = sim_run(cell, sets, t->threads, c);
		FILE *f = t->state ? fopen(t->state, "a") : NULL;

		if (st != PD_OK) {
			printf("  FAIL  %s\n", pd_status_text(st));
			t->failed++;
			if (f)
				fclose(f);
			return;
		}
		if (f) {
			sim_keep(f, cell, c);
			fclose(f);
		}
	}
	judge(t, cell, c);
	if (t->made)
		sim_page_cell(t->made, cell, c);
	if (t->times)
		fprintf(stderr, "%7.2f s  %s\n",
		        (double)(clock() - began) / CLOCKS_PER_SEC,
		        cell->name);
	fflush(stdout);
}

static void for_all(task *t)
{
	for (size_t i = 0; i < sizeof lists / sizeof *lists; i++)
		for (size_t j = 0; j < lists[i]->n; j++)
			if (t->list)
				puts(lists[i]->cell[j].name);
			else
				run_cell(t, &lists[i]->cell[j]);
}

/* The table and, after it, a line a miss. */
static int with_page(task *t)
{
	char *table = NULL, *misses = NULL, *all = NULL;
	size_t n_table = 0, n_misses = 0, n_all = 0;
	int bad = 1;

	t->made = open_memstream(&table, &n_table);
	t->notes = open_memstream(&misses, &n_misses);
	if (t->made && t->notes)
		for_all(t);
	if (t->made)
		fclose(t->made);
	if (t->notes)
		fclose(t->notes);
	FILE *f = table && misses ? open_memstream(&all, &n_all) : NULL;

	if (f) {
		fprintf(f, "\n| data | method | asked %% | counted %% | "
		        "simulation limits %% | mean length | sets | refused "
		        "| keeps |\n|---|---|---|---|---|---|---|---|---|\n"
		        "%s\n### What misses, and why\n\n%s\n", table, misses);
		bad = fclose(f) != 0 || sim_page_write(t->page, all, n_all);
	}
	free(table);
	free(misses);
	free(all);
	if (bad)
		fprintf(stderr, "%s: cannot be written, or lacks a mark\n",
		        t->page);
	return bad;
}

int main(int n, char **arg)
{
	task t;
	int bad = 0;

	if (read_options(n, arg, &t))
		return usage();
	pd_base_init();
	if (!t.list && !t.only)
		sim_sweep(t.full, &t.passed, &t.failed);
	if (t.page)
		bad = with_page(&t);
	else
		for_all(&t);
	if (!t.list)
		printf("%zu passed, %zu failed\n", t.passed, t.failed);
	return bad || t.failed ? 1 : 0;
}
