/*
 * dishes.c - the index of dispersion of replicate dishes, pooled.
 */
#include "stats/dishes.h"
#include "stats/incomplete.h"
#include "stats/count_row.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <math.h>
#include <stdlib.h>

enum { DRAWS = 19999, FEWEST_DRAWS = 999 };
static const double MOST_WAYS = 2e5;    /* gone through                    */
static const double MOST_COUNTS = 4e8;  /* drawn, over all draws           */
static const double USUAL = 5, LEAST = 1; /* m_j for the chi-square law    */
static const double TIE = 1e-9;         /* of the index                    */

struct place {
	int32_t code;
	size_t row;
};

/* Counted dishes of the samples that say something, sample by sample. */
struct tally {
	size_t n, n_samples;
	size_t *first;          /* n_samples + 1                             */
	size_t *total;          /* n_samples                                 */
	double *count, *share;  /* n: k_j, e_j / E                           */
	size_t *drawn;          /* n, scratch                                */
	double least, mean;
	double reached;         /* the index that is to be reached           */
};

static int by_code(const void *a, const void *b)
{
	const struct place *x = a, *y = b;

	if (x->code != y->code)
		return x->code < y->code ? -1 : 1;
	return (x->row > y->row) - (x->row < y->row);
}

static pd_status check_rows(const pd_dishes_spec *spec, struct place *place,
                            pd_error *err)
{
	for (size_t i = 0; i < spec->n; i++) {
		double k = spec->count[i];

		if (!(k >= 0 && k <= PD_COUNT_MOST) || k != floor(k))
			return pd_fail(err, PD_DATA, "row %zu: %g is not a "
			               "count, expected a whole number from 0 "
			               "to %d", i + 1, k, PD_COUNT_MOST);
		if (spec->exposure && (!(spec->exposure[i] > 0) ||
		                       isinf(spec->exposure[i])))
			return pd_fail(err, PD_DATA, "row %zu: exposure %g, "
			               "expected a finite number above 0",
			               i + 1, spec->exposure[i]);
		if (spec->sample[i] < 0)
			return pd_fail(err, PD_DATA, "row %zu has no sample",
			               i + 1);
		place[i] = (struct place){ spec->sample[i], i };
	}
	qsort(place, spec->n, sizeof *place, by_code);
	return PD_OK;
}

static pd_status make_room(pd_arena *arena, size_t n, struct tally *t,
                           pd_dishes *d, pd_error *err)
{
	t->first = PD_NEW(arena, size_t, n + 1);
	t->total = PD_NEW(arena, size_t, n + 1);
	t->count = PD_NEW(arena, double, n + 1);
	t->share = PD_NEW(arena, double, n + 1);
	t->drawn = PD_NEW(arena, size_t, n + 1);
	d->sample = PD_NEW(arena, pd_dish_sample, n + 1);
	d->cut = PD_NEW(arena, size_t, n + 1);
	if (!t->first || !t->total || !t->count || !t->share || !t->drawn ||
	    !d->sample || !d->cut)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return PD_OK;
}

/* ---- one sample --------------------------------------------------------- */

static double part(double count, double expected)
{
	return (count - expected) * (count - expected) / expected;
}

/* The counted dishes stand at t->count[t->n ..], shares still exposures. */
static void close_sample(struct tally *t, pd_dishes *d, pd_dish_sample *s)
{
	for (size_t j = 0; j < s->dishes; j++) {
		s->exposure += t->share[t->n + j];
		s->total += t->count[t->n + j];
	}
	s->rate = s->total / s->exposure;
	s->index = s->df = s->p = NAN;
	if (s->dishes < 2) {
		d->n_single++;
		return;
	}
	if (s->total == 0) {
		d->n_empty++;
		return;
	}
	s->index = 0;
	for (size_t j = 0; j < s->dishes; j++) {
		double expected;

		t->share[t->n + j] /= s->exposure;
		expected = s->total * t->share[t->n + j];
		s->index += part(t->count[t->n + j], expected);
		t->least = fmin(t->least, expected);
		t->mean += expected;
	}
	s->df = (double)(s->dishes - 1);
	s->p = pd_chisq_upper(s->index, s->df);
	d->index += s->index;
	d->df += s->df;
	t->total[t->n_samples++] = (size_t)s->total;
	t->n += s->dishes;
	t->first[t->n_samples] = t->n;
}

static void take_samples(const pd_dishes_spec *spec,
                         const struct place *place, struct tally *t,
                         pd_dishes *d)
{
	for (size_t i = 0; i < spec->n;) {
		pd_dish_sample *s = &d->sample[d->n_all++];

		*s = (pd_dish_sample){ .code = place[i].code };
		for (; i < spec->n && place[i].code == s->code; i++) {
			size_t row = place[i].row, at = t->n + s->dishes;

			if (spec->at_least && spec->at_least[row]) {
				s->cut++;
				continue;
			}
			t->count[at] = spec->count[row];
			t->share[at] = spec->exposure ? spec->exposure[row]
			                              : 1;
			s->dishes++;
		}
		close_sample(t, d, s);
	}
	for (size_t i = 0; spec->at_least && i < spec->n; i++)
		if (spec->at_least[i])
			d->cut[d->n_cut++] = i;
	d->n_samples = t->n_samples;
	d->n_dishes = t->n;
	d->factor = d->index / d->df;
	d->mean = t->mean /= (double)t->n;
}

