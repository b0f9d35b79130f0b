/*
 * load_rules.c - rules that need more than one row: what a case adds up to,
 * numbers that are skipped, values copied down, final digits, and how a
 * file's values lie against the clinic's own. Thresholds are ours, chosen to
 * be quiet on plausible data (docs/store.md); none of these changes a value.
 */
#include "base/scan.h"
#include "data/load_own.h"
#include "data/sql_text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double MOST_CASE_ML = 1500; /* large donor harvests take 1 L */
static const double SLIP = 250;      /* of 1000, with the spread of a field */
static const double FAR_METHOD = 3;  /* medians of two method versions      */
enum {
	FEWEST_DIGITS = 40, FEWEST_SPREAD = 20, FEWEST_COPIED = 3,
	SPREAD_ZERO = 128, PER_OCTAVE = 4
};
static const double MOST_05 = 0.45;  /* 0.2 is expected                     */

/* ---- spread and digits, a value at a time ---- */

/* Quarter octave of x > 0: 128 is [1, 2^0.25-ish), linear inside an octave. */
static int spread_bin(double x)
{
	int e;
	double m = frexp(x, &e); /* 0.5 <= m < 1 */
	int k = SPREAD_ZERO + PER_OCTAVE * (e - 1) + (int)((m - 0.5) * 8);

	return k < 0 ? 0 : k >= N_SPREAD ? N_SPREAD - 1 : k;
}

/* Middle of a bin. */
static double bin_value(int k)
{
	int octave = k / PER_OCTAVE - SPREAD_ZERO / PER_OCTAVE;

	return ldexp(1 + (k % PER_OCTAVE + 0.5) / PER_OCTAVE, octave);
}

/* Nearest whole number of 0 <= x < 2^53, -1 where x is not near one. */
static int64_t whole(double x)
{
	int64_t n = (int64_t)(x + 0.5);

	return fabs(x - (double)n) < 1e-6 * (1 + x * 1e-6) ? n : -1;
}

/* Dishes are counts and stay at whole numbers. */
static void note_digit(struct digits *d, double x, bool count)
{
	static const double power[N_PLACES] = {
		1e-6, 1e-5, 1e-4, 1e-3, 1e-2, 1e-1, 1, 1e1, 1e2, 1e3, 1e4,
	};
	int k = count ? WHOLE_PLACE : 0;
	int64_t n;

	if (x > 1e12)
		return;
	while ((n = whole(x * power[k])) < 0 && !count &&
	       k + 1 < N_PLACES)
		k++;
	if (n < 0)
		return;
	if (n < 10)
		d->single[k]++;
	else
		d->n[k]++;
	d->n_05[k] += n >= 10 && n % 5 == 0;
}

/*
 * The place a field is written to: the finest that one value in a hundred needs
 * or more. A value written finer is left out (a quotient among readings), one
 * that needs less ends in 0. One digit says nothing about rounding.
 */
static void sum_digits(const struct digits *d, uint32_t *n, uint32_t *n_05)
{
	uint64_t all = 0, finer = 0;
	int k = N_PLACES;

	for (int p = 0; p < N_PLACES; p++)
		all += d->n[p] + d->single[p];
	while (k > 0 && (k == N_PLACES || 100 * finer < all)) {
		k--;
		finer += d->n[k] + d->single[k];
	}
	*n = d->n[k];
	*n_05 = d->n_05[k];
	for (int p = 0; p < k; p++) {
		*n += d->n[p] + d->single[p];
		*n_05 += d->n[p] + d->single[p];
	}
}

void load_measure(struct load *L, const struct assay *a)
{
	int method = (int)(a->e.id & MOST_METHODS);
	struct spread *s = L->spread[method];

	if (!s)
		s = L->spread[method] = calloc(1, sizeof *s);
	if (!s) {
		load_fail(L, pd_fail(L->err, PD_NO_MEMORY, "out of memory"));
		return;
	}
	for (int k = 0; k < N_RESULTS; k++) {
		double x = a->value[k];

		if (!(x > 0) || a->states >> 4 * k & 15)
			continue;
		if (k < N_SPREAD_FIELDS) {
			s->n[k]++;
			s->count[k][spread_bin(x)]++;
		}
		note_digit(&L->digits[k], x, k >= N_SPREAD_FIELDS);
	}
}

