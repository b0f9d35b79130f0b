/* release.c - from the store to a data set for others; see release.h. */
#include "data/release_own.h"
#include "base/version.h"
#include "data/audit.h"
#include "data/sql_text.h"

#include <sodium.h>
#include <string.h>

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory for the release");
}

static void tell_request(pd_release_work *w)
{
	const pd_release_request *r = &w->ask;
	const struct q_tree *t = w->t;
	pd_release *to = &w->told;

	to->version = PD_VERSION;
	to->date = r->date ? r->date : "";
	to->smallest = r->smallest ? r->smallest : PD_RELEASE_SMALLEST;
	to->only_warn = r->only_warn;
	to->whole_years = r->whole_years;
	to->method_names = r->method_names;
	to->days = r->days;
	to->batches = r->batches;
	to->seeded = r->seeded;
	to->n_patients = t->n_patients;
	to->n_cases = t->n_cases;
	to->n_sites = t->n_sites;
	to->n_aliquots = t->n_aliquots;
	to->n_assays = w->n_assays;
}

static pd_status count_left(pd_release_work *w, size_t left[6], pd_error *err)
{
	sqlite3_stmt *q = NULL;
	bool row = false;
	pd_status st = pd_db_prepare(w->s, pd_sql_release_left, &q, err);

	if (st == PD_OK)
		st = pd_db_step(w->s, q, &row, err);
	for (int k = 0; k < 6; k++)
		left[k] = row ? (size_t)sqlite3_column_int64(q, k) : 0;
	sqlite3_finalize(q);
	return st;
}

static pd_status make(pd_release_work *w, pd_error *err)
{
	size_t left[6];
	pd_status st = pd_db_begin_read(w->s, err);

	if (st == PD_OK)
		st = rl_secret(&w->ask, w->secret, err);
	if (st == PD_OK)
		st = rl_read(w, err);
	if (st == PD_OK)
		st = count_left(w, left, err);
	st = pd_db_end(w->s, st, err);
	if (st != PD_OK)
		return st;
	tell_request(w);
	st = rl_names_check(w, err);
	if (st == PD_OK)
		st = rl_cells_blank(w, err);
	if (st == PD_OK && (!rl_columns_make(w) || !rl_fates_make(w, left) ||
	                    !rl_notices_make(w)))
		st = no_memory(err);
	return st;
}

pd_status pd_release_make(pd_store *s, const pd_release_request *request,
                          pd_arena *arena, pd_release_work **out,
                          pd_error *err)
{
	pd_release_work *w = PD_NEW(arena, pd_release_work, 1);
	pd_status st;

	*out = NULL;
	if (!w)
		return no_memory(err);
	w->s = s;
	w->arena = arena;
	w->ask = *request;
	st = make(w, err);
	if (st == PD_OK)
		*out = w;
	else
		pd_release_free(w);
	return st;
}

void pd_release_free(pd_release_work *w)
{
	/* the rest is the arena's; what the codes came from goes at once */
	if (w)
		sodium_memzero(w->secret, sizeof w->secret);
}

pd_release *pd_release_told(pd_release_work *w)
{
	return &w->told;
}

/* ---- the key ---------------------------------------------------------- */

static void key_line(pd_buf *to, const char *kind, const char *code,
                     const char *name)
{
	if (!name || !*name)
		return;
	pd_buf_print(to, "%s\t%s\t", kind, code);
	for (const char *c = name; *c; c++)
		pd_buf_char(to, (unsigned char)*c < 0x20 ? ' ' : *c);
	pd_buf_char(to, '\n');
}

static uint32_t sample_at(const pd_release_work *w, int64_t id)
{
	size_t low = 0, high = w->n_samples;

	while (low < high) {
		size_t mid = low + (high - low) / 2;

		if (w->sample_id[mid] < id)
			low = mid + 1;
		else
			high = mid;
	}
	return low < w->n_samples && w->sample_id[low] == id ? (uint32_t)low
	                                                     : NOWHERE;
}

static pd_status key_samples(const pd_release_work *w, pd_buf *to,
                             pd_error *err)
{
	sqlite3_stmt *q = NULL;
	bool row = true;
	pd_status st = pd_db_prepare(w->s, pd_sql_release_labels, &q, err);

	while (st == PD_OK && row) {
		st = pd_db_step(w->s, q, &row, err);
		if (st != PD_OK || !row)
			break;
		uint32_t k = sample_at(w, sqlite3_column_int64(q, 0));

		if (k != NOWHERE)
			key_line(to, "sample", w->code[RL_SAMPLE][k],
			         pd_db_text(q, 1));
	}
	sqlite3_finalize(q);
	return st;
}

pd_status pd_release_key(const pd_release_work *w, pd_buf *to, pd_error *err)
{
	static const struct {
		const char *kind;
		int names;
		enum rl_kind code;
	} lists[] = {
		{ "operator", Q_OPERATORS, RL_OPERATOR },
		{ "needle", Q_DEVICES, RL_DEVICE },
		{ "method_version", Q_METHODS, RL_METHOD },
	};
	const struct q_tree *t = w->t;

	pd_buf_add(to, "# Key of a release: which code stands for which name "
	               "of the clinic. It stays in the clinic,\n"
	               "# apart from the released folder and from the "
	               "database.\nkind\tcode\tname\n");
	for (size_t i = 0; i < t->n_patients; i++)
		key_line(to, "patient", w->code[RL_PATIENT][i],
		         t->patient[i].label);
	for (size_t i = 0; i < t->n_cases; i++)
		key_line(to, "case", w->code[RL_CASE][i], t->case_[i].label);
	for (size_t l = 0; l < sizeof lists / sizeof *lists; l++)
		for (size_t i = 0; i < t->n_names[lists[l].names]; i++)
			key_line(to, lists[l].kind, w->code[lists[l].code][i],
			         t->name[lists[l].names][i]);
	for (size_t i = 0; w->ask.batches && i < w->n_sources; i++)
		key_line(to, "source", w->code[RL_SOURCE][i],
		         w->source_name[i]);
	pd_status st = key_samples(w, to, err);

	return st == PD_OK && !pd_buf_ok(to) ? no_memory(err) : st;
}

/* ---- the note in the chain -------------------------------------------- */

pd_status pd_release_note(pd_store *s, const pd_release_work *w,
                          const char *manifest_sha256, const char *recipient,
                          bool with_key, pd_error *err)
{
	const pd_release *r = &w->told;
	pd_buf b;
	pd_status st = pd_db_begin_write(s, err);

	pd_buf_init(&b);
	pd_buf_print(&b, "manifest sha256 %.64s: %zu patients, %zu cases, "
	             "smallest group %zu, %s%s%s%s", manifest_sha256,
	             r->groups[PD_RELEASE_WIDE].n_patients, r->n_cases,
	             r->groups[PD_RELEASE_WIDE].smallest,
	             with_key ? "key written" : "no key written",
	             r->seeded ? ", codes from a seed" : "",
	             recipient ? ", for " : "", recipient ? recipient : "");
	if (st == PD_OK && !pd_buf_ok(&b))
		st = no_memory(err);
	if (st == PD_OK)
		st = pd_audit_add(s, "release", pd_buf_text(&b), r->date, err);
	pd_buf_clear(&b);
	return pd_db_end(s, st, err);
}