/* All samples with a counted dish against one rate. */
static void between(pd_dishes *d)
{
	double total = 0, exposure = 0, n = 0, index = 0;

	for (size_t k = 0; k < d->n_all; k++) {
		total += d->sample[k].total;
		exposure += d->sample[k].exposure;
		n += d->sample[k].dishes > 0;
	}
	d->between = d->between_df = d->between_p = NAN;
	if (n < 2)
		return;
	for (size_t k = 0; k < d->n_all; k++)
		if (d->sample[k].dishes)
			index += part(d->sample[k].total, d->sample[k].exposure
			              * (total / exposure));
	d->between = index;
	d->between_df = n - 1;
	d->between_p = pd_chisq_upper(index, n - 1);
}

/* ---- the law of the index given the totals ------------------------------ */

/* Ways to share all totals; INFINITY when there are too many. */
static double ways(const struct tally *t)
{
	double all = 1;

	for (size_t s = 0; s < t->n_samples; s++) {
		double k = (double)t->total[s];
		size_t m = t->first[s + 1] - t->first[s];

		for (size_t j = 1; j < m; j++) /* C(k + m - 1, m - 1) */
			all *= (k + (double)j) / (double)j;
		if (all > MOST_WAYS)
			return INFINITY;
	}
	return all;
}

/* Chance of an index of at least t->reached, dish j of sample s next, `left`
 * of the sample's total not yet given out; ln_p and index so far. */
static double share_out(const struct tally *t, size_t s, size_t j,
                        size_t left, double ln_p, double index)
{
	double expected, sum = 0;

	if (s == t->n_samples)
		return index >= t->reached ? exp(ln_p) : 0;
	if (j == t->first[s])
		ln_p += pd_ln_gamma((double)left + 1);
	expected = (double)t->total[s] * t->share[j];
	for (size_t k = j + 1 < t->first[s + 1] ? 0 : left; k <= left; k++) {
		double count = (double)k;
		double next = ln_p + count * log(t->share[j]) -
		              pd_ln_gamma(count + 1);
		double far = index + part(count, expected);

		if (j + 1 < t->first[s + 1])
			sum += share_out(t, s, j + 1, left - k, next, far);
		else
			sum += share_out(t, s + 1, j + 1, t->total[s + 1], next,
			                 far);
	}
	return sum;
}

static size_t pick(const struct tally *t, size_t s, pd_stream *stream)
{
	double u = pd_stream_uniform(stream);
	size_t j = t->first[s];

	for (; j + 1 < t->first[s + 1] && u > t->share[j]; j++)
		u -= t->share[j];
	return j;
}

static double drawn_index(const struct tally *t, pd_stream *stream)
{
	double index = 0;

	for (size_t s = 0; s < t->n_samples; s++) {
		for (size_t j = t->first[s]; j < t->first[s + 1]; j++)
			t->drawn[j] = 0;
		for (size_t k = 0; k < t->total[s]; k++)
			t->drawn[pick(t, s, stream)]++;
		for (size_t j = t->first[s]; j < t->first[s + 1]; j++)
			index += part((double)t->drawn[j],
			              (double)t->total[s] * t->share[j]);
	}
	return index;
}

static void draw(const pd_dishes_spec *spec, const struct tally *t,
                 pd_dishes *d)
{
	double counts = t->mean * (double)t->n, far = 1, all;
	double most = fmax(FEWEST_DRAWS, floor(MOST_COUNTS / counts));

	d->draws = spec->draws ? spec->draws : DRAWS;
	if (d->draws > most)
		d->draws = (unsigned)most;
	for (unsigned k = 0; k < d->draws; k++) {
		pd_stream stream;

		pd_stream_init(&stream, spec->seed, k);
		far += drawn_index(t, &stream) >= t->reached;
	}
	all = 1 + (double)d->draws;
	d->p = far / all;
	d->p_error = sqrt(d->p * (1 - d->p) / all);
}

static void find_p(const pd_dishes_spec *spec, struct tally *t, pd_dishes *d)
{
	d->p = d->p_chisq = pd_chisq_upper(d->index, d->df);
	if (t->mean >= USUAL && t->least >= LEAST)
		return;
	t->reached = d->index * (1 - TIE) - TIE;
	if (isfinite(ways(t))) {
		d->law = PD_DISHES_EXACT;
		d->p = fmin(1, share_out(t, 0, 0, t->total[0], 0, 0));
		return;
	}
	d->law = PD_DISHES_DRAWN;
	draw(spec, t, d);
}

pd_status pd_dishes_test(pd_arena *arena, const pd_dishes_spec *spec,
                         pd_dishes *out, pd_error *err)
{
	struct place *place = PD_NEW(arena, struct place, spec->n + 1);
	struct tally t = { .least = INFINITY };
	pd_dishes d = { .law = PD_DISHES_CHISQ };
	pd_status st;

	if (!place)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = check_rows(spec, place, err);
	if (st == PD_OK)
		st = make_room(arena, spec->n, &t, &d, err);
	if (st != PD_OK)
		return st;
	take_samples(spec, place, &t, &d);
	if (!t.n_samples)
		return pd_fail(err, PD_REFUSED, "no sample has 2 counted "
		               "dishes with a colony on them (%zu dishes too "
		               "numerous to count)", d.n_cut);
	between(&d);
	find_p(spec, &t, &d);
	*out = d;
	return PD_OK;
}
