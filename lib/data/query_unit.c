/*
 * query_unit.c - results brought to the grain asked for.
 *
 * At aliquot grain a row is a result of one aliquot, or an aliquot without
 * one. At site and case grain a row is a unit whose results cover every mL
 * drawn in it exactly once; with several results
 *   yield         = sum of undiluted concentration * mL
 *   concentration = yield / mL of the unit
 *   prevalence, viability = weighted by nucleated cells (TNC * mL)
 * Where all results together cover a draw more than once, those of the first
 * method version (by name) that covers each once are taken, else those of
 * single draws, else one pool of the whole unit. A unit with no result at all is a row
 * without a value; one that is covered in part is left out.
 */
#include "data/blood.h"
#include "data/query_own.h"
#include "data/vocab.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MATERIAL_BIT = 13, METHOD_MASK = 8191, POOL_SIDE = 3 };

static int64_t sample_of(const struct q_result *r)
{
	return r->id >> 14;
}

static bool is_pool(const struct q_result *r)
{
	return (r->id >> 30 & 3) == POOL_SIDE;
}

static int material_of(const struct q_result *r)
{
	return r->id >> MATERIAL_BIT & 1;
}

static int method_of(const struct q_result *r)
{
	return (int)(r->id & METHOD_MASK);
}

struct making {
	const struct q_tree *t;
	const struct q_results *results;
	const struct q_outcome *o;
	q_judge judge;
	int material;
	struct q_rows *out;
	pd_query_flow *flow;
	/* of the unit at hand */
	uint32_t *piece;               /* results that may cover it         */
	size_t n_pieces, room_pieces;
};

static bool is_diluted(const struct making *m)
{
	return m->judge == Q_CONCENTRATION || m->judge == Q_YIELD;
}

static struct q_row *next_row(struct making *m)
{
	struct q_rows *r = m->out;

	if (r->n == r->room) {
		size_t room = r->room ? 2 * r->room : 1024;
		void *grown = realloc(r->item, room * sizeof *r->item);

		if (!grown)
			return NULL;
		r->item = grown;
		r->room = room;
	}
	r->item[r->n] = (struct q_row){
		.case_ = NOWHERE, .site = NOWHERE, .aliquot = NOWHERE,
		.low = NAN, .high = NAN, .colonies = NAN, .plated = NAN,
		.counted = NAN, .worth = NAN, .ml = NAN, .method = -1,
		.state = Q_BLANK,
	};
	return &r->item[r->n++];
}

/* First result whose assay key is not below `id`. */
static size_t first_result(const struct q_results *r, int64_t id)
{
	size_t low = 0, high = r->n;

	while (low < high) {
		size_t mid = low + (high - low) / 2;

		if (r->item[mid].id < id)
			low = mid + 1;
		else
			high = mid;
	}
	return low;
}

/* Is it known by how much anticoagulant the draw was diluted? A rinse leaves
 * no volume to speak of. */
static bool dilution_known(const struct q_aliquot *a)
{
	const char *word = a->anticoagulant < 0 ? "" :
	                   pd_vocab_words(PD_F_ANTICOAGULANT)[a->anticoagulant];

	return a->anticoagulant_ml >= 0 || strcmp(word, "none") == 0 ||
	       strcmp(word, "heparin rinse") == 0;
}

/* ---- aliquots ---- */

static bool aliquot_row(struct making *m, uint32_t c, uint32_t i,
                        const struct q_result *r)
{
	const struct q_aliquot *a = &m->t->aliquot[i];
	struct q_row *row = next_row(m);
	double factor = 1;

	if (!row)
		return false;
	row->case_ = c;
	row->site = a->site;
	row->aliquot = i;
	row->ml = a->ml;
	row->lacks = r ? r->lacks : Q_LACKS_ALL;
	if (!r)
		return true;
	/* of concentrate neither the mL nor the dilution is the draw's */
	if (m->material)
		row->ml = NAN;
	else if (is_diluted(m))
		factor = pd_undiluted(1, a->ml, a->anticoagulant_ml);
	if (m->judge == Q_YIELD)
		factor *= row->ml;
	row->low = r->low * factor;
	row->high = r->high * factor;
	row->colonies = r->colonies;
	row->plated = r->plated;
	row->counted = r->counted;
	row->worth = r->worth * factor;
	row->method = method_of(r);
	row->state = r->state;
	row->undiluted = dilution_known(a);
	return true;
}

