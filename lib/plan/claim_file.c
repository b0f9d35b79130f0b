/*
 * claim_file.c - a claim file into numbers; keyfile.c parts its lines. One row
 * of `keys` a key.
 */
#include "plan/claim_own.h"
#include "plan/keyfile.h"
#include "base/file.h"
#include "base/near.h"
#include "data/vocab.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_BYTES = 256 * 1024, MOST_KEYS = 48, N_SECTIONS = 5 };

enum section { CLAIM, DEVICE, COMPARATOR, CLINIC, TRIAL, NOWHERE };
static const char *const section_name[N_SECTIONS] = {
	"claim", "device", "comparator", "clinic", "trial"
};

struct reading {
	pd_keyfile file;
	pd_claim_file *f;
	enum section section;
	bool seen_section[N_SECTIONS];
};

/* --- values -------------------------------------------------------------- */

static pd_status as_above_0(const pd_plan_entry *e, double *to, pd_error *err)
{
	double x;

	if (!pd_plan_number(e->value, &x) || x <= 0)
		return pd_key_bad(err, e, "a number above 0");
	*to = x;
	return PD_OK;
}

static pd_status as_whole(const pd_plan_entry *e, size_t least, double most,
                          size_t *to, pd_error *err)
{
	char want[80];
	double x;

	if (!pd_plan_number(e->value, &x) || x != floor(x) ||
	    x < (double)least || x > most) {
		snprintf(want, sizeof want, "a whole number from %zu to %.0f",
		         least, most);
		return pd_key_bad(err, e, want);
	}
	*to = (size_t)x;
	return PD_OK;
}

static pd_status as_range(pd_arena *a, const pd_plan_entry *e, double least,
                          double most, const char *want, pd_print_range *to,
                          pd_error *err)
{
	const char *dash = strstr(e->value, " to ");
	char *low = pd_key_trimmed(a, e->value, dash ? (size_t)(dash - e->value)
	                                             : strlen(e->value));
	char *high = dash ? pd_key_trimmed(a, dash + 4, strlen(dash + 4)) : low;

	if (!low || !high)
		return pd_key_no_memory(err);
	if (!pd_plan_number(low, &to->low) || !pd_plan_number(high, &to->high) ||
	    to->low > to->high || to->low < least || to->high > most)
		return pd_key_bad(err, e, want);
	return PD_OK;
}

static pd_status as_share(const pd_plan_entry *e, double low, double high,
                          double *to, pd_error *err)
{
	char want[80];
	double x;

	if (!pd_plan_number(e->value, &x) || x < low || x > high) {
		snprintf(want, sizeof want, "a number from %g to %g", low, high);
		return pd_key_bad(err, e, want);
	}
	*to = x;
	return PD_OK;
}

/* `0.03` or `< 0.01`. */
static pd_status as_p(const pd_plan_entry *e, pd_claim_file *f, pd_error *err)
{
	const char *text = e->value;

	f->p_below = *text == '<';
	text += f->p_below;
	text += strspn(text, " \t");
	if (!pd_plan_number(text, &f->p) || f->p <= 0 || f->p >= 1)
		return pd_key_bad(err, e, "a P value such as 0.03 or '< 0.01'");
	return PD_OK;
}

static pd_status as_wording(pd_arena *a, const pd_plan_entry *e,
                            pd_claim_file *f, pd_error *err)
{
	if (!pd_claim_wording(e->value, &f->wording))
		return pd_key_bad(err, e, "words such as '300 % higher', '40 % "
		                  "lower', '3 times higher' or '1.8-fold'");
	return pd_key_text(a, e, &f->wording.text, err);
}

static pd_status as_yes(const pd_plan_entry *e, bool *to, pd_error *err)
{
	*to = strcmp(e->value, "yes") == 0;
	return *to || strcmp(e->value, "no") == 0
	           ? PD_OK
	           : pd_key_bad(err, e, "yes or no");
}

static pd_status as_judge(pd_arena *a, const pd_plan_entry *e,
                          const char **to, pd_error *err)
{
	pd_question *q = PD_NEW(a, pd_question, 1);
	pd_status st = q ? pd_question_set(a, q, e, err)
	                 : pd_key_no_memory(err);

	return st == PD_OK ? pd_key_text(a, e, to, err) : st;
}

