/* fit_count.c - rows of colonies into the count model, its contrast back. */
#include "plan/fit_count.h"
#include "plan/notes.h"
#include "stats/count_mixed.h"
#include "stats/count_nested.h"

#include <math.h>

/* Nodes of each integral: Laplace's single one where there are rows enough for
 * it; this is a second look, not the answer. */
enum { FEW_ROWS = 1500, NODES = 7 };

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory fitting counts");
}

/* Rows whose value rests on no count, or on an average that is none. */
static size_t not_counted(const pd_rows *r, const pd_fit *f)
{
	size_t n = 0;

	for (size_t i = 0; i < f->n; i++) {
		double y = r->counted[f->row[i]];

		n += !(y >= 0 && y == floor(y)) ||
		     !isfinite(r->log_worth[f->row[i]]);
	}
	return n;
}

static pd_status take_rows(const pd_rows *r, const pd_fit *f,
                           pd_arena *scratch, pd_count_spec *s, pd_error *err)
{
	double *y = PD_NEW(scratch, double, f->n);
	double *offset = PD_NEW(scratch, double, f->n);
	unsigned char *cut = PD_NEW(scratch, unsigned char, f->n);

	if (!y || !offset || !cut)
		return no_memory(err);
	for (size_t i = 0; i < f->n; i++) {
		size_t at = f->row[i];

		y[i] = r->counted[at];
		offset[i] = -r->log_worth[at];
		cut[i] = r->state[at] == PD_ROW_ABOVE ||
		         r->state[at] == PD_ROW_UNCOUNTABLE;
	}
	*s = (pd_count_spec){ .n = f->n, .p = f->design.p, .x = f->design.x,
		              .y = y, .offset = offset, .at_least = cut,
		              .extra = true };
	return PD_OK;
}

static pd_status plain(const pd_count_spec *s, double level,
                       pd_arena *scratch, pd_fit *f, pd_error *err)
{
	pd_count_fit fit;
	pd_status st = pd_count_regression(scratch, s, &fit, err);

	return st == PD_OK ? pd_count_contrast(&fit, f->contrast, level,
	                                       &f->effect[0], err)
	                   : st;
}

static pd_status mixed(const pd_count_spec *s, const int32_t *group,
                       double level, pd_arena *scratch, pd_fit *f,
                       pd_error *err)
{
	pd_mixed_spec spec = { .rows = *s, .group = group };
	pd_mixed_fit fit;
	pd_mixed_side side;
	pd_status st = pd_count_mixed(scratch, &spec, &fit, err);

	return st == PD_OK ? pd_count_mixed_small(&spec, &fit, f->contrast,
	                                          level, &f->effect[0], &side,
	                                          err)
	                   : st;
}

static pd_status nested(const pd_count_spec *s, const int32_t *outer,
                        const int32_t *inner, double level, pd_arena *scratch,
                        pd_fit *f, pd_error *err)
{
	pd_count_nested_spec spec = { .rows = *s, .outer = outer,
		                      .inner = inner,
		                      .nodes = s->n < FEW_ROWS ? NODES : 1 };
	pd_count_nested_fit fit;
	pd_nested_side at;
	pd_status st = pd_count_nested(scratch, &spec, &fit, err);

	return st == PD_OK ? pd_count_nested_small(&spec, &fit, f->contrast,
	                                           level, &f->effect[0], &at,
	                                           err)
	                   : st;
}

/* Two levels where these rows bear them, else one, else none. */
static pd_status fit_counts(const pd_count_spec *s, const int32_t *outer,
                            const int32_t *inner, double level,
                            pd_arena *scratch, pd_fit *f, pd_error *err)
{
	pd_status st = PD_REFUSED;

	if (outer && inner)
		st = nested(s, outer, inner, level, scratch, f, err);
	if (st == PD_REFUSED && outer)
		st = mixed(s, outer, level, scratch, f, err);
	return outer ? st : plain(s, level, scratch, f, err);
}

pd_status pd_fit_counts(const pd_rows *r, const int32_t *outer,
                        const int32_t *inner, double level, pd_arena *arena,
                        pd_arena *scratch, pd_fit *f, pd_error *err)
{
	size_t without = r->counted ? not_counted(r, f) : f->n;
	pd_count_spec spec;
	pd_error why = { 0 };

	if (without) {
		f->refusal = pd_arena_print(
		    arena, "%zu of %zu results rest on no whole count: rates "
		    "without their dishes, limits, or sums of several", without,
		    f->n);
		return f->refusal ? PD_OK : no_memory(err);
	}
	pd_status st = take_rows(r, f, scratch, &spec, err);

	if (st != PD_OK)
		return st;
	st = fit_counts(&spec, outer, inner, level, scratch, f, &why);
	if (st == PD_NUMERIC) {
		f->refusal = pd_arena_print(arena, "the count model could not "
		                            "be fitted: %s", why.text);
		return f->refusal ? PD_OK : no_memory(err);
	}
	return pd_note_refusal(st, &why, arena, &f->refusal, err);
}