/* Results of the case's aliquots, beside each other in order of key. */
static bool aliquot_rows(struct making *m, uint32_t c)
{
	const struct q_case *it = &m->t->case_[c];
	const struct q_results *rs = m->results;
	size_t k = first_result(rs, it->id << 32);

	for (uint32_t i = it->first_aliquot;
	     i < it->first_aliquot + it->n_aliquots; i++) {
		int64_t key = m->t->aliquot[i].id;
		bool any = false;

		while (k < rs->n && sample_of(&rs->item[k]) < key)
			k++;
		for (; k < rs->n && sample_of(&rs->item[k]) == key; k++) {
			if (material_of(&rs->item[k]) != m->material) {
				m->flow->other_material++;
				continue;
			}
			any = true;
			if (!aliquot_row(m, c, i, &rs->item[k]))
				return false;
		}
		if (!any && !aliquot_row(m, c, i, NULL))
			return false;
	}
	for (; k < rs->n && rs->item[k].id >> 32 == it->id; k++)
		if (material_of(&rs->item[k]) == m->material)
			m->flow->pooled_out++;
		else
			m->flow->other_material++;
	return true;
}

/* ---- units ---- */

/* Draws from..to-1 of the tree. */
struct unit {
	uint32_t case_, site, from, to;
};

/* First member of a pool in t->member. */
static size_t first_member(const struct q_tree *t, int64_t sample)
{
	size_t low = 0, high = t->n_members;

	while (low < high) {
		size_t mid = low + (high - low) / 2;

		if (t->member[mid].sample < sample)
			low = mid + 1;
		else
			high = mid;
	}
	return low;
}

/* The k-th draw of a result's sample, NOWHERE past the last. */
static uint32_t draw_at(const struct making *m, const struct q_result *r,
                        size_t first, size_t k)
{
	const struct q_tree *t = m->t;

	if (!is_pool(r))
		return k == 0 ? q_tree_aliquot(t, sample_of(r)) : NOWHERE;
	return first + k < t->n_members &&
	       t->member[first + k].sample == sample_of(r) ?
	       t->member[first + k].aliquot : NOWHERE;
}

static size_t first_of(const struct making *m, const struct q_result *r)
{
	return is_pool(r) ? first_member(m->t, sample_of(r)) : 0;
}

/* Does the sample lie wholly in the unit? */
static bool lies_in(const struct making *m, const struct q_result *r,
                    const struct unit *u)
{
	size_t first = first_of(m, r), k = 0;
	uint32_t i;

	for (; (i = draw_at(m, r, first, k)) != NOWHERE; k++)
		if (i < u->from || i >= u->to)
			return false;
	return k > 0;
}

static bool find_pieces(struct making *m, const struct unit *u)
{
	const struct q_results *rs = m->results;
	int64_t case_id = m->t->case_[u->case_].id;

	m->n_pieces = 0;
	for (size_t k = first_result(rs, case_id << 32);
	     k < rs->n && rs->item[k].id >> 32 == case_id; k++) {
		if (material_of(&rs->item[k]) != m->material ||
		    !lies_in(m, &rs->item[k], u))
			continue;
		if (m->n_pieces == m->room_pieces) {
			size_t room = m->room_pieces ? 2 * m->room_pieces : 64;
			void *grown = realloc(m->piece,
			                      room * sizeof *m->piece);

			if (!grown)
				return false;
			m->piece = grown;
			m->room_pieces = room;
		}
		m->piece[m->n_pieces++] = (uint32_t)k;
	}
	return true;
}

/* Which of the pieces are taken. */
enum kind { ANY, DRAWS, ONE };
struct choice {
	enum kind kind;   /* all, only results of single draws, or one piece */
	int method;       /* -1: of any method version                      */
	uint32_t one;
};

static bool takes_part(const struct making *m, size_t p,
                       const struct choice *c)
{
	const struct q_result *r = &m->results->item[m->piece[p]];

	if (c->kind == ONE)
		return m->piece[p] == c->one;
	return (c->method < 0 || method_of(r) == c->method) &&
	       (c->kind == ANY || !is_pool(r));
}