static pd_status as_material(const pd_plan_entry *e, const char **to,
                             pd_error *err)
{
	int code = pd_vocab_code(PD_F_MATERIAL, e->value);

	if (code < 0)
		return pd_key_bad(err, e, "aspirate or concentrate");
	*to = pd_vocab_words(PD_F_MATERIAL)[code];
	return PD_OK;
}

static pd_status as_seed(const pd_plan_entry *e, pd_claim_file *f,
                         pd_error *err)
{
	size_t seed = 0;
	pd_status st = as_whole(e, 0, 9e15, &seed, err);

	f->plan.seed = seed;
	return st;
}

/* --- keys ---------------------------------------------------------------- */

enum kind {
	TEXT, ABOVE_0, PATIENTS, FEW, RANGE_ABOVE_0, CORRELATION, LEVEL, POWER,
	ALIKE, YES, P_VALUE, WORDING, SEED, LOOKS, FEWEST, JUDGE, MATERIAL,
	QUESTION
};

#define OF(member) offsetof(pd_claim_file, member)
#define ARM(member) offsetof(pd_print_arm, member)

static const struct key {
	const char *name;
	enum kind kind;
	size_t offset;
} claim_keys[] = {
	{ "title", TEXT, OF(title) },
	{ "source", TEXT, OF(source) },
	{ "outcome", QUESTION, 0 },
	{ "judge", QUESTION, 0 },
	{ "wording", WORDING, 0 },
	{ "ratio", ABOVE_0, OF(ratio) },
	{ "low", ABOVE_0, OF(low) },
	{ "high", ABOVE_0, OF(high) },
	{ "p", P_VALUE, 0 },
	{ "n", PATIENTS, OF(n) },
	{ "paired", YES, OF(paired) },
	{ "correlation", CORRELATION, OF(correlation) },
	{ "print_level", LEVEL, OF(print_level) },
	{ "margin", QUESTION, 0 },
	{ "margin_reason", QUESTION, 0 },
	{ NULL, TEXT, 0 }
}, arm_keys[] = {
	{ "name", TEXT, ARM(name) },
	{ "judge", JUDGE, ARM(judge) },
	{ "unit", TEXT, ARM(unit) },
	{ "material", MATERIAL, ARM(material) },
	{ "n", PATIENTS, ARM(n) },
	{ "mean", ABOVE_0, ARM(mean) },
	{ "sd", ABOVE_0, ARM(sd) },
	{ "se", ABOVE_0, ARM(se) },
	{ "plus_minus", ABOVE_0, ARM(plus_minus) },
	{ "median", ABOVE_0, ARM(median) },
	{ "lower", ABOVE_0, ARM(lower) },
	{ "upper", ABOVE_0, ARM(upper) },
	{ "lowest", ABOVE_0, ARM(lowest) },
	{ "largest", ABOVE_0, ARM(largest) },
	{ "geometric_mean", ABOVE_0, ARM(geometric_mean) },
	{ "low", ABOVE_0, ARM(low) },
	{ "high", ABOVE_0, ARM(high) },
	{ "colonies", ABOVE_0, ARM(colonies) },
	{ "cells", ABOVE_0, ARM(cells) },
	{ "volume_ml", RANGE_ABOVE_0, ARM(volume_ml) },
	{ "site_ml", RANGE_ABOVE_0, ARM(site_ml) },
	{ "total_ml", RANGE_ABOVE_0, ARM(total_ml) },
	{ "n_sites", RANGE_ABOVE_0, ARM(n_sites) },
	{ "age_y", RANGE_ABOVE_0, ARM(age_y) },
	{ "price", ABOVE_0, ARM(price) },
	{ NULL, TEXT, 0 }
}, clinic_keys[] = {
	{ "compare", QUESTION, 0 },
	{ "within", QUESTION, 0 },
	{ "adjust", QUESTION, 0 },
	{ "where", QUESTION, 0 },
	{ "level", LEVEL, OF(plan.level) },
	{ "looks", LOOKS, OF(plan.looks) },
	{ "min_patients", FEWEST, OF(plan.min_patients) },
	{ "seed", SEED, 0 },
	{ "alike", ALIKE, OF(alike) },
	{ "currency", TEXT, OF(currency) },
	{ "units_per_case", ABOVE_0, OF(units_per_case) },
	{ "ml_per_case", ABOVE_0, OF(ml_per_case) },
	{ NULL, TEXT, 0 }
}, trial_keys[] = {
	{ "sites_per_side", FEW, OF(sites_per_side) },
	{ "pulls_per_site", FEW, OF(pulls_per_site) },
	{ "power", POWER, OF(power) },
	{ "patients", PATIENTS, OF(patients) },
	{ NULL, TEXT, 0 }
};