static double middle(const uint32_t *count, uint64_t n)
{
	uint64_t below = 0;

	for (int k = 0; k < N_SPREAD; k++) {
		below += count[k];
		if (2 * below >= n)
			return bin_value(k);
	}
	return NAN;
}

static void digit_rules(struct load *L)
{
	for (int k = 0; k < N_RESULTS; k++) {
		uint32_t n, n_05;

		sum_digits(&L->digits[k], &n, &n_05);
		if (n < FEWEST_DIGITS || n_05 < MOST_05 * n)
			continue;
		load_find(L, "digit-preference", PD_WARNING, 0,
		          load_value_field(k),
		          "about one in five: counts, not estimates",
		          "%u of %u values of %s end in 0 or 5", n_05,
		          n, pd_field_about(load_value_field(k))->header);
	}
}

/* ---- medians ---- */

/* Counts of the store before this file, summed over its sources, by method;
 * the caller frees each. */
static void old_spreads(struct load *L, struct spread **old)
{
	sqlite3_stmt *q = NULL;
	bool row = true;

	load_fail(L, pd_db_prepare(L->s, pd_sql_old_profiles, &q, L->err));
	while (L->st == PD_OK && row) {
		load_fail(L, pd_db_step(L->s, q, &row, L->err));
		if (L->st != PD_OK || !row)
			break;
		int method = sqlite3_column_int(q, 0) & MOST_METHODS, k = 0;
		const unsigned char *count = sqlite3_column_blob(q, 3);
		struct spread *s = old[method];

		while (k < N_SPREAD_FIELDS && strcmp(pd_db_text(q, 2),
		       pd_field_about(load_value_field(k))->header) != 0)
			k++;
		if (!s)
			s = old[method] = calloc(1, sizeof *s);
		if (!s || k == N_SPREAD_FIELDS || !count ||
		    sqlite3_column_bytes(q, 3) != 4 * N_SPREAD)
			continue;
		for (int j = 0; j < N_SPREAD; j++) {
			uint32_t n = count[4 * j] |
			             (uint32_t)count[4 * j + 1] << 8 |
			             (uint32_t)count[4 * j + 2] << 16 |
			             (uint32_t)count[4 * j + 3] << 24;

			s->count[k][j] += n;
			s->n[k] += n;
		}
	}
	sqlite3_finalize(q);
}

static void list_slips(struct load *L, int k, double median)
{
	pd_field f = load_value_field(k);
	sqlite3_stmt *q = NULL;
	bool row = true;

	load_fail(L, pd_db_prepare(L->s, pd_sql_slips, &q, L->err));
	if (L->st == PD_OK) {
		sqlite3_bind_int64(q, 1, L->source_id);
		sqlite3_bind_int64(q, 2, k);
		sqlite3_bind_double(q, 3, median / SLIP);
		sqlite3_bind_double(q, 4, median * SLIP);
	}
	while (L->st == PD_OK && row) {
		load_fail(L, pd_db_step(L->s, q, &row, L->err));
		if (row)
			load_find(L, "unit-slip", PD_WARNING,
			          (uint32_t)sqlite3_column_int64(q, 0), f,
			          "a value in the unit of the column",
			          "%s %.10g, some 1000 times off this clinic's "
			          "median of about %.2g",
			          pd_field_about(f)->header,
			          sqlite3_column_double(q, 1), median);
	}
	sqlite3_finalize(q);
}

/* All methods' counts of field k, old and new, into sum; how many. */
static uint64_t sum_field(struct load *L, struct spread **old, int k,
                          bool new_too, uint32_t sum[N_SPREAD])
{
	uint64_t n = 0;

	memset(sum, 0, N_SPREAD * sizeof *sum);
	for (int m = 0; m <= MOST_METHODS; m++)
		for (int t = 0; t < 1 + new_too; t++) {
			const struct spread *s = t ? L->spread[m] : old[m];

			for (int j = 0; s && s->n[k] && j < N_SPREAD; j++)
				sum[j] += s->count[k][j];
			n += s ? s->n[k] : 0;
		}
	return n;
}