/*
 * Do the chosen results cover each draw of the unit once? A sample names a
 * draw once, and draws are whole, so it is enough that each is met once.
 */
static bool covers(struct making *m, const struct unit *u,
                   const struct choice *c)
{
	uint32_t n = u->to - u->from, n_met = 0;
	bool small = n <= 64, once = true;
	uint64_t met = 0;
	unsigned char *many = small ? NULL : calloc(n, 1);

	for (size_t p = 0; once && p < m->n_pieces && (small || many); p++) {
		const struct q_result *r = &m->results->item[m->piece[p]];
		size_t first = first_of(m, r);
		uint32_t i;

		if (!takes_part(m, p, c))
			continue;
		for (size_t k = 0; once &&
		     (i = draw_at(m, r, first, k)) != NOWHERE; k++) {
			uint32_t at = i - u->from;

			once = small ? !(met >> at & 1) : !many[at];
			if (small)
				met |= UINT64_C(1) << at;
			else
				many[at] = 1;
			n_met++;
		}
	}
	free(many);
	return once && n_met == n;
}

/* Method versions in order of their names, so that the order in which files
 * brought them does not matter. */
static bool comes_first(const struct making *m, int a, int b)
{
	const char **name = m->t->name[Q_METHODS];
	size_t n = m->t->n_names[Q_METHODS];
	const char *x = (size_t)a < n && name[a] ? name[a] : "";
	const char *y = (size_t)b < n && name[b] ? name[b] : "";

	return strcmp(x, y) < 0;
}

/* The first method version whose results of `kind` cover the unit once. */
static bool choose_method(struct making *m, const struct unit *u,
                          enum kind kind, struct choice *out)
{
	*out = (struct choice){ kind, -1, 0 };
	if (covers(m, u, out))
		return true;
	for (size_t p = 0; p < m->n_pieces; p++) {
		int method = method_of(&m->results->item[m->piece[p]]);
		struct choice c = { kind, method, 0 };

		if ((out->method < 0 || comes_first(m, method, out->method)) &&
		    covers(m, u, &c))
			out->method = method;
	}
	return out->method >= 0;
}

/*
 * Results that cover the unit once: all of them, those of one method version,
 * those of single draws where pools were measured too, one pool of the whole.
 */
static bool choose(struct making *m, const struct unit *u, struct choice *out)
{
	if (choose_method(m, u, ANY, out) || choose_method(m, u, DRAWS, out))
		return true;
	for (size_t p = 0; p < m->n_pieces; p++) {
		*out = (struct choice){ ONE, -1, m->piece[p] };
		if (covers(m, u, out))
			return true;
	}
	return false;
}

/*
 * mL and anticoagulant of a sample; NaN where one draw's mL is not known. A
 * draw whose anticoagulant is not known adds none; false when there is one.
 */
static bool volume_of(const struct making *m, const struct q_result *r,
                      double *ml, double *anticoagulant_ml)
{
	size_t first = first_of(m, r);
	bool known = true;
	uint32_t i;

	*ml = *anticoagulant_ml = 0;
	for (size_t k = 0; (i = draw_at(m, r, first, k)) != NOWHERE; k++) {
		const struct q_aliquot *a = &m->t->aliquot[i];

		*ml += a->ml;
		if (a->anticoagulant_ml >= 0)
			*anticoagulant_ml += a->anticoagulant_ml;
		known = known && dilution_known(a);
	}
	return known;
}

static double add(double a, double b)
{
	return isnan(a) ? b : isnan(b) ? a : a + b;
}

/* What a result's value counts by when several make up a unit. */
static double weight_of(const struct making *m, const struct q_result *r,
                        double ml, double factor)
{
	bool cells = m->judge == Q_PREVALENCE ||
	             (m->judge == Q_PERCENT && m->o->by_cells);

	return cells ? r->tnc * factor * ml : ml;
}

/* The unit's value from the chosen results; false where a weight or mL that
 * is needed is not known. */
static bool sum_up(struct making *m, const struct choice *c,
                   struct q_row *row)
{
	double total = 0;
	int n = 0;