static const struct key *const section_keys[N_SECTIONS] = {
	claim_keys, arm_keys, arm_keys, clinic_keys, trial_keys
};

static pd_status store_value(struct reading *r, const struct key *k,
                             void *base, const pd_plan_entry *e, pd_error *err)
{
	void *to = (char *)base + k->offset;

	switch (k->kind) {
	case TEXT:
		return pd_key_text(r->file.arena, e, to, err);
	case ABOVE_0:
		return as_above_0(e, to, err);
	case PATIENTS:
		return as_whole(e, 2, 1e6, to, err);
	case FEW:
		return as_whole(e, 1, 12, to, err);
	case LOOKS:
		return as_whole(e, 1, 200, to, err);
	case FEWEST:
		return as_whole(e, 3, 1e6, to, err);
	case RANGE_ABOVE_0:
		return as_range(r->file.arena, e, 1e-9, 1e9,
		                "a number above 0 or 'X to Y'", to, err);
	case CORRELATION:
		return as_range(r->file.arena, e, -0.99, 0.99,
		                "a correlation such as 0.6, or '0.3 to 0.8'",
		                to, err);
	case LEVEL:
		return as_share(e, 0.5, 0.999, to, err);
	case POWER:
		return as_share(e, 0.5, 0.99, to, err);
	case ALIKE:
		return as_share(e, 0.1, 1, to, err);
	case YES:
		r->f->paired_text = e->value;
		return as_yes(e, to, err);
	case P_VALUE:
		return as_p(e, r->f, err);
	case WORDING:
		return as_wording(r->file.arena, e, r->f, err);
	case SEED:
		return as_seed(e, r->f, err);
	case JUDGE:
		return as_judge(r->file.arena, e, to, err);
	case MATERIAL:
		return as_material(e, to, err);
	case QUESTION:
		break;
	}
	return pd_question_set(r->file.arena, r->f->question, e, err);
}

static pd_status unknown_key(struct reading *r, const pd_plan_entry *e,
                             pd_error *err)
{
	const struct key *k = section_keys[r->section];
	const char *name[MOST_KEYS];
	pd_near near = { .given = e->key };
	char known[400];
	size_t n = 0;

	for (; k->name && n < MOST_KEYS; k++) {
		pd_near_try(&near, k->name);
		name[n++] = k->name;
	}
	return pd_fail_at(err, PD_PLAN, e->file, e->line, e->key_column,
	                  "unknown key '%s' in [%s], expected %s%s", e->key,
	                  section_name[r->section],
	                  pd_keyfile_names(name, n, known, sizeof known),
	                  pd_near_words(&near));
}

static pd_status read_entry(void *user, const pd_plan_entry *e, pd_error *err)
{
	struct reading *r = user;
	bool in_arm = r->section == DEVICE || r->section == COMPARATOR;
	pd_print_arm *arm = &r->f->arm[r->section == COMPARATOR];
	void *base = in_arm ? (void *)arm : (void *)r->f;

	if (in_arm && strcmp(e->key, "unit") == 0) {
		arm->unit_line = e->line;
		arm->unit_column = e->value_column;
	}
	for (const struct key *k = section_keys[r->section]; k->name; k++)
		if (strcmp(e->key, k->name) == 0)
			return store_value(r, k, base, e, err);
	return unknown_key(r, e, err);
}

/* --- sections ------------------------------------------------------------ */