/* Single values, and whole files, that lie a factor of a thousand away. */
static void slip_rule(struct load *L, struct spread **old, int k)
{
	uint32_t all[N_SPREAD], now[N_SPREAD];
	uint64_t n_old = sum_field(L, old, k, false, all), n_now = 0;
	double before = n_old >= FEWEST_SPREAD ? middle(all, n_old) : NAN;
	uint64_t n = sum_field(L, old, k, true, all);
	double median;
	bool far = false;

	memset(now, 0, sizeof now);
	for (int m = 0; m <= MOST_METHODS; m++)
		for (int j = 0; L->spread[m] && j < N_SPREAD; j++) {
			now[j] += L->spread[m]->count[k][j];
			n_now += L->spread[m]->count[k][j];
		}
	if (n < FEWEST_SPREAD || n_now == 0)
		return;
	median = isnan(before) ? middle(all, n) : before;
	for (int j = 0; j < N_SPREAD; j++)
		far = far || (now[j] && (bin_value(j) > median * SLIP * 0.8 ||
		                         bin_value(j) < median / SLIP * 1.25));
	double here = middle(now, n_now), shift = here / before;
	bool shifted = n_now >= FEWEST_SPREAD &&
	               (shift > 30 || shift < 1.0 / 30);

	/* a whole file in another unit is one finding, not one a row */
	if (far && !shifted)
		list_slips(L, k, median);
	if (shifted)
		load_find(L, "median-shift", PD_WARNING, 0,
		          load_value_field(k),
		          "the unit of the earlier files, or a map for this",
		          "median %s about %.2g, in earlier files %.2g",
		          pd_field_about(load_value_field(k))->header, here,
		          before);
}

/* A method version of this file far from all the others. */
static void method_rule(struct load *L, struct spread **old, int k)
{
	uint32_t all[N_SPREAD], own[N_SPREAD];
	uint64_t n_all = sum_field(L, old, k, true, all);

	for (int m = 0; m <= MOST_METHODS; m++) {
		uint64_t n = 0;

		if (!L->spread[m] || L->spread[m]->n[k] == 0)
			continue;
		uint32_t rest[N_SPREAD];

		for (int j = 0; j < N_SPREAD; j++) {
			own[j] = L->spread[m]->count[k][j] +
			         (old[m] ? old[m]->count[k][j] : 0);
			n += own[j];
			rest[j] = all[j] - own[j];
		}
		if (n < FEWEST_SPREAD || n_all - n < FEWEST_SPREAD)
			continue;
		double a = middle(own, n), b = middle(rest, n_all - n);

		if (a > FAR_METHOD * b || b > FAR_METHOD * a)
			load_find(L, "method-median", PD_NOTE, 0,
			          load_value_field(k),
			          "a bridge between methods before they are "
			          "compared",
			          "median %s of method version '%s' about "
			          "%.2g, of all others %.2g",
			          pd_field_about(load_value_field(k))->header,
			          pd_table_word(L->names[2], (uint32_t)m), a,
			          b);
	}
}

static void median_rules(struct load *L)
{
	struct spread **old = calloc(MOST_METHODS + 1, sizeof *old);

	if (!old) {
		load_fail(L, pd_fail(L->err, PD_NO_MEMORY, "out of memory"));
		return;
	}
	old_spreads(L, old);
	for (int k = 0; k < N_SPREAD_FIELDS && L->st == PD_OK; k++) {
		/* shares lie in a fixed range: the reader's rules judge them */
		if (k != 2 && k != 3)
			slip_rule(L, old, k);
		method_rule(L, old, k);
	}
	for (int m = 0; m <= MOST_METHODS; m++)
		free(old[m]);
	free(old);
}

/* ---- cases ---- */

static void case_rules(struct load *L, const struct case_ *c, uint32_t k)
{
	static const int which[N_COPIED] = { 0, 1, 6, 8 };
	const char *label = pd_table_word(L->labels[1], k);

	if (c->total_ml > MOST_CASE_ML)
		load_find(L, "case-volume", PD_WARNING, c->line, PD_F_VOLUME,
		          "at most 1500 mL in one case",
		          "%.10g mL drawn in case '%s'", c->total_ml, label);
	for (int j = 0; j < N_COPIED; j++) {
		pd_field f = load_value_field(which[j]);

		if (c->n_copied[j] >= FEWEST_COPIED && !c->differs[j])
			load_find(L, "pool-copied-down", PD_WARNING, c->line,
			          f, "one value a pull, or the pool field for "
			          "a value of the pool",
			          "%s %.10g for all %u pulls of case '%s'",
			          pd_field_about(f)->header, c->copied[j],
			          c->n_copied[j], label);
	}
}

