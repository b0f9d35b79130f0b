/*
 * total.c - draws of a case's total; see total.h.
 */
#include "stats/total.h"
#include "stats/stream.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Everything one draw needs, made once. */
struct drawing {
	const pd_total_law *law;
	size_t n_sides, n_sites, n_slots; /* largest place of each + 1       */
	double *root;             /* p * p, lower: covariance = root root'   */
	double *z, *b, *mean;     /* p, p, n_rows                            */
	double *side, *site, *slot;
};

static int all_finite(const double *x, size_t n)
{
	for (size_t i = 0; i < n; i++)
		if (!isfinite(x[i]))
			return 0;
	return 1;
}

static pd_status check_law(const pd_total_law *w, pd_error *err)
{
	const double sd[] = { w->case_sd, w->side_sd, w->site_sd, w->pull_sd };

	for (size_t k = 0; k < 4; k++)
		if (!(sd[k] >= 0) || !isfinite(sd[k]))
			return pd_fail(err, PD_USAGE, "standard deviation %g is "
			               "not a number from 0 up", sd[k]);
	if (!(w->df > 0))
		return pd_fail(err, PD_USAGE, "degrees of freedom %g are not "
		               "above 0", w->df);
	if (w->p == 0 || w->n_rows == 0)
		return pd_fail(err, PD_USAGE, "a total without a model");
	if (!all_finite(w->x, w->n_rows * w->p) || !all_finite(w->beta, w->p) ||
	    !all_finite(w->covariance, w->p * w->p))
		return pd_fail(err, PD_DATA, "the model holds a number that is "
		               "not finite");
	return PD_OK;
}

static size_t more(size_t n, size_t place)
{
	return place + 1 > n ? place + 1 : n;
}

static pd_status check_layouts(struct drawing *d, const pd_total_layout *l,
                               size_t n, pd_error *err)
{
	for (size_t i = 0; i < n; i++)
		for (size_t k = 0; k < l[i].n; k++) {
			const pd_total_pull *p = &l[i].pull[k];

			if (p->row >= d->law->n_rows ||
			    p->side >= PD_TOTAL_PLACES ||
			    p->site >= PD_TOTAL_PLACES ||
			    p->slot >= PD_TOTAL_PLACES)
				return pd_fail(err, PD_DATA, "pull %zu of "
				               "layout %zu has no such row or "
				               "place", k + 1, i + 1);
			d->n_sides = more(d->n_sides, p->side);
			d->n_sites = more(d->n_sites, p->site);
			d->n_slots = more(d->n_slots, p->slot);
		}
	return PD_OK;
}

/*
 * Lower root of the covariance; a direction without variance (a pivot below
 * 1e-12 of the largest variance) gets a column of zeros.
 */
static pd_status take_root(struct drawing *d, pd_error *err)
{
	size_t p = d->law->p;
	double *r = d->root, largest = 0;

	memcpy(r, d->law->covariance, p * p * sizeof *r);
	for (size_t j = 0; j < p; j++)
		largest = fmax(largest, r[j * p + j]);
	for (size_t j = 0; j < p; j++) {
		double pivot = r[j * p + j];

		for (size_t k = 0; k < j; k++)
			pivot -= r[j * p + k] * r[j * p + k];
		if (pivot < -1e-8 * largest)
			return pd_fail(err, PD_NUMERIC, "the covariance of the "
			               "coefficients has a negative direction "
			               "(column %zu)", j + 1);
		pivot = pivot > 1e-12 * largest ? sqrt(pivot) : 0;
		r[j * p + j] = pivot;
		for (size_t i = j + 1; i < p; i++) {
			double sum = r[i * p + j];

			for (size_t k = 0; k < j; k++)
				sum -= r[i * p + k] * r[j * p + k];
			r[i * p + j] = pivot > 0 ? sum / pivot : 0;
		}
	}
	return PD_OK;
}

static void normals(uint64_t seed, uint64_t stream, double scale, size_t n,
                    double *out)
{
	pd_stream s;

	pd_stream_init(&s, seed, stream);
	for (size_t i = 0; i < n; i++)
		out[i] = scale * pd_stream_normal(&s);
}