static pd_status open_section(struct reading *r, int which, size_t line,
                              size_t column, pd_error *err)
{
	if (r->seen_section[which])
		return pd_fail_at(err, PD_PLAN, r->file.name, line, column,
		                  "[%s] stands twice", section_name[which]);
	r->seen_section[which] = true;
	r->section = (enum section)which;
	if (which == DEVICE || which == COMPARATOR)
		r->f->arm[which == COMPARATOR].line = line;
	if (which == CLAIM)
		r->f->question->line = line;
	return PD_OK;
}

static pd_status read_section(void *user, const pd_keyfile_section *s,
                              pd_error *err)
{
	struct reading *r = user;
	const char *given = s->n > 2 ? pd_arena_copy_n(r->file.arena, s->text + 1,
	                                               s->n - 2)
	                             : "";
	pd_near near = { .given = given };

	if (!given)
		return pd_key_no_memory(err);
	for (int k = 0; k < N_SECTIONS; k++) {
		if (strcmp(given, section_name[k]) == 0 &&
		    s->text[s->n - 1] == ']')
			return open_section(r, k, s->line, s->column, err);
		pd_near_try(&near, section_name[k]);
	}
	return pd_fail_at(err, PD_PLAN, r->file.name, s->line, s->column,
	                  "found '%.*s', expected [claim], [device], "
	                  "[comparator], [clinic] or [trial]%s", (int)s->n,
	                  s->text, pd_near_words(&near));
}

static void start(pd_claim_file *f, pd_question *q)
{
	pd_print_range none = { NAN, NAN };

	q->name = "claim";
	q->margin = q->step = q->change = q->floor = q->differs_step = NAN;
	q->role = PD_PRIMARY;
	f->question = q;
	f->plan.level = f->print_level = 0.95;
	f->plan.min_patients = 10;
	f->plan.looks = 1;
	f->ratio = f->low = f->high = f->p = NAN;
	f->correlation = none;
	f->units_per_case = 1;
	f->sites_per_side = f->pulls_per_site = 1;
	f->ml_per_case = NAN;
	f->alike = 0.8;
	f->power = 0.8;
	for (int k = 0; k < 2; k++) {
		pd_print_arm *a = &f->arm[k];

		a->mean = a->sd = a->se = a->plus_minus = a->median = a->lower =
		    a->upper = a->lowest = a->largest = a->geometric_mean =
		        a->low = a->high = a->colonies = a->cells = a->price =
		            NAN;
		a->volume_ml = a->site_ml = a->total_ml = a->n_sites =
		    a->age_y = none;
		a->times = 1;
	}
}

pd_status pd_claim_parse(pd_arena *arena, const char *text, size_t size,
                         const char *name, pd_claim_file *out, pd_error *err)
{
	struct reading r = { .file = { .arena = arena, .name = name,
		                       .section = read_section,
		                       .entry = read_entry },
		             .f = out, .section = NOWHERE };
	pd_question *q = PD_NEW(arena, pd_question, 1);

	memset(out, 0, sizeof *out);
	if (size > MOST_BYTES)
		return pd_fail_at(err, PD_PLAN, name, 0, 0,
		                  "claim is larger than 256 KiB");
	if (!q)
		return pd_key_no_memory(err);
	start(out, q);
	r.file.user = &r;
	pd_status st = pd_keyfile_parse(&r.file, text, size, err);

	out->plan.name = r.file.name;
	out->plan.text = r.file.text;
	out->plan.sha256 = r.file.sha256;
	if (st == PD_OK && !r.seen_section[CLAIM])
		return pd_fail_at(err, PD_PLAN, name, r.file.n_lines, 1,
		                  "found no section [claim]");
	return st == PD_OK ? pd_claim_check(arena, out, err) : st;
}

pd_status pd_claim_read(pd_arena *arena, const char *path, pd_claim_file *out,
                        pd_error *err)
{
	char *text;
	size_t n;
	pd_status st = pd_file_read(path, MOST_BYTES, &text, &n, err);

	if (st == PD_OK)
		st = pd_claim_parse(arena, text, n, path, out, err);
	free(text);
	return st == PD_OK ? pd_file_name(arena, path, &out->plan.name, err) : st;
}