/* Birth year and case date that came from different files. */
static void birth_rules(struct load *L, const struct case_ *c)
{
	double birth = L->patient[c->patient].fact[1], date = c->fact[0];

	if (isnan(birth) || isnan(date) ||
	    (L->has[PD_F_BIRTH_YEAR] && L->has[PD_F_CASE_DATE]))
		return;
	int year, month, day;

	pd_date_of((int32_t)date, &year, &month, &day);
	if (year < birth)
		load_find(L, "birth-after-case", PD_ERROR, c->line,
		          L->has[PD_F_CASE_DATE] ? PD_F_CASE_DATE
		                                 : PD_F_BIRTH_YEAR,
		          "a birth year before the case's year",
		          "case in %d, born %g", year, birth);
}

/* A case cannot lie after the day it is loaded on. */
static void future_rule(struct load *L, const struct case_ *c)
{
	char found[11], today[11];
	double date = c->fact[0];

	if (!c->touched || isnan(date) || !(date > L->day))
		return;
	load_find(L, "case-in-future", PD_ERROR, c->line, PD_F_CASE_DATE,
	          "a date not after the load", "case on %s, loaded on %s",
	          pd_date_print((int32_t)date, found),
	          pd_date_print(L->day, today));
}

/* Results of one sample that came in several rows; within a row the reader
 * has compared them. */
void load_compare_results(struct load *L, const struct assay *a,
                          uint32_t line)
{
	double tnc = a->value[0], mnc = a->value[1];
	bool numbers = (a->states & 0xff) == 0;

	if (L->has[PD_F_OUTCOME] && numbers && mnc > tnc)
		load_find(L, "mnc-above-tnc", PD_ERROR, line, PD_F_VALUE,
		          "at most the TNC: check both units",
		          "mnc_e6_per_ml %.10g, tnc_e6_per_ml %.10g", mnc, tnc);
}

/* ---- gaps ---- */

static uint32_t line_of(struct load *L, const char *sql, int64_t id)
{
	sqlite3_stmt *q = NULL;
	bool row = false;
	uint32_t line = 0;

	load_fail(L, pd_db_prepare(L->s, sql, &q, L->err));
	if (L->st == PD_OK) {
		sqlite3_bind_int64(q, 1, id);
		load_fail(L, pd_db_step(L->s, q, &row, L->err));
		line = row ? (uint32_t)sqlite3_column_int64(q, 0) : 0;
	}
	sqlite3_finalize(q);
	return line;
}

static bool has_bit(const uint64_t *seen, unsigned n)
{
	return seen[n / 64] >> n % 64 & 1;
}

/* First number that is there while the one below it is not; 0: none. */
static unsigned first_gap(const uint64_t *seen)
{
	/* the numbers 1..m without a hole are one run of bits */
	if (!(seen[1] | seen[2] | seen[3]) &&
	    ((seen[0] | 1) & ((seen[0] | 1) + 1)) == 0)
		return 0;
	for (unsigned n = 2; n <= MOST_NUMBER; n++)
		if (has_bit(seen, n) && !has_bit(seen, n - 1))
			return n;
	return has_bit(seen, 1) ? 0 : 1;
}

static void pull_gap(struct load *L, const struct site *s)
{
	unsigned n = first_gap(s->seen);

	if (n > 1)
		load_find(L, "pull-gap", PD_WARNING,
		          line_of(L, pd_sql_aliquot_line,
		                  s->e.id << ALIQUOT_BITS | n),
		          PD_F_ALIQUOT_NO,
		          "every pull of the site, numbered from 1",
		          "pull %u without pull %u", n, n - 1);
}

/* Sites may be numbered over the case or over each side: a number is missing
 * only when no side has it. */
