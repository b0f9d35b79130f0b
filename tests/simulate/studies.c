/*
 * studies.c - simulation cells of pooled studies and of two ways of measuring
 * the same thing.
 */
#include "cell.h"

#include "stats/agree.h"
#include "stats/pool.h"

#include <math.h>

typedef struct design {
	size_t n;
	double tau2;      /* between studies                                 */
	double error;     /* sd of a measurement                             */
} design;

static void pooled(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                   sim_answer *out)
{
	const design *d = cell->with;
	double y[32], v[32];
	pd_pool hk = { 0 }, dl = { 0 };

	(void)arena;
	for (size_t i = 0; i < d->n; i++) {
		v[i] = 0.01 + 0.19 * pd_stream_uniform(s);
		y[i] = sim_effect + sqrt(d->tau2 + v[i]) * pd_stream_normal(s);
	}
	double next = sim_effect + sqrt(d->tau2) * pd_stream_normal(s);
	pd_status st = pd_pool_fit(y, v, d->n, PD_POOL_REML, 0.95, &hk, NULL);
	pd_status dst = pd_pool_fit(y, v, d->n, PD_POOL_MOMENTS, 0.95, &dl,
	                            NULL);

	sim_estimate(&out[0], st, &hk.knapp, sim_effect);
	sim_interval(&out[1], st, hk.knapp_predict_low, hk.knapp_predict_high,
	             next);
	sim_estimate(&out[2], dst, &dl.normal, sim_effect);
	double low = 0, high = 0;

	st = pd_pool_spread_limits(y, v, d->n, 0.95, &low, &high, NULL);
	sim_interval(&out[3], st, low, high, d->tau2);
}

static void measured_twice(const sim_cell *cell, pd_stream *s,
                           pd_arena *arena, sim_answer *out)
{
	const design *d = cell->with;
	double x[64], y[64], bias = 0.04, slope = 1.1;
	pd_line line = { 0 }, ranks = { 0 };
	pd_limits limits = { 0 };
	pd_repeat repeat = { 0 };

	(void)arena;
	for (size_t i = 0; i < d->n; i++) {
		double true_x = 2 + pd_stream_uniform(s);

		x[i] = true_x + d->error * pd_stream_normal(s);
		y[i] = slope * true_x + d->error * pd_stream_normal(s);
	}
	pd_status st = pd_agree_deming(x, y, d->n, 1, 0.95, &line, NULL);

	sim_estimate(&out[0], st, &line.slope, slope);
	st = pd_agree_ranks(x, y, d->n, 0.95, &ranks, NULL);
	sim_estimate(&out[1], st, &ranks.slope, slope);
	for (size_t i = 0; i < d->n; i++) {
		x[i] = pd_stream_normal(s);
		y[i] = x[i] + d->error * pd_stream_normal(s);
		x[i] += bias + d->error * pd_stream_normal(s);
	}
	st = pd_agree_limits(x, y, d->n, 1.96, 0.95, &limits, NULL);
	sim_interval(&out[2], st, limits.high_from, limits.high_to,
	             bias + 1.96 * sqrt(2) * d->error);
	for (size_t i = 0; i < d->n; i++)
		x[i] -= bias;
	st = pd_agree_repeat(x, y, d->n, 0.95, &repeat, NULL);
	sim_interval(&out[3], st, repeat.sw_low, repeat.sw_high, d->error);
}

static const design three = { 3, 0.1, 0 }, five = { 5, 0.1, 0 },
	ten = { 10, 0.1, 0 }, same = { 5, 0, 0 }, few = { 12, 0, 0.1 },
	many = { 40, 0, 0.1 };

static const char unlike[] =
	"the studies differ twentyfold in precision and the scatter between "
	"them is estimated from few; the interval is a little narrow then "
	"(close to 94 %)";
static const char further[] =
	"the scatter between so few studies is often estimated as 0 or far "
	"too low, and the limits for a further study take it as known";
static const char careful[] =
	"the interval of a limit is put together from those of the mean and "
	"of the spread, and comes out a little wide with so few samples";

#define POOL(hk, next) {                                                   \
	{ "Hartung-Knapp on REML", SIM_NEAR, 0.95, hk, unlike },           \
	{ "limits for a further study", SIM_NEAR, 0.95, next, further },   \
	{ "normal law on moments", SIM_SHOWN, 0.95, 0, NULL },             \
	{ "limits of the spread", SIM_NEAR, 0.95, 0, NULL } }
#define TWICE(limit, why) {                                                \
	{ "Deming's slope", SIM_NEAR, 0.95, 0, NULL },                     \
	{ "slope by ranks", SIM_NEAR, 0.95, 0, NULL },                     \
	{ "upper limit of agreement", SIM_NEAR, 0.95, limit, why },        \
	{ "sd of repeats", SIM_NEAR, 0.95, 0, NULL } }

static const sim_cell cells[] = {
	{ "3 studies", pooled, &three, 2000, 0, 4, POOL(0.9387, 0.8707) },
	{ "5 studies", pooled, &five, 2000, 0, 4, POOL(0.9381, 0.8491) },
	{ "10 studies", pooled, &ten, 2000, 0, 4, POOL(0.9358, 0.8694) },
	{ "5 studies of one truth", pooled, &same, 2000, 0, 4,
	  { { "Hartung-Knapp on REML", SIM_NEAR, 0.95, 0, NULL },
	    { "limits for a further study", SIM_LEAST, 0.95, 0, NULL },
	    { "normal law on moments", SIM_SHOWN, 0.95, 0, NULL },
	    { "limits of the spread", SIM_LEAST, 0.95, 0, NULL } } },
	{ "12 samples measured twice", measured_twice, &few, 1500, 0, 4,
	  TWICE(0.9624, careful) },
	{ "40 samples measured twice", measured_twice, &many, 1500, 0, 4,
	  TWICE(0, NULL) },
};
const sim_list sim_studies = SIM_LIST(cells);
