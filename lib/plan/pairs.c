/* pairs.c - one pass for sums by unit and arm, one to average to patients. */
#include "plan/pairs.h"

#include <string.h>

struct cell {
	double sum[2];
	size_t n[2];
	int32_t patient;
};

static struct cell *cells(const pd_rows *r, size_t level, const double *y,
                          pd_arena *arena)
{
	struct cell *c = PD_NEW(arena, struct cell, r->n_groups[level]);

	for (size_t i = 0; c && i < r->n; i++) {
		struct cell *u = &c[r->group[level][i]];

		u->patient = r->group[0][i];
		u->sum[r->arm[i]] += y[i];
		u->n[r->arm[i]]++;
	}
	return c;
}

/* Distinct codes among the rows of units with both arms. */
static size_t distinct(const pd_rows *r, size_t level, const struct cell *c,
                       const int32_t *code, pd_arena *arena)
{
	unsigned char *seen = PD_NEW(arena, unsigned char, r->n + 1);
	size_t n = 0;

	for (size_t i = 0; seen && i < r->n; i++) {
		const struct cell *u = &c[r->group[level][i]];

		if (!u->n[0] || !u->n[1] || seen[code[i]])
			continue;
		seen[code[i]] = 1;
		n++;
	}
	return n;
}

static void count_units(const pd_rows *r, size_t level, const struct cell *c,
                        pd_arena *arena, pd_pairs *out)
{
	size_t site = pd_rows_level(r, "site");

	out->n_cases = distinct(r, level, c, r->case_code, arena);
	if (site < r->depth)
		out->n_sites = distinct(r, level, c, r->group[site], arena);
	else if (r->depth > 1) /* at site grain a row is a site */
		out->n_sites = out->n_rows;
}

pd_status pd_pairs_make(const pd_rows *r, size_t level, const double *y,
                        pd_arena *arena, pd_pairs *out, pd_error *err)
{
	struct cell *c = cells(r, level, y, arena);
	size_t np = r->n_groups[0], to = 0;
	double *first = PD_NEW(arena, double, np);
	double *second = PD_NEW(arena, double, np);
	size_t *units = PD_NEW(arena, size_t, np);

	memset(out, 0, sizeof *out);
	out->diff = PD_NEW(arena, double, np);
	if (!c || !first || !second || !units || !out->diff)
		return pd_fail(err, PD_NO_MEMORY, "out of memory pairing");
	for (size_t g = 0; g < r->n_groups[level]; g++) {
		int32_t p = c[g].patient;

		if (!c[g].n[0] || !c[g].n[1])
			continue;
		first[p] += c[g].sum[0] / (double)c[g].n[0];
		second[p] += c[g].sum[1] / (double)c[g].n[1];
		units[p]++;
		out->n_units++;
		out->n_rows += c[g].n[0] + c[g].n[1];
	}
	count_units(r, level, c, arena, out);
	for (size_t p = 0; p < np; p++) {
		if (!units[p])
			continue;
		first[to] = first[p] / (double)units[p]; /* to <= p */
		second[to] = second[p] / (double)units[p];
		out->diff[to] = first[to] - second[to];
		to++;
	}
	out->n = to;
	out->first = first;
	out->second = second;
	return PD_OK;
}

size_t pd_pairs_patients(const pd_rows *r, size_t level, pd_arena *arena)
{
	struct cell *c = cells(r, level, r->low, arena);
	unsigned char *has = PD_NEW(arena, unsigned char, r->n_groups[0]);
	size_t n = 0;

	for (size_t g = 0; c && has && g < r->n_groups[level]; g++)
		if (c[g].n[0] && c[g].n[1])
			has[c[g].patient] = 1;
	for (size_t p = 0; has && p < r->n_groups[0]; p++)
		n += has[p];
	return n;
}
