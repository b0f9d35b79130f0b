/*
 * generate.c - the demo clinic: 2,400 cases over nine years whose true effects
 * are known (effects.c, TRUTH.md), written as the files a clinic would have.
 *
 *   generate [--seed N] [--cases N] --out-dir DIR
 *       DIR/clinic.csv  one row a pull, draws and counts, canonical headers
 *       DIR/local.csv   the same rows in the clinic's own dialect (local.map)
 *       DIR/cd34.csv    CD34+ in long form, one row a sample and outcome
 *       DIR/pools.csv   cases where the laboratory counted pools
 *       DIR/bad.csv     40 rows, each wrong in one way; bad.tsv says which
 *       DIR/truth.tsv   what each question of demo.plan ought to find
 *   generate --truth          truth.tsv on standard output
 *   generate --truth-table    the tables of TRUTH.md
 *   generate --check-truth [--seed N] [--cases N]
 *       simulates afresh; exit 1 when a stored simulated truth is off
 *
 * The same seed gives the same bytes. No clock, no locale, no library but libm.
 */
#include "clinic.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

struct request {
	uint64_t seed;
	int cases;
	const char *dir;
	int truth, table, check;
};

static int usage(void)
{
	fputs("usage: generate [--seed N] [--cases N] --out-dir DIR\n"
	      "       generate --truth | --truth-table\n"
	      "       generate --check-truth [--seed N] [--cases N]\n",
	      stderr);
	return 64;
}

/* 1 when s is a whole number between low and high. */
static int whole(const char *s, unsigned long long low,
                 unsigned long long high, unsigned long long *out)
{
	char *end;

	if (!s || *s < '0' || *s > '9')
		return 0;
	errno = 0;
	*out = strtoull(s, &end, 10);
	return !errno && !*end && *out >= low && *out <= high;
}

static int parse(int argc, char **argv, struct request *q)
{
	unsigned long long n;

	for (int i = 1; i < argc; i++) {
		const char *a = argv[i];
		const char *value = i + 1 < argc ? argv[i + 1] : NULL;

		if (!strcmp(a, "--truth"))
			q->truth = 1;
		else if (!strcmp(a, "--truth-table"))
			q->table = 1;
		else if (!strcmp(a, "--check-truth"))
			q->check = 1;
		else if (!strcmp(a, "--seed") &&
		         whole(value, 0, UINT64_MAX, &n))
			q->seed = n, i++;
		else if (!strcmp(a, "--cases") && whole(value, 1, 10000000, &n))
			q->cases = (int)n, i++;
		else if (!strcmp(a, "--out-dir") && value)
			q->dir = value, i++;
		else
			return 0;
	}
	return (q->dir != NULL) + q->truth + q->table + q->check == 1;
}

static FILE *create(const char *dir, const char *name)
{
	char path[4096];
	FILE *f;

	if (snprintf(path, sizeof path, "%s/%s", dir, name) >=
	    (int)sizeof path) {
		fprintf(stderr, "generate: path too long: %s\n", dir);
		return NULL;
	}
	f = fopen(path, "w");
	if (!f)
		fprintf(stderr, "generate: cannot write %s: %s\n", path,
		        strerror(errno));
	return f;
}

enum { F_CLINIC, F_LOCAL, F_CD34, F_POOLS, F_BAD, F_BAD_KEY, F_TRUTH, N_FILES };
static const char *const file_name[N_FILES] = {
	"clinic.csv", "local.csv", "cd34.csv", "pools.csv", "bad.csv",
	"bad.tsv", "truth.tsv"
};

/* Who comes on this day: a new patient, or in about one case in ten someone
 * whose last case lies four months back or more. */
static demo_patient *who(demo_rng *r, demo_patient *all, int *n, int day)
{
	demo_patient *p;

	if (*n > 30 && demo_chance(r, 0.10)) {
		p = &all[demo_below(r, *n)];
		if (day - p->last_day >= 120) {
			p->last_day = day;
			return p;
		}
	}
	p = &all[(*n)++];
	demo_patient_make(r, p, *n, day);
	p->last_day = day;
	return p;
}

static void write_cases(const struct request *q, demo_patient *patients,
                        FILE **f)
{
	int first = demo_day(FIRST_YEAR, 1, 2), n_patients = 0;
	int days = demo_day(FIRST_YEAR + N_YEARS, 1, 1) - first;
	demo_rng r, pools;

	demo_rng_seed(&r, q->seed);
	demo_rng_seed(&pools, q->seed ^ 0x706f6f6c73u);
	demo_write_header(f[F_CLINIC]);
	demo_write_local_header(f[F_LOCAL]);
	demo_write_cd34_header(f[F_CD34]);
	demo_write_pool_header(f[F_POOLS]);
	for (int i = 0; i < q->cases; i++) {
		double at = (i + demo_uniform(&r)) / q->cases;
		int day = first + (int)(at * days);
		const demo_patient *p = who(&r, patients, &n_patients, day);
		demo_case c;

		demo_visit(&r, &c, i + 1, day, p);
		demo_marrow(&r, &c);
		demo_lab(&r, &c);
		demo_write_case(f[F_CLINIC], &c);
		demo_write_local(f[F_LOCAL], &c);
		demo_write_cd34(f[F_CD34], &c);
		demo_write_pools(f[F_POOLS], &pools, &c);
	}
}

static int write_files(const struct request *q)
{
	FILE *f[N_FILES] = { NULL };
	demo_patient *patients = calloc((size_t)q->cases, sizeof *patients);
	int good = patients != NULL;

	for (int i = 0; good && i < N_FILES; i++)
		good = (f[i] = create(q->dir, file_name[i])) != NULL;
	if (good) {
		write_cases(q, patients, f);
		demo_write_bad(f[F_BAD]);
		demo_write_bad_key(f[F_BAD_KEY]);
		demo_write_truth(f[F_TRUTH]);
	}
	for (int i = 0; i < N_FILES; i++)
		if (f[i] && (ferror(f[i]) | fclose(f[i]))) {
			fprintf(stderr, "generate: cannot write %s/%s\n",
			        q->dir, file_name[i]);
			good = 0;
		}
	free(patients);
	return good ? 0 : 74;
}

int main(int argc, char **argv)
{
	struct request q = { .seed = 1, .cases = 0 };

	if (!parse(argc, argv, &q))
		return usage();
	if (q.check)
		return demo_check_truth(stdout, q.seed,
		                        q.cases ? q.cases : 200000);
	if (q.truth)
		demo_write_truth(stdout);
	if (q.table)
		demo_write_truth_table(stdout);
	if (!q.dir)
		return ferror(stdout) || fflush(stdout) ? 74 : 0;
	if (!q.cases)
		q.cases = 2400;
	return write_files(&q);
}