/* W, the case's normal number, b and the rows' means of draw r; returns W. */
static double draw_model(struct drawing *d, uint64_t seed, uint64_t r,
                         double *own)
{
	const pd_total_law *w = d->law;
	size_t p = w->p;
	double scale = 1;
	pd_stream s;

	pd_stream_init(&s, seed, 4 * r);
	if (isfinite(w->df))
		scale = sqrt(w->df / pd_stream_chisq(&s, w->df));
	*own = pd_stream_normal(&s);
	for (size_t j = 0; j < p; j++)
		d->z[j] = scale * pd_stream_normal(&s);
	for (size_t i = 0; i < p; i++) {
		d->b[i] = w->beta[i];
		for (size_t j = 0; j <= i; j++)
			d->b[i] += d->root[i * p + j] * d->z[j];
	}
	for (size_t i = 0; i < w->n_rows; i++) {
		d->mean[i] = 0;
		for (size_t j = 0; j < p; j++)
			d->mean[i] += w->x[i * p + j] * d->b[j];
	}
	return scale;
}

/* Sides, sites and pulls of draw r. */
static void draw_places(struct drawing *d, uint64_t seed, uint64_t r,
                        double scale)
{
	const pd_total_law *w = d->law;

	normals(seed, 4 * r + 1, scale * w->side_sd, d->n_sides, d->side);
	normals(seed, 4 * r + 2, scale * w->site_sd, d->n_sites, d->site);
	normals(seed, 4 * r + 3, scale * w->pull_sd, d->n_slots, d->slot);
}

static double sum_up(const struct drawing *d, const pd_total_layout *l,
                     double own)
{
	double total = 0;

	for (size_t k = 0; k < l->n; k++) {
		const pd_total_pull *p = &l->pull[k];

		total += exp(d->mean[p->row] + own + d->side[p->side] +
		             d->site[p->site] + d->slot[p->slot]);
	}
	return total;
}

static pd_status make(struct drawing *d, pd_error *err)
{
	size_t p = d->law->p;

	d->root = calloc(p * p, sizeof *d->root);
	d->z = calloc(p, sizeof *d->z);
	d->b = calloc(p, sizeof *d->b);
	d->mean = calloc(d->law->n_rows, sizeof *d->mean);
	d->side = calloc(d->n_sides + 1, sizeof *d->side);
	d->site = calloc(d->n_sites + 1, sizeof *d->site);
	d->slot = calloc(d->n_slots + 1, sizeof *d->slot);
	if (!d->root || !d->z || !d->b || !d->mean || !d->side || !d->site ||
	    !d->slot)
		return pd_fail(err, PD_NO_MEMORY, "out of memory drawing "
		               "totals");
	return take_root(d, err);
}

static void clear(struct drawing *d)
{
	free(d->root);
	free(d->z);
	free(d->b);
	free(d->mean);
	free(d->side);
	free(d->site);
	free(d->slot);
}

pd_status pd_total_draw(const pd_total_law *law, const pd_total_layout *layout,
                        size_t n_layouts, size_t draws, uint64_t seed,
                        double *out, pd_error *err)
{
	struct drawing d = { .law = law };
	pd_status st = draws && n_layouts
	                   ? check_law(law, err)
	                   : pd_fail(err, PD_USAGE, "no totals to draw");

	if (st == PD_OK)
		st = check_layouts(&d, layout, n_layouts, err);
	if (st == PD_OK)
		st = make(&d, err);
	for (size_t r = 0; st == PD_OK && r < draws; r++) {
		double own, scale = draw_model(&d, seed, r, &own);

		draw_places(&d, seed, r, scale);
		for (size_t l = 0; l < n_layouts; l++) {
			double t = sum_up(&d, &layout[l],
			                  scale * law->case_sd * own);

			if (!isfinite(t))
				st = pd_fail(err, PD_NUMERIC, "a total is "
				             "beyond the range of numbers");
			out[l * draws + r] = t;
		}
	}
	clear(&d);
	return st;
}

/* --- how well a chance is known ------------------------------------------ */

/* Numbers of `inner` cases, W left out. */
struct crowd {
	size_t n, k;             /* cases; numbers of each                     */
	double *number;          /* n * k: case, sides, sites, slots           */
};

static pd_status gather(struct drawing *d, uint64_t seed, size_t first,
                        struct crowd *c, pd_error *err)
{
	c->k = 1 + d->n_sides + d->n_sites + d->n_slots;
	c->number = calloc(c->n * c->k, sizeof *c->number);
	if (!c->number)
		return pd_fail(err, PD_NO_MEMORY, "out of memory drawing "
		               "chances");
	for (size_t i = 0; i < c->n; i++) {
		double *to = c->number + i * c->k;

		normals(seed, 4 * (first + i), d->law->case_sd, 1, to);
		draw_places(d, seed, first + i, 1);
		memcpy(to + 1, d->side, d->n_sides * sizeof *to);
		memcpy(to + 1 + d->n_sides, d->site, d->n_sites * sizeof *to);
		memcpy(to + 1 + d->n_sides + d->n_sites, d->slot,
		       d->n_slots * sizeof *to);
	}
	return PD_OK;
}

