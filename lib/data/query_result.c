/*
 * query_result.c - one outcome's results as intervals: what each cell says of
 * the true value, never a number put in for it.
 *
 *   measured x          [x, x]
 *   zero                [0, smallest value that method version ever told
 *                       apart from zero]; for colonies [0, 1 colony]
 *   < x                 [0, x];  not detected: as zero, state below detection
 *   > x                 [x, inf]; of a percentage [x, 100]
 *   too many to count   [largest count of that method version, inf]
 *   failed, not ordered, blank   no interval
 *
 * Colony rate of countable dishes, per 10^6 cells, domain formula
 *   P = sum(colonies) / sum(nucleated cells plated) * 10^6
 * concentration = P * TNC, both as intervals. Where no dishes were written
 * down, what the lab reported itself is used. Smallest and largest are known
 * only after all rows were read: such rows are worked out again at the end.
 */
#include "data/query_own.h"
#include "data/sql_text.h"
#include "data/vocab.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { N_METHODS = 8192, N_DISHES = 6 };

static const struct q_outcome outcomes[] = {
	{ "tnc", "total nucleated cells", 0,
	  { "10^6/mL", NULL, "10^6", NULL }, 0, false },
	{ "mnc", "mononuclear cells", 1,
	  { "10^6/mL", "per 10^6 nucleated cells", "10^6", NULL }, 1e6, true },
	{ "viability", "viability", 2, { NULL, NULL, NULL, "%" }, 0, true },
	{ "hct", "haematocrit of the sample", 3, { NULL, NULL, NULL, "%" }, 0,
	  false },
	{ "rbc", "red cells of the sample", 4,
	  { "10^12/L", NULL, NULL, NULL }, 0, false },
	{ "platelets", "platelets of the sample", 5,
	  { "10^9/L", NULL, NULL, NULL }, 0, false },
	{ "cd34", "CD34+ cells", 6,
	  { "10^3/mL", "per 10^6 nucleated cells", "10^3", NULL }, 1e3, true },
	{ "cd271", "CD271bright CD45low cells", 7,
	  { "cells/mL", "per 10^6 nucleated cells", "cells", NULL }, 1, true },
	{ "cfu_f", "colony-forming units (CFU-F)", Q_COLONIES,
	  { "CFU-F/mL", "CFU-F per 10^6 nucleated cells", "CFU-F", NULL }, 1,
	  true },
	{ "blood_share", "share of the nucleated cells that came with blood, by "
	  "red cells", Q_BLOOD_SHARE, { NULL, NULL, NULL, "%" }, 0, true },
	{ "adverse_event", "adverse event at the site", Q_EVENT,
	  { [Q_RISK] = "%" }, 0, false },
};

const struct q_outcome *q_outcome_find(const char *name)
{
	for (size_t k = 0; name && k < sizeof outcomes / sizeof *outcomes; k++)
		if (strcmp(outcomes[k].name, name) == 0)
			return &outcomes[k];
	return NULL;
}

int q_judge_find(const char *name)
{
	static const char *const words[] = { "concentration", "prevalence",
		                             "yield", "percent", "risk" };

	for (int k = 0; name && k < Q_N_JUDGES; k++)
		if (strcmp(words[k], name) == 0)
			return k;
	return -1;
}

/* A cell as an interval; `wait` where the method's extremes are needed. */
struct span {
	double low, high;
	uint8_t state;
	bool wait;
};

/* What was seen in one method version, for those that wait. */
struct extremes {
	double smallest, largest, smallest_tnc, largest_tnc, most_colonies;
};

/* One row of assays. */
struct raw {
	int64_t id;
	uint64_t states;
	double value, tnc, per_e6, cells, dish[N_DISHES];
	bool colonies, blood;
	double blood_wbc, blood_rbc;   /* same-day, of the case             */
	int place;
};

static int state_at(uint64_t states, int place)
{
	return (int)(states >> 4 * place & 15);
}