	row->low = row->high = 0;
	row->state = Q_MEASURED;
	row->undiluted = true;
	for (size_t p = 0; p < m->n_pieces; p++)
		n += takes_part(m, p, c);
	for (size_t p = 0; p < m->n_pieces; p++) {
		const struct q_result *r = &m->results->item[m->piece[p]];
		double ml, ac, factor, w;

		if (!takes_part(m, p, c))
			continue;
		if (!volume_of(m, r, &ml, &ac))
			row->undiluted = false;
		factor = pd_undiluted(1, ml, ac);
		w = n > 1 || m->judge == Q_YIELD ?
		    weight_of(m, r, ml, factor) : 1;
		if (m->material && n > 1)
			return false; /* no volume of concentrate is known */
		if (r->state < Q_FAILED && !(w >= 0))
			return false;
		if (m->material || !is_diluted(m))
			factor = 1;
		row->low += w > 0 ? r->low * factor * w : 0;
		row->high += w > 0 ? r->high * factor * w : 0;
		total += w;
		row->colonies = add(row->colonies, r->colonies);
		row->plated = add(row->plated, r->plated);
		if (n == 1) {
			row->counted = r->counted;
			row->worth = r->worth * factor *
			             (m->judge == Q_YIELD ? w : 1);
		}
		row->method = row->method == -1 || row->method == method_of(r)
		              ? method_of(r) : -2;
		row->state = q_worse(row->state, r->state);
	}
	if (row->state >= Q_FAILED)
		row->low = row->high = NAN;
	else if (m->judge != Q_YIELD && !(total > 0))
		return false;
	else if (m->judge != Q_YIELD)
		row->low /= total, row->high /= total;
	/* zeros beside numbers make an interval, and not a zero */
	if (row->state == Q_ZERO && row->low > 0)
		row->state = Q_BELOW;
	if (row->method == -2)
		row->method = -1;
	return true;
}

static bool unit_row(struct making *m, const struct unit *u, double ml)
{
	struct q_row *row;
	struct choice c;

	if (!find_pieces(m, u))
		return false;
	if (m->n_pieces && !choose(m, u, &c)) {
		m->flow->incomplete_out++;
		return true;
	}
	row = next_row(m);
	if (!row)
		return false;
	row->case_ = u->case_;
	row->site = u->site;
	row->ml = m->material ? NAN : ml;
	if (m->n_pieces && !sum_up(m, &c, row)) {
		m->out->n--;
		m->flow->incomplete_out++;
	}
	return true;
}

/* Results that are of another material, over the case. */
static void count_others(struct making *m, uint32_t c)
{
	const struct q_results *rs = m->results;
	int64_t id = m->t->case_[c].id;

	for (size_t k = first_result(rs, id << 32);
	     k < rs->n && rs->item[k].id >> 32 == id; k++)
		m->flow->other_material +=
		    material_of(&rs->item[k]) != m->material;
}

static bool case_rows(struct making *m, uint32_t c, pd_grain grain)
{
	const struct q_case *it = &m->t->case_[c];
	struct unit u = { c, NOWHERE, it->first_aliquot,
		          it->first_aliquot + it->n_aliquots };

	if (grain == PD_BY_ALIQUOT)
		return aliquot_rows(m, c);
	count_others(m, c);
	if (grain == PD_BY_CASE)
		return unit_row(m, &u, it->total_ml);
	for (uint32_t k = it->first_site; k < it->first_site + it->n_sites;
	     k++) {
		const struct q_site *s = &m->t->site[k];

		u.site = k;
		u.from = s->first_aliquot;
		u.to = s->first_aliquot + s->n_aliquots;
		if (!unit_row(m, &u, s->ml))
			return false;
	}
	return true;
}

pd_status q_rows_make(const struct q_tree *t, const struct q_results *results,
                      const struct q_outcome *o, q_judge judge,
                      pd_grain grain, int material, struct q_rows *out,
                      pd_query_flow *flow, pd_error *err)
{
	struct making m = { .t = t, .results = results, .o = o,
		            .judge = judge, .material = material, .out = out,
		            .flow = flow };
	bool ok = true;

	*out = (struct q_rows){ NULL, 0, 0 };
	for (size_t k = 0; ok && k < t->n_cases; k++)
		ok = case_rows(&m, t->order[k], grain);
	free(m.piece);
	if (!ok) {
		free(out->item);
		*out = (struct q_rows){ NULL, 0, 0 };
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	return PD_OK;
}
