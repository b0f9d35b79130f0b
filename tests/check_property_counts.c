/*
 * check_property_counts.c - what must hold for any data, of regressions of
 * counts, without and with patients: see check_properties.c.
 */
#include "property_data.h"

#include "stats/count_mixed.h"
#include "stats/stream.h"

#include <math.h>

/* ---- counts ------------------------------------------------------------- */

static pd_count_spec count_spec(const data *d)
{
	return (pd_count_spec){ .n = d->n, .p = P, .x = d->x,
	                        .y = d->colonies, .offset = d->offset,
	                        .extra = true };
}

static pd_count_fit counts(const data *d)
{
	pd_count_spec spec = count_spec(d);
	pd_count_fit f;

	ok("counts", pd_count_regression(arena, &spec, &f, &err));
	return f;
}

/* What the search stops at: 1e-9 of a coefficient; theta is flatter. */
static void same_counts(const char *what, const pd_count_fit *a,
                        const pd_count_fit *b, double sign, double unit)
{
	close_to(what, b->beta[1], sign * a->beta[1], 1e-8);
	close_to(what, b->beta[2] * unit, a->beta[2], 1e-8);
	near(what, b->log_likelihood, a->log_likelihood, 1e-11);
	near(what, b->theta, a->theta, 1e-6);
	near(what, b->covariance[P + 1], a->covariance[P + 1], 1e-6);
}

START_TEST(counts_for_any_data)
{
	data *d = make(_i, 31);
	pd_count_fit a = counts(d), b;

	b = counts(shuffled(d, 4));
	same_counts("order", &a, &b, 1, 1);
	for (size_t i = 0; i < d->n; i++)
		d->x[P * i + 2] *= 1024;
	b = counts(d);
	ck_assert(b.beta[1] == a.beta[1]);
	ck_assert(b.beta[2] * 1024 == a.beta[2]);
	for (size_t i = 0; i < d->n; i++)
		d->x[P * i + 2] /= 1024;
	for (size_t i = 0; i < d->n; i++) { /* cells in millions, not units */
		d->offset[i] += log(1e6);
		d->x[P * i + 2] *= 1000;
	}
	b = counts(d);
	same_counts("unit", &a, &b, 1, 1000);
	close_to("unit, base", b.beta[0], a.beta[0] - log(1e6), 1e-8);
	for (size_t i = 0; i < d->n; i++) {
		d->offset[i] -= log(1e6);
		d->x[P * i + 2] /= 1000;
	}
	swap_arms(d);
	b = counts(d);
	close_to("arms", b.beta[1], -a.beta[1], 1e-8);
	close_to("arms, base", b.beta[0], a.beta[0] + a.beta[1], 1e-8);
	pd_count_spec spec = count_spec(d);

	spec.x = with_constant(d);
	spec.p = P + 1;
	refused_by_name(pd_count_regression(arena, &spec, &b, &err),
	                "column 4");
}
END_TEST

/* A neighbour of a fit with patients (sd 0: without) at distance `far`. */
static double beside(const pd_mixed_spec *spec, const double *beta, double sd,
                     double theta, double far, pd_stream *s)
{
	double b[P], value, shape = theta;

	for (size_t j = 0; j < P; j++)
		b[j] = beta[j] + far * pd_stream_normal(s);
	shape = isfinite(theta) ? theta * exp(far * pd_stream_normal(s))
	                        : exp(4 + 10 * pd_stream_uniform(s));
	if (!spec->rows.extra)
		shape = INFINITY;
	if (sd > 0)
		sd *= exp(far * pd_stream_normal(s));
	ok("beside", pd_count_mixed_likelihood(spec, b, sd, shape,
	                                       spec->nodes, &value, NULL,
	                                       &err));
	return value;
}

START_TEST(counts_twice_and_beside)
{
	data *d = make(_i, 32);
	pd_count_fit a = counts(d), b = counts(doubled(d));
	pd_mixed_spec spec = { .rows = count_spec(d), .group = d->patient,
	                       .nodes = 1 };
	pd_stream s;

	for (size_t j = 0; j < P; j++)
		close_to("twice", b.beta[j], a.beta[j], 1e-8);
	near("twice", b.log_likelihood, 2 * a.log_likelihood, 1e-11);
	near("twice, theta", b.theta, a.theta, 1e-6);
	pd_stream_init(&s, 33, (uint64_t)_i);
	for (int k = 0; k < PERTURBED; k++)
		ck_assert(beside(&spec, a.beta, 0, a.theta, pow(10, -(k % 6)),
		                 &s) <= a.log_likelihood + 1e-9);
}
END_TEST

/* ---- counts with patients ----------------------------------------------- */

static pd_mixed_fit mixed(const data *d, unsigned nodes)
{
	pd_mixed_spec spec = { .rows = count_spec(d), .group = d->patient,
	                       .nodes = nodes };
	pd_mixed_fit f;

	ok("counts with patients", pd_count_mixed(arena, &spec, &f, &err));
	return f;
}

static void same_mixed(const char *what, const pd_mixed_fit *a,
                       const pd_mixed_fit *b, double sign)
{
	close_to(what, b->beta[1], sign * a->beta[1], 1e-7);
	close_to(what, b->beta[2], a->beta[2], 1e-7);
	close_to(what, b->sd, a->sd, 1e-6);
	near(what, b->theta, a->theta, 1e-5);
	near(what, b->log_likelihood, a->log_likelihood, 1e-9);
}

START_TEST(mixed_for_any_data)
{
	data *d = make(_i, 41);
	pd_mixed_fit a = mixed(d, 15), b;

	b = mixed(shuffled(d, 6), 15);
	same_mixed("order", &a, &b, 1);
	for (size_t i = 0; i < d->n; i++)
		d->offset[i] += log(1e6);
	b = mixed(d, 15);
	same_mixed("unit", &a, &b, 1);
	close_to("unit, base", b.beta[0], a.beta[0] - log(1e6), 1e-7);
	rename_groups(d);
	b = mixed(d, 15);
	same_mixed("names", &a, &b, 1);
	swap_arms(d);
	b = mixed(d, 15);
	same_mixed("arms", &a, &b, -1);
	pd_mixed_spec spec = { .rows = count_spec(d), .group = d->patient };

	spec.rows.x = with_constant(d);
	spec.rows.p = P + 1;
	refused_by_name(pd_count_mixed(arena, &spec, &b, &err), "column 4");
}
END_TEST

START_TEST(mixed_twice_and_beside)
{
	data *d = make(_i, 42);
	pd_mixed_fit a = mixed(d, 15), b = mixed(doubled(d), 15);
	pd_mixed_spec spec = { .rows = count_spec(d), .group = d->patient,
	                       .nodes = 15 };
	pd_stream s;

	for (size_t j = 0; j < P; j++)
		close_to("twice", b.beta[j], a.beta[j], 1e-6);
	close_to("twice, sd", b.sd, a.sd, 1e-5);
	near("twice", b.log_likelihood, 2 * a.log_likelihood, 1e-9);
	pd_stream_init(&s, 43, (uint64_t)_i);
	for (int k = 0; k < PERTURBED; k++)
		ck_assert(beside(&spec, a.beta, a.sd, a.theta,
		                 pow(10, -(k % 6)), &s) <=
		          a.log_likelihood + 1e-8);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("properties of counts");

	pd_base_init();
	pair_of(s, "counts", counts_for_any_data, counts_twice_and_beside);
	pair_of(s, "patients", mixed_for_any_data, mixed_twice_and_beside);
	return run_suite(s);
}