static struct span span_of(double x, int state, double smallest,
                           double largest, bool share)
{
	struct span s = { x, x, Q_MEASURED, false };
	double top = share ? 100 : INFINITY;

	switch (state) {
	case PD_MEASURED:
		if (isnan(x))
			s.state = Q_BLANK;
		else if (x == 0 && !share)
			s = (struct span){ 0, smallest, Q_ZERO, true };
		break;
	case PD_BELOW:
		s = (struct span){ 0, x, Q_BELOW, false };
		break;
	case PD_ABOVE:
		s = (struct span){ x, top, Q_ABOVE, false };
		break;
	case PD_UNCOUNTABLE:
		s = (struct span){ largest, top, Q_UNCOUNTABLE, true };
		break;
	case PD_NOT_DETECTED:
		s = (struct span){ 0, smallest, Q_BELOW, true };
		break;
	case PD_NOT_ORDERED:
		s = (struct span){ NAN, NAN, Q_NOT_ORDERED, false };
		break;
	default:
		s = (struct span){ NAN, NAN, Q_FAILED, false };
	}
	return s;
}

static bool has_interval(const struct span *s)
{
	return s->state < Q_FAILED;
}

uint8_t q_worse(uint8_t a, uint8_t b)
{
	static const uint8_t rank[Q_N_STATES] = {
		[Q_MEASURED] = 0, [Q_ZERO] = 1, [Q_BELOW] = 2, [Q_ABOVE] = 3,
		[Q_UNCOUNTABLE] = 4, [Q_BLANK] = 5, [Q_NOT_ORDERED] = 6,
		[Q_FAILED] = 7,
	};

	return rank[a] >= rank[b] ? a : b;
}

/* 0 * inf is 0 here: nothing of anything is nothing. */
static double times(double a, double b)
{
	return a == 0 || b == 0 ? 0 : a * b;
}

static struct span product(const struct span *a, const struct span *b)
{
	return (struct span){ times(a->low, b->low), times(a->high, b->high),
		              q_worse(a->state, b->state), a->wait || b->wait };
}

static struct span quotient(const struct span *a, const struct span *b,
                            double factor)
{
	struct span s = { NAN, NAN, q_worse(a->state, b->state),
		          a->wait || b->wait };

	s.low = isinf(b->high) ? 0 : a->low / b->high * factor;
	s.high = b->low > 0 ? a->high / b->low * factor :
	         a->high > 0 ? INFINITY : 0;
	if (b->high == 0)
		s.low = 0;
	/* a limit on the divisor bounds the quotient from the other side */
	if (a->state == Q_MEASURED && b->state == Q_BELOW)
		s.state = Q_ABOVE;
	else if (a->state == Q_MEASURED && b->state == Q_ABOVE)
		s.state = Q_BELOW;
	return s;
}

static struct span tnc_of(const struct raw *r, const struct extremes *e)
{
	return span_of(r->tnc, state_at(r->states, 0), e->smallest_tnc,
	               e->largest_tnc, false);
}

/* ---- colonies ---- */

struct dishes {
	double colonies;        /* on countable dishes                      */
	double low, high;       /* of all dishes that held a culture        */
	double n_countable, n;
	bool any_failed, any_not_ordered, wait;
	uint8_t state;
};

static void add_dish(struct dishes *d, double x, int state,
                     const struct extremes *e)
{
	switch (state) {
	case PD_MEASURED:
		if (isnan(x))
			return;
		d->colonies += x;
		d->low += x;
		d->high += x;
		d->n_countable++;
		break;
	case PD_BELOW:
	case PD_NOT_DETECTED:
		d->high += state == PD_BELOW ? x : 1;
		d->state = q_worse(d->state, Q_BELOW);
		break;
	case PD_ABOVE:
		d->low += x;
		d->high = INFINITY;
		d->state = q_worse(d->state, Q_ABOVE);
		break;
	case PD_UNCOUNTABLE:
		d->low += e->most_colonies;
		d->high = INFINITY;
		d->state = q_worse(d->state, Q_UNCOUNTABLE);
		d->wait = true;
		break;
	case PD_FAILED:
		d->any_failed = true;
		return;
	default:
		d->any_not_ordered = true;
		return;
	}
	d->n++;
}

/* Colonies per 10^6 cells from the dishes; state blank without any. */
static struct span rate_of(const struct raw *r, const struct extremes *e,
                           struct q_result *out)
{
	struct dishes d = { .state = Q_MEASURED };