static double crowd_share(const struct drawing *d, const struct crowd *c,
                          const pd_total_layout *l, double scale,
                          double target)
{
	size_t reach = 0;

	for (size_t i = 0; i < c->n; i++) {
		const double *z = c->number + i * c->k, *site, *slot;
		double total = 0;

		site = z + 1 + d->n_sides;
		slot = site + d->n_sites;
		for (size_t k = 0; k < l->n && total < target; k++) {
			const pd_total_pull *p = &l->pull[k];

			total += exp(d->mean[p->row] +
			             scale * (z[0] + z[1 + p->side] +
			                      site[p->site] + slot[p->slot]));
		}
		reach += total >= target;
	}
	return (double)reach / (double)c->n;
}

static pd_status chances(struct drawing *d, const pd_total_layout *layout,
                         size_t n_layouts, double target, size_t outer,
                         const struct crowd *c, uint64_t seed, double level,
                         pd_total_share *out, pd_error *err)
{
	double *share = calloc(n_layouts * outer, sizeof *share), own;

	if (!share)
		return pd_fail(err, PD_NO_MEMORY, "out of memory drawing "
		               "chances");
	for (size_t r = 0; r < outer; r++) {
		double scale = draw_model(d, seed, r, &own);

		for (size_t l = 0; l < n_layouts; l++)
			share[l * outer + r] = crowd_share(d, c, &layout[l],
			                                   scale, target);
	}
	for (size_t l = 0; l < n_layouts; l++) {
		double *x = share + l * outer;

		out[l].mean = 0;
		for (size_t r = 0; r < outer; r++)
			out[l].mean += x[r] / (double)outer;
		pd_total_sort(x, outer);
		out[l].low = pd_total_quantile(x, outer, (1 - level) / 2, NULL);
		out[l].high = pd_total_quantile(x, outer, (1 + level) / 2,
		                                NULL);
	}
	free(share);
	return PD_OK;
}

pd_status pd_total_chance(const pd_total_law *law,
                          const pd_total_layout *layout, size_t n_layouts,
                          double target, size_t outer, size_t inner,
                          uint64_t seed, double level,
                          pd_total_share *out, pd_error *err)
{
	struct drawing d = { .law = law };
	struct crowd c = { .n = inner };
	pd_status st = outer && inner && n_layouts && level > 0 && level < 1
	                   ? check_law(law, err)
	                   : pd_fail(err, PD_USAGE, "no chances to draw");

	if (st == PD_OK)
		st = check_layouts(&d, layout, n_layouts, err);
	if (st == PD_OK)
		st = make(&d, err);
	if (st == PD_OK)
		st = gather(&d, seed, outer, &c, err);
	if (st == PD_OK)
		st = chances(&d, layout, n_layouts, target, outer, &c, seed,
		             level, out, err);
	free(c.number);
	clear(&d);
	return st;
}

/* --- means and quantiles ------------------------------------------------- */

double pd_total_mean(const pd_total_law *w, const pd_total_layout *layout)
{
	double half = (w->case_sd * w->case_sd + w->side_sd * w->side_sd +
	               w->site_sd * w->site_sd + w->pull_sd * w->pull_sd) / 2;
	double total = 0;

	for (size_t k = 0; k < layout->n; k++) {
		const double *x = w->x + layout->pull[k].row * w->p;
		double y = half;

		for (size_t j = 0; j < w->p; j++)
			y += x[j] * w->beta[j];
		total += exp(y);
	}
	return total;
}

static int ascending(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

void pd_total_sort(double *x, size_t n)
{
	qsort(x, n, sizeof *x, ascending);
}

static double between(const double *x, size_t n, double at)
{
	double place = fmin(fmax(at, 0), (double)(n - 1));
	size_t i = (size_t)place;

	return i + 1 < n ? x[i] + (place - (double)i) * (x[i + 1] - x[i])
	                 : x[n - 1];
}

double pd_total_quantile(const double *x, size_t n, double q, double *se)
{
	double at = (double)(n - 1) * q, step = sqrt((double)n * q * (1 - q));

	if (se)
		*se = (between(x, n, at + step) - between(x, n, at - step)) / 2;
	return between(x, n, at);
}
