/*
 * query_help.h - frames asked for and looked into.
 */
#ifndef PERDRAW_TESTS_QUERY_HELP_H
#define PERDRAW_TESTS_QUERY_HELP_H

#include "store_help.h"

#include "data/query.h"

#include <math.h>

static inline pd_frame *ask(pd_store *s, const char *outcome, const char *judge,
                     pd_grain grain, pd_query_flow *flow)
{
	static const char *const columns[] = {
		"sex", "age_y", "operator", "case_date", "date", "quarter",
		"repeat_case", "n_sites", "total_ml", "method_version",
		"side_word", "site_no", "landmark", "needle_gauge",
		"site_in_side", "ml_before_side", "site_ml", "n_aliquots",
		"aliquot_no", "volume_ml", "syringe_ml", "move",
		"needle_moved",
	};
	pd_query_request r = { outcome, judge, grain, NULL, columns,
		               sizeof columns / sizeof *columns, NULL, 0 };
	pd_frame *f = NULL;
	pd_error err = { .text = "" };
	pd_status st = pd_query_frame(s, &r, &f, flow, &err);

	ck_assert_msg(st == PD_OK, "%s", err.text);
	return f;
}

static inline double real(const pd_frame *f, const char *name, size_t i)
{
	const pd_column *c = pd_frame_find(f, name);

	ck_assert_msg(c && c->kind == PD_REAL, "no real column %s", name);
	ck_assert_uint_lt(i, pd_frame_rows(f));
	return c->real[i];
}

static inline const char *word(const pd_frame *f, const char *name, size_t i)
{
	const pd_column *c = pd_frame_find(f, name);

	ck_assert_msg(c && c->kind == PD_FACTOR, "no factor %s", name);
	ck_assert_uint_lt(i, pd_frame_rows(f));
	return c->code[i] < 0 ? "" : c->level[c->code[i]];
}

static inline void same(const char *name, const char *what, double x,
                        double expected)
{
	ck_assert_msg(isnan(expected) ? isnan(x) : isinf(expected) ?
	              x == expected : fabs(x - expected) <=
	              1e-12 * (1 + fabs(expected)),
	              "%s: %s %.15g, expected %.15g", name, what, x, expected);
}

#endif