	for (int k = 0; k < N_DISHES; k++)
		add_dish(&d, r->dish[k], state_at(r->states, 10 + k), e);
	if (d.n == 0)
		return (struct span){ NAN, NAN, d.any_failed ? Q_FAILED :
			              d.any_not_ordered ? Q_NOT_ORDERED :
			              Q_BLANK, false };
	if (!(r->cells > 0))
		return (struct span){ NAN, NAN, Q_BLANK, false };
	if (d.n_countable > 0) {
		out->colonies = d.colonies;
		out->plated = d.n_countable * r->cells;
	}
	double per = 1e6 / (d.n * r->cells);

	/* a count, or the least it can have been; not what lies below a limit */
	if (d.high == d.low || isinf(d.high)) {
		out->counted = d.low;
		out->worth = per;
	}
	if (d.high == 0) {
		d.high = 1;
		d.state = Q_ZERO;
	}
	return (struct span){ d.low * per, d.high * per, d.state, d.wait };
}

static struct span colonies_of(const struct raw *r, const struct extremes *e,
                               q_judge judge, struct q_result *out)
{
	struct span rate = rate_of(r, e, out);
	struct span tnc = tnc_of(r, e);
	struct span per_ml = span_of(r->value, state_at(r->states, 8),
	                             e->smallest, e->largest, false);
	struct span per_e6 = span_of(r->per_e6, state_at(r->states, 9),
	                             e->smallest, e->largest, false);

	if (judge == Q_PREVALENCE) {
		if (has_interval(&rate))
			return rate;
		if (has_interval(&per_e6))
			return per_e6;
		if (has_interval(&per_ml) && has_interval(&tnc))
			return quotient(&per_ml, &tnc, 1);
	} else {
		out->worth *= tnc.state == Q_MEASURED ? tnc.low : (double)NAN;
		if (has_interval(&rate) && has_interval(&tnc))
			return product(&rate, &tnc);
		if (has_interval(&per_ml))
			return per_ml;
		if (has_interval(&per_e6) && has_interval(&tnc))
			return product(&per_e6, &tnc);
	}
	struct span none = { NAN, NAN, Q_BLANK, false };

	/* counted, but nothing to relate the count to: no result */
	if (!has_interval(&rate) && rate.state != Q_BLANK)
		none.state = rate.state;
	else if (!has_interval(&per_ml) && per_ml.state != Q_BLANK)
		none.state = per_ml.state;
	else if (!has_interval(&per_e6) && per_e6.state != Q_BLANK)
		none.state = per_e6.state;
	return none;
}

/* ---- blood ---- */

/* Per cent of the nucleated cells: blood.h between limits. */
static struct span blood_of(const struct raw *r, const struct extremes *e,
                            struct q_result *out)
{
	struct span red = span_of(r->value, state_at(r->states, r->place),
	                          e->smallest, e->largest, false);
	struct span tnc = tnc_of(r, e);
	bool blood = r->blood_rbc > 0 && r->blood_wbc >= 0;

	out->lacks = (uint8_t)((blood ? 0 : Q_LACKS_BLOOD) |
	                       (has_interval(&red) ? 0 : Q_LACKS_RED) |
	                       (has_interval(&tnc) ? 0 : Q_LACKS_TNC));
	if (out->lacks)
		return (struct span){ NAN, NAN, Q_BLANK, false };
	return quotient(&red, &tnc, 100 * r->blood_wbc / r->blood_rbc);
}

/* ---- rows ---- */

/* Did this row say anything of the outcome, so that it is a result? */
static bool is_stated(const struct raw *r)
{
	if (!isnan(r->value) || state_at(r->states, r->place))
		return true;
	if (r->blood)
		return !isnan(r->tnc) || state_at(r->states, 0);
	if (!r->colonies)
		return false;
	if (!isnan(r->per_e6) || r->states >> 36)
		return true;
	for (int k = 0; k < N_DISHES; k++)
		if (!isnan(r->dish[k]))
			return true;
	return false;
}

static void see(double x, int state, double *smallest, double *largest)
{
	if (!(x > 0))
		return;
	if ((state == PD_MEASURED || state == PD_BELOW) && x < *smallest)
		*smallest = x;
	if (state == PD_MEASURED && x > *largest)
		*largest = x;
}