static void site_gap(struct load *L, const struct case_ *c)
{
	uint64_t seen[4] = { 0 };
	int64_t at = 0;

	for (uint32_t k = c->first_site; k; k = L->site[k - 1].next) {
		unsigned n = (unsigned)(L->site[k - 1].e.id & MOST_NUMBER);

		seen[n / 64] |= UINT64_C(1) << n % 64;
	}
	unsigned gap = first_gap(seen);

	for (uint32_t k = c->first_site; gap > 1 && k;
	     k = L->site[k - 1].next)
		if ((L->site[k - 1].e.id & MOST_NUMBER) == gap)
			at = L->site[k - 1].e.id;
	if (gap > 1)
		load_find(L, "site-gap", PD_WARNING,
		          line_of(L, pd_sql_site_line, at), PD_F_SITE_NO,
		          "every site of the case, numbered from 1",
		          "site %u without site %u", gap, gap - 1);
}

/* ---- all of them ---- */

static void outgrown_pools(struct load *L)
{
	sqlite3_stmt *q = NULL;
	bool row = true;

	load_fail(L, pd_db_prepare(L->s, pd_sql_outgrown_pools, &q, L->err));
	if (L->st == PD_OK)
		sqlite3_bind_int64(q, 1, L->source_id);
	while (L->st == PD_OK && row) {
		load_fail(L, pd_db_step(L->s, q, &row, L->err));
		if (row)
			load_find(L, "pool-outgrown", PD_WARNING, 0, PD_F_POOL,
			          "all draws of a case, then its pool's result",
			          "new draws of case '%s', which its stored "
			          "pool '%s' does not hold", pd_db_text(q, 1),
			          pd_db_text(q, 0));
	}
	sqlite3_finalize(q);
}

static void counts_of_rows(struct load *L)
{
	if (L->n_again)
		load_find(L, "rows-already-stored", PD_NOTE, L->first_again,
		          PD_N_FIELDS, "nothing to do: they are not doubled",
		          "%u rows that are stored already", L->n_again);
	if (L->n_filled)
		load_find(L, "blanks-filled", PD_NOTE, L->first_filled,
		          PD_N_FIELDS, "nothing to do: the rows as they were "
		          "are in the history",
		          "values for blank fields of %u stored rows",
		          L->n_filled);
	if (L->report->n_superseded)
		load_find(L, "rows-superseded", PD_NOTE, 0, PD_N_FIELDS,
		          "nothing to do: the rows as they were are in the "
		          "history", "%zu stored rows were corrected",
		          L->report->n_superseded);
}

void load_rules(struct load *L, bool whole)
{
	for (size_t k = 0; k < L->n_cases && L->st == PD_OK; k++) {
		const struct case_ *c = &L->case_[k];

		birth_rules(L, c);
		future_rule(L, c);
		if (c->touched)
			case_rules(L, c, (uint32_t)k);
		if (c->touched && whole)
			site_gap(L, c);
	}
	for (size_t k = 0; whole && k < L->n_sites && L->st == PD_OK; k++)
		if (L->site[k].touched)
			pull_gap(L, &L->site[k]);
	digit_rules(L);
	median_rules(L);
	if (L->has_draws && !L->store_empty)
		outgrown_pools(L);
	counts_of_rows(L);
}

static void write_profile(struct load *L, sqlite3_stmt *q, int method, int k)
{
	const struct spread *s = L->spread[method];
	unsigned char count[4 * N_SPREAD];

	for (int j = 0; j < N_SPREAD; j++)
		for (int b = 0; b < 4; b++)
			count[4 * j + b] = s->count[k][j] >> 8 * b & 255;
	sqlite3_bind_int64(q, 1, L->source_id);
	sqlite3_bind_int64(q, 2, method);
	pd_db_bind_text(q, 3, pd_field_about(load_value_field(k))->header);
	sqlite3_bind_int64(q, 4, s->n[k]);
	sqlite3_bind_blob(q, 5, count, sizeof count, SQLITE_TRANSIENT);
	load_fail(L, pd_db_do(L->s, q, L->err));
}

void load_write_profiles(struct load *L)
{
	sqlite3_stmt *q = NULL;

	load_fail(L, pd_db_prepare(L->s, pd_sql_add_profile, &q, L->err));
	for (int m = 0; m <= MOST_METHODS; m++)
		for (int k = 0; k < N_SPREAD_FIELDS && L->spread[m] &&
		     L->st == PD_OK; k++)
			if (L->spread[m]->n[k])
				write_profile(L, q, m, k);
	sqlite3_finalize(q);
}