static void see_row(const struct raw *r, struct extremes *e, q_judge judge)
{
	/* of a colony assay's two reported forms, the one judged */
	int place = r->colonies && judge == Q_PREVALENCE ? 9 : r->place;

	see(place == 9 ? r->per_e6 : r->value, state_at(r->states, place),
	    &e->smallest, &e->largest);
	see(r->tnc, state_at(r->states, 0), &e->smallest_tnc,
	    &e->largest_tnc);
	for (int k = 0; r->colonies && k < N_DISHES; k++)
		if (state_at(r->states, 10 + k) == PD_MEASURED &&
		    r->dish[k] > e->most_colonies)
			e->most_colonies = r->dish[k];
}

static void work_out(const struct raw *r, const struct extremes *e,
                     const struct q_outcome *o, q_judge judge,
                     struct q_result *out, bool *wait)
{
	struct span v, tnc = tnc_of(r, e);

	out->id = r->id;
	out->colonies = out->plated = out->counted = out->worth = NAN;
	out->lacks = 0;
	if (r->blood) {
		v = blood_of(r, e, out);
	} else if (r->colonies) {
		v = colonies_of(r, e, judge, out);
		if (isnan(out->worth))
			out->counted = NAN;
	} else {
		v = span_of(r->value, state_at(r->states, r->place),
		            e->smallest, e->largest, judge == Q_PERCENT);
		if (judge == Q_PREVALENCE && has_interval(&v))
			v = has_interval(&tnc) ? quotient(&v, &tnc, o->per_e6)
			    : (struct span){ NAN, NAN, Q_BLANK, false };
	}
	out->low = v.low;
	out->high = v.high;
	out->state = v.state;
	out->tnc = tnc.state == Q_MEASURED ? tnc.low : NAN;
	*wait = v.wait;
}

/* ---- reading ---- */

struct reading {
	const struct q_outcome *o;
	q_judge judge;
	struct q_results *out;
	struct extremes *extremes;     /* N_METHODS                         */
	struct raw *group;             /* assays of one sample and material */
	size_t n_group, room_group;
	struct raw *late;              /* rows that wait ...                */
	uint32_t *late_at;             /* ... and their place in out        */
	size_t n_late, room_late;
};

static double real(sqlite3_stmt *q, int column)
{
	return sqlite3_column_type(q, column) == SQLITE_NULL ?
	       NAN : sqlite3_column_double(q, column);
}

static void take_row(sqlite3_stmt *q, const struct q_outcome *o,
                     struct raw *r)
{
	memset(r, 0, sizeof *r);
	r->blood = o->place == Q_BLOOD_SHARE;
	r->place = r->blood ? 4 : o->place;
	r->colonies = o->place == Q_COLONIES;
	r->id = sqlite3_column_int64(q, 0);
	r->states = (uint64_t)sqlite3_column_int64(q, 1);
	r->value = real(q, 2);
	r->tnc = real(q, 3);
	if (r->blood) {
		r->blood_wbc = real(q, 4);
		r->blood_rbc = real(q, 5);
	}
	if (!r->colonies)
		return;
	r->per_e6 = real(q, 4);
	r->cells = real(q, 5);
	for (int k = 0; k < N_DISHES; k++)
		r->dish[k] = real(q, 6 + k);
}

static bool grow(void *array, size_t *room, size_t n, size_t size)
{
	void **p = array;

	if (n < *room)
		return true;
	size_t more = *room ? 2 * *room : 64;
	void *grown = realloc(*p, more * size);

	if (!grown)
		return false;
	*p = grown;
	*room = more;
	return true;
}

static bool keep_late(struct reading *g, const struct raw *r)
{
	size_t room = g->room_late;

	if (!grow(&g->late, &g->room_late, g->n_late, sizeof *g->late))
		return false;
	if (room != g->room_late) {
		void *at = realloc(g->late_at,
		                   g->room_late * sizeof *g->late_at);

		if (!at)
			return false;
		g->late_at = at;
	}
	g->late[g->n_late] = *r;
	g->late_at[g->n_late++] = (uint32_t)g->out->n;
	return true;
}

static bool has_tnc(const struct raw *r)
{
	int state = state_at(r->states, 0);

	return !isnan(r->tnc) || state == PD_NOT_DETECTED ||
	       state == PD_UNCOUNTABLE;
}

/* Of a share of blood, a sample is one result: its assays without red cells
 * are none where another has them, and all but the first where none has. */
static bool is_spare(const struct reading *g, size_t k)
{
	if (!g->group[k].blood || !isnan(g->group[k].value) ||
	    state_at(g->group[k].states, g->group[k].place))
		return false;
	for (size_t i = 0; i < g->n_group; i++)
		if (!isnan(g->group[i].value) ||
		    state_at(g->group[i].states, g->group[i].place) ||
		    (i < k && is_stated(&g->group[i])))
			return true;
	return false;
}

/*
 * The assays of one sample are together. One that has no TNC of its own takes
 * the sample's: of the first method version that has it.
 */
static bool end_group(struct reading *g)
{
	const struct raw *with = NULL;

	for (size_t k = 0; k < g->n_group && !with; k++)
		if (has_tnc(&g->group[k]))
			with = &g->group[k];
	for (size_t k = 0; k < g->n_group; k++) {
		struct raw *r = &g->group[k];
		struct extremes *e = &g->extremes[r->id & (N_METHODS - 1)];
		bool wait;

		if (!is_stated(r) || is_spare(g, k))
			continue;
		if (!has_tnc(r) && with) {
			r->tnc = with->tnc;
			r->states = (r->states & ~UINT64_C(15)) |
			            (with->states & 15);
		}
		if (!grow(&g->out->item, &g->out->room, g->out->n,
		          sizeof *g->out->item))
			return false;
		work_out(r, e, g->o, g->judge, &g->out->item[g->out->n],
		         &wait);
		if (wait && !keep_late(g, r))
			return false;
		g->out->n++;
	}
	g->n_group = 0;
	return true;
}

static bool take_assay(struct reading *g, sqlite3_stmt *q)
{
	struct raw *r;

	if (!grow(&g->group, &g->room_group, g->n_group, sizeof *g->group))
		return false;
	r = &g->group[g->n_group];
	take_row(q, g->o, r);
	see_row(r, &g->extremes[r->id & (N_METHODS - 1)], g->judge);
	if (g->n_group && g->group[0].id >> 13 != r->id >> 13) {
		struct raw keep = *r;

		if (!end_group(g))
			return false;
		g->group[0] = keep;
	}
	g->n_group++;
	return true;
}

static void finish_late(struct reading *g)
{
	for (size_t k = 0; k < g->n_late; k++) {
		const struct raw *r = &g->late[k];
		bool wait;

		work_out(r, &g->extremes[r->id & (N_METHODS - 1)], g->o,
		         g->judge, &g->out->item[g->late_at[k]], &wait);
	}
}

pd_status q_results_read(pd_store *s, const struct q_outcome *o, q_judge judge,
                         struct q_results *out, pd_error *err)
{
	struct reading g = { .o = o, .judge = judge, .out = out };
	sqlite3_stmt *q = NULL;
	bool row = true;
	pd_status st = pd_db_prepare(
	    s, o->place == Q_COLONIES      ? pd_sql_read_colonies
	       : o->place == Q_BLOOD_SHARE ? pd_sql_read_shares
	                                   : pd_sql_read_assays,
	    &q, err);

	*out = (struct q_results){ NULL, 0, 0 };
	g.extremes = malloc(N_METHODS * sizeof *g.extremes);
	if (st == PD_OK && !g.extremes)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (int m = 0; st == PD_OK && m < N_METHODS; m++)
		g.extremes[m] = (struct extremes){ INFINITY, 0, INFINITY, 0,
			                           0 };
	if (st == PD_OK && o->place < Q_COLONIES)
		sqlite3_bind_int(q, 1, o->place);
	while (st == PD_OK && row) {
		st = pd_db_step(s, q, &row, err);
		if (st == PD_OK && !(row ? take_assay(&g, q) : end_group(&g)))
			st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	if (st == PD_OK)
		finish_late(&g);
	sqlite3_finalize(q);
	free(g.extremes);
	free(g.group);
	free(g.late);
	free(g.late_at);
	if (st != PD_OK) {
		free(out->item);
		*out = (struct q_results){ NULL, 0, 0 };
	}
	return st;
}
