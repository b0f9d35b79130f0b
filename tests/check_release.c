/*
 * check_release.c - a data set for others: every field decided, nothing of a
 * hostile store in it, groups of patients as counted by hand, codes that come
 * from no name, results with their marks.
 */
#include "store_help.h"

#include "base/buf.h"
#include "data/audit.h"
#include "data/history.h"
#include "data/release_own.h"
#include "report/compose_release.h"
#include "report/release_files.h"

#include <math.h>

static pd_arena *arena;

static void setup(void)
{
	unsetenv("SOURCE_DATE_EPOCH");
	help_setup();
	arena = pd_arena_new();
	ck_assert_ptr_nonnull(arena);
}

static void teardown(void)
{
	pd_arena_free(arena);
	help_teardown();
}

static pd_status add_row(void *user, const pd_release_table *t,
                         const char *const *cell, pd_error *err)
{
	(void)err;
	pd_release_csv_row(t, cell, user);
	return PD_OK;
}

/* A table's bytes. */
static void table_of(pd_release_work *w, int which, pd_buf *to)
{
	pd_error err = { .text = "" };

	pd_buf_init(to);
	pd_release_csv_head(&pd_release_told(w)->table[which], to);
	ck_assert_msg(pd_release_rows(w, which, add_row, to, &err) == PD_OK,
	              "%s", err.text);
	ck_assert(pd_buf_ok(to));
}

static pd_release_work *make(pd_store *s, pd_release_request ask)
{
	pd_release_work *w = NULL;
	pd_error err = { .text = "" };

	ask.date = "2026-03-05";
	pd_status st = pd_release_make(s, &ask, arena, &w, &err);

	ck_assert_msg(st == PD_OK, "%s", err.text);
	return w;
}

/* ---- the list of those allowed ------------------------------------------- */

START_TEST(every_field_is_decided)
{
	const pd_field_info *f = pd_field_about((pd_field)_i);
	pd_release_rule rule = pd_release_of_field((pd_field)_i);

	ck_assert_msg(rule != PD_RELEASE_UNDECIDED, "'%s' has no row in "
	              "release_policy.c: may it go out?", f->header);
	/* words of the clinic's own and dates never as they are */
	if (f->kind == PD_FIELD_TEXT || f->kind == PD_FIELD_DATE)
		ck_assert_msg(rule != PD_RELEASE_KEPT, "'%s'", f->header);
}
END_TEST

START_TEST(no_field_beyond_the_list)
{
	ck_assert_int_eq(pd_release_of_field(PD_N_FIELDS),
	                 PD_RELEASE_UNDECIDED);
	ck_assert_int_eq(pd_release_of_field(PD_F_BIRTH_YEAR),
	                 PD_RELEASE_LEFT_OUT);
	ck_assert_int_eq(pd_release_of_field(PD_F_TNC), PD_RELEASE_KEPT);
}
END_TEST

/* ---- bands ----------------------------------------------------------------- */

static const struct {
	double age;
	const char *band, *years;
} ages[] = {
	{ 0.4, "under 18", "0" },      { 17.99, "under 18", "17" },
	{ 18, "18 to 29", "18" },      { 29.9, "18 to 29", "29" },
	{ 30, "30 to 39", "30" },      { 64.2, "60 to 69", "64" },
	{ 79.99, "70 to 79", "79" },   { 80, "80 to 89", "80" },
	{ 89.99, "80 to 89", "89" },   { 90, "90+", "90+" },
	{ 103.3, "90+", "90+" },       { NAN, NULL, NULL },
};

static void same_text(const char *a, const char *b)
{
	if (!a || !b)
		ck_assert_ptr_eq(a, b);
	else
		ck_assert_str_eq(a, b);
}

START_TEST(ages_in_bands_and_years)
{
	pd_release_work w = { .arena = arena };

	same_text(rl_age_word(&w, rl_age_of(&w.ask, ages[_i].age)),
	          ages[_i].band);
	w.ask.whole_years = true;
	same_text(rl_age_word(&w, rl_age_of(&w.ask, ages[_i].age)),
	          ages[_i].years);
}
END_TEST

START_TEST(body_mass_in_bands)
{
	static const struct {
		double bmi;
		const char *band;
	} row[] = {
		{ 18.4, "under 18.5" },    { 18.5, "18.5 to below 25" },
		{ 24.9, "18.5 to below 25" }, { 25, "25 to below 30" },
		{ 30, "30 to below 35" },  { 37.3, "35 to below 40" },
		{ 40, "40 and above" },    { 61, "40 and above" },
		{ NAN, NULL },
	};

	for (size_t i = 0; i < sizeof row / sizeof *row; i++)
		same_text(rl_bmi_word(rl_bmi_of(row[i].bmi)), row[i].band);
}
END_TEST

/* ---- codes ------------------------------------------------------------------ */

START_TEST(codes_differ_and_have_a_digit)
{
	enum { N = 20000 };
	static rl_code a[N], b[N], sorted[N];
	unsigned char secret[32];
	const pd_release_request ask = { .seeded = true, .seed = 31 };
	pd_error err;

	ck_assert_int_eq(rl_secret(&ask, secret, &err), PD_OK);
	ck_assert_int_eq(rl_codes_draw(secret, RL_PATIENT, N, a, &err), PD_OK);
	ck_assert_int_eq(rl_codes_draw(secret, RL_CASE, N, b, &err), PD_OK);
	for (int i = 0; i < N; i++) {
		ck_assert_uint_eq(strlen(a[i]), RL_CODE - 1);
		ck_assert(a[i][0] == 'P' && b[i][0] == 'C');
		ck_assert(a[i][1] >= '0' && a[i][1] <= '9');
		ck_assert_str_ne(a[i] + 1, b[i] + 1);
	}
	memcpy(sorted, a, sizeof a);
	qsort(sorted, N, sizeof *sorted,
	      (int (*)(const void *, const void *))strcmp);
	for (int i = 1; i < N; i++)
		ck_assert_str_ne(sorted[i - 1], sorted[i]);
	/* the same number, the same codes; without one, never */
	ck_assert_int_eq(rl_secret(&ask, secret, &err), PD_OK);
	ck_assert_int_eq(rl_codes_draw(secret, RL_PATIENT, N, b, &err), PD_OK);
	ck_assert_mem_eq(a, b, sizeof a);
	ck_assert_int_eq(rl_secret(&(pd_release_request){ .seed = 31 }, secret,
	                           &err), PD_OK);
	ck_assert_int_eq(rl_codes_draw(secret, RL_PATIENT, N, b, &err), PD_OK);
	ck_assert_str_ne(a[0], b[0]);
}
END_TEST

/* ---- stores -------------------------------------------------------------------- */

#define COLUMNS                                                                \
	"patient,sex,birth_year,case,case_date,age_y,bmi,operator,side,"       \
	"site_no,landmark,needle,adverse_event,aliquot_no,volume_ml,"          \
	"method_version,sample,tnc_e6_per_ml,cells_plated,dish_1\n"

struct person {
	const char *sex, *landmark, *event;
	int age, year;
	double bmi;
};

/* A row a person, one pull each, in the year given. */
static pd_store *store_of(const struct person *p, size_t n, const char *file)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_buf b;
	help_load l;

	pd_buf_init(&b);
	pd_buf_add(&b, COLUMNS);
	for (size_t i = 0; i < n; i++)
		pd_buf_print(&b, "M%03zu,%s,%d,V%03zu,%d-04-17,%d,%.1f,T%zu,"
		             "L,1,%s,needle %zu,%s,1,%.1f,lab v%zu,S%03zu,"
		             "%.1f,500000,%zu\n", i, p[i].sex,
		             p[i].year - p[i].age, i, p[i].year, p[i].age,
		             p[i].bmi, i % 3, p[i].landmark, i % 2, p[i].event,
		             5 + 0.1 * (double)i, i % 2, i,
		             30.1 + (double)i, 11 + i);
	l = help_try(s, file, pd_buf_text(&b), 0);
	if (l.st != PD_OK)
		help_print(&l);
	ck_assert_msg(l.st == PD_OK, "%s", l.err.text);
	pd_findings_free(l.findings);
	pd_buf_clear(&b);
	return s;
}

#define WOMAN(age) { "female", "PSIS", "none", age, 2024, 23.1 }
#define MAN(age) { "male", "PSIS", "none", age, 2024, 23.1 }

/* Both tables' groups; they hold the same patients. */
static pd_release_groups groups_of(pd_release_work *w)
{
	pd_release_groups g[2] = { 0 };
	pd_error err = { .text = "" };

	for (int k = 0; k < PD_RELEASE_TABLES; k++) {
		pd_buf b;

		table_of(w, k, &b);
		ck_assert_msg(pd_release_recount(
		    pd_buf_text(&b), b.length, pd_release_told(w)->smallest,
		    &g[k], &err) == PD_OK, "%s", err.text);
		pd_buf_clear(&b);
	}
	ck_assert_uint_eq(g[0].n_patients, g[1].n_patients);
	ck_assert_uint_eq(g[0].n_groups, g[1].n_groups);
	ck_assert_uint_eq(g[0].smallest, g[1].smallest);
	return g[0];
}

static size_t blanked(pd_release_work *w, const char *column)
{
	const pd_release *r = pd_release_told(w);

	for (size_t i = 0; i < r->n_blanks; i++)
		if (strcmp(r->blank[i].column, column) == 0)
			return r->blank[i].n;
	ck_abort_msg("no column '%s'", column);
}

START_TEST(large_groups_stay)
{
	static const struct person p[] = {
		WOMAN(43), WOMAN(44), WOMAN(45), WOMAN(46), WOMAN(47),
		MAN(43), MAN(41), MAN(42), MAN(48), MAN(49),
	};
	pd_store *s = store_of(p, 10, "a.csv");
	pd_release_work *w = make(s, (pd_release_request){ .smallest = 5 });
	pd_release_groups g = groups_of(w);

	ck_assert_uint_eq(g.n_patients, 10);
	ck_assert_uint_eq(g.n_groups, 2);
	ck_assert_uint_eq(g.smallest, 5);
	ck_assert_uint_eq(blanked(w, "bmi_band"), 0);
	ck_assert_uint_eq(blanked(w, "sex"), 0);
	pd_store_close(s);
}
END_TEST

/* Six alike, four who differ in one thing only: that thing alone goes. */
START_TEST(one_field_is_enough)
{
	static const struct person p[] = {
		WOMAN(43), WOMAN(44), WOMAN(45), WOMAN(46), WOMAN(47),
		WOMAN(40),
		{ "male", "PSIS", "none", 52, 2024, 22.0 },
		{ "male", "PSIS", "none", 53, 2024, 27.0 },
		{ "male", "PSIS", "none", 54, 2024, 31.0 },
		{ "male", "PSIS", "none", 55, 2024, 36.0 },
	};
	pd_store *s = store_of(p, 10, "a.csv");
	pd_release_work *w = make(s, (pd_release_request){ .smallest = 4 });

	ck_assert_uint_eq(groups_of(w).smallest, 4);
	ck_assert_uint_eq(blanked(w, "bmi_band"), 4);
	ck_assert_uint_eq(blanked(w, "year"), 0);
	ck_assert_uint_eq(blanked(w, "age"), 0);
	pd_store_close(s);
}
END_TEST

/* A child with a rare landmark and one aged 91: too few even when all of
 * theirs is blank, so the smallest other group joins. */
START_TEST(leftovers_get_company)
{
	static const struct person p[] = {
		WOMAN(43), WOMAN(44), WOMAN(45), WOMAN(46), WOMAN(47),
		MAN(61), MAN(62), MAN(63), MAN(64), MAN(65), MAN(66), MAN(67),
		{ "female", "proximal tibia", "none", 12, 2023, 17.0 },
		{ "male", "sternum", "none", 91, 2022, 41.0 },
	};
	pd_store *s = store_of(p, 14, "a.csv");
	pd_release_work *w = make(s, (pd_release_request){ .smallest = 5 });
	pd_release_groups g = groups_of(w);
	pd_buf b;

	ck_assert_uint_eq(g.n_groups, 2);
	ck_assert_uint_eq(g.smallest, 7);
	ck_assert_uint_eq(blanked(w, "sex"), 7);
	ck_assert_uint_eq(blanked(w, "landmark"), 7);
	table_of(w, PD_RELEASE_WIDE, &b);
	ck_assert_ptr_null(strstr(pd_buf_text(&b), "tibia"));
	ck_assert_ptr_null(strstr(pd_buf_text(&b), "under 18"));
	ck_assert_ptr_null(strstr(pd_buf_text(&b), "90+"));
	ck_assert_ptr_null(strstr(pd_buf_text(&b), "2022"));
	pd_buf_clear(&b);
	pd_store_close(s);
}
END_TEST

START_TEST(only_told)
{
	static const struct person p[] = { WOMAN(43), MAN(44), WOMAN(45) };
	pd_store *s = store_of(p, 3, "a.csv");
	pd_release_work *w = make(s, (pd_release_request){ .smallest = 2,
	                                                   .only_warn = true });
	pd_release_groups g = groups_of(w);

	ck_assert_uint_eq(g.smallest, 1);
	ck_assert_uint_eq(g.n_small, 1);
	ck_assert_uint_eq(g.small_patients, 1);
	ck_assert_uint_eq(blanked(w, "sex"), 0);
	pd_store_close(s);
}
END_TEST

START_TEST(too_few_patients)
{
	static const struct person p[] = { WOMAN(43), MAN(44), WOMAN(45) };
	pd_store *s = store_of(p, 3, "a.csv");
	const pd_release_request ask = { .date = "2026-03-05", .smallest = 4 };
	pd_release_work *w = NULL;
	pd_error err = { .text = "" };

	ck_assert_int_eq(pd_release_make(s, &ask, arena, &w, &err), PD_REFUSED);
	ck_assert_ptr_null(w);
	ck_assert_ptr_nonnull(strstr(err.text, "3 patients"));
	pd_store_close(s);
}
END_TEST

/* Any store: no group is smaller than asked, in either table. */
START_TEST(any_store)
{
	static const char *const sexes[] = { "female", "male", "other" };
	static const char *const bones[] = { "PSIS", "PSIS", "PSIS", "sternum",
		                             "calcaneus" };
	static const char *const events[] = { "none", "none", "bleeding",
		                              "infection", "faint", "" };
	struct person p[60];
	uint32_t x = 2463534242u + (uint32_t)_i;
	pd_store *s;

	for (size_t i = 0; i < 60; i++) {
		uint32_t r[6];

		for (int k = 0; k < 6; k++) {
			x ^= x << 13;
			x ^= x >> 17;
			x ^= x << 5;
			r[k] = x >> 8;
		}
		p[i] = (struct person){ sexes[r[0] % 7 ? r[0] % 2 : 2],
			                bones[r[1] % 5], events[r[2] % 6],
			                (int)(r[3] % 96) + 4,
			                2019 + (int)(r[4] % 6),
			                15 + (double)(r[5] % 300) / 10 };
	}
	s = store_of(p, 60, "a.csv");
	for (unsigned n = 2; n <= 20; n += 3) {
		pd_release_work *w = make(s, (pd_release_request){
			.smallest = n, .whole_years = n % 2 });
		pd_release_groups g = groups_of(w);

		ck_assert_uint_ge(g.smallest, n);
		ck_assert_uint_eq(g.n_small, 0);
		ck_assert_uint_eq(g.n_patients, 60);
		ck_assert(g.fewest_event == 0 || g.fewest_event >= n);
		for (size_t k = 0; k < pd_release_told(w)->n_blanks; k++)
			ck_assert_uint_le(pd_release_told(w)->blank[k].n,
			                  pd_release_told(w)->blank[k].of);
	}
	pd_store_close(s);
}
END_TEST

/* Six bled, four fainted, two were infected: the two and the four together. */
START_TEST(events_are_merged)
{
	struct person p[20];
	pd_store *s;
	pd_release_work *w;
	pd_buf b;

	for (size_t i = 0; i < 20; i++)
		p[i] = (struct person){ "female", "PSIS",
			                i < 6    ? "bleeding"
			                : i < 10 ? "faint"
			                : i < 12 ? "infection"
			                         : "none", 43, 2024, 23.1 };
	s = store_of(p, 20, "a.csv");
	w = make(s, (pd_release_request){ .smallest = 5 });
	ck_assert_uint_eq(groups_of(w).fewest_event, 6);
	ck_assert_uint_eq(blanked(w, "adverse_event"), 6);
	table_of(w, PD_RELEASE_LONG, &b);
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), ",bleeding,"));
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), ",event,"));
	ck_assert_ptr_null(strstr(pd_buf_text(&b), "faint"));
	pd_buf_clear(&b);
	/* twelve with an event are too few of thirteen: nothing is told */
	w = make(s, (pd_release_request){ .smallest = 13 });
	ck_assert_uint_eq(groups_of(w).fewest_event, 0);
	ck_assert_uint_eq(blanked(w, "adverse_event"), 20);
	pd_store_close(s);
}
END_TEST

/* ---- counted by hand ------------------------------------------------------------- */

#define TABLE "patient,case,sex,age,bmi_band,year,landmark,adverse_event\r\n"

START_TEST(counted_by_hand)
{
	/* a and b alike; c and d alike by two visits, landmarks in another
	 * order; e like a but for a second landmark; f is blank */
	static const char csv[] = TABLE
	    "a,1,f,40,x,2024,PSIS,none\r\n"
	    "a,1,f,40,x,2024,PSIS,bleeding\r\n"
	    "b,2,f,40,x,2024,PSIS,bleeding\r\n"
	    "c,3,m,50,x,2023,ASIS,none\r\n"
	    "c,3,m,50,x,2023,PSIS,none\r\n"
	    "c,4,m,50,x,2024,,\r\n"
	    "d,6,m,50,x,2024,,\r\n"
	    "d,5,m,50,x,2023,PSIS,\"\"\r\n"
	    "d,5,m,50,x,2023,ASIS,infection\r\n"
	    "e,7,f,40,x,2024,PSIS,none\r\n"
	    "e,7,f,40,x,2024,sternum,none\r\n"
	    "f,8,,,,,,\r\n";
	pd_release_groups g = { 0 };
	pd_error err = { .text = "" };

	ck_assert_msg(pd_release_recount(csv, sizeof csv - 1, 2, &g, &err) ==
	              PD_OK, "%s", err.text);
	ck_assert_uint_eq(g.n_patients, 6);
	ck_assert_uint_eq(g.n_groups, 4);
	ck_assert_uint_eq(g.smallest, 1);
	ck_assert_uint_eq(g.n_small, 2);
	ck_assert_uint_eq(g.small_patients, 2);
	ck_assert_uint_eq(g.fewest_event, 1);
}
END_TEST

START_TEST(no_table)
{
	static const char *const csv[] = {
		"", "a,b\r\n1,2\r\n", TABLE "a,1,f\r\n",
		TABLE "a,1,\"f,40,x,2024,PSIS,none\r\n",
	};
	pd_release_groups g = { 0 };
	pd_error err = { .text = "" };

	ck_assert_int_eq(pd_release_recount(csv[_i], strlen(csv[_i]), 2, &g,
	                                    &err), PD_DATA);
}
END_TEST

/* ---- a hostile store ---------------------------------------------------------------- */

/*
 * Rows are changed behind the store's back, and opened for inspection: all
 * other ways of opening refuse them (content.h).
 */
/* What each element of 45 CFR 164.514(b)(2)(i) could look like where a store
 * has room for words. All invented. */
static const struct {
	const char *letter, *sql, *needle;
} hostile[] = {
	{ "A", "UPDATE patients SET label = 'Quill, Marta ' || patient_id",
	  "Quill" },
	{ "A", "UPDATE operators SET code = 'Dr Ines Vauk ' || operator_id",
	  "Vauk" },
	{ "B", "UPDATE method_versions SET name = 'St Orla Clinic, 4711 "
	  "Fenwick Lane ' || method_id WHERE method_id > 0", "Fenwick" },
	{ "C", "UPDATE cases SET label = 'seen 17 April 2024 at 9:40 no ' || "
	  "case_id", "April" },
	{ "D", "UPDATE operators SET code = '+1 555 010 0199 / ' || "
	  "operator_id", "010 0199" },
	{ "E", "UPDATE devices SET name = 'fax 555-0144 ' || device_id",
	  "555-0144" },
	{ "F", "UPDATE cases SET label = 'marta.quill@example.org ' || case_id",
	  "example.org" },
	{ "G", "UPDATE patients SET label = '078-05-1120 ' || patient_id",
	  "078-05" },
	{ "H", "UPDATE patients SET label = 'MRN00482913-' || patient_id",
	  "00482913" },
	{ "I", "UPDATE cases SET label = 'plan 99120077 ' || case_id",
	  "99120077" },
	{ "J", "UPDATE cases SET label = 'account DE02 1203 ' || case_id",
	  "DE02" },
	{ "K", "UPDATE operators SET code = 'licence AB-7781 ' || operator_id",
	  "AB-7781" },
	{ "L", "UPDATE cases SET label = 'plate XK 42 ' || case_id", "XK 42" },
	{ "M", "UPDATE devices SET name = '(01)09506000134352(21)SN88123 ' || "
	  "device_id", "SN88123" },
	{ "M", "UPDATE sample_labels SET label = '(10)LOT7731' || sample_id",
	  "LOT7731" },
	{ "N", "UPDATE method_versions SET name = 'http://lab.example/v1?' || "
	  "method_id WHERE method_id > 0", "lab.example" },
	{ "O", "UPDATE devices SET name = '203.0.113.77 ' || device_id",
	  "203.0.113" },
	{ "P", "UPDATE operators SET code = 'fingerprint a9f3c1 ' || "
	  "operator_id", "a9f3c1" },
	{ "Q", "UPDATE sample_labels SET label = 'face_quill.jpg ' || "
	  "sample_id", "face_quill" },
	{ "R", "UPDATE words SET word = 'the mayor of Orlatown' WHERE field = "
	  "'sex'", "mayor" },
	{ "R", "INSERT INTO findings VALUES (9000, 1, 'x', 'note', 1, 1, "
	  "'only patient with trait Zeta', '')", "Zeta" },
	{ "R", "INSERT INTO history VALUES (9000, 'cases', 1, 'her note: "
	  "Omicron', 1, 'why')", "Omicron" },
};

static void no_needle(const char *text, const char *needle, const char *where)
{
	ck_assert_msg(strstr(text, needle) == NULL, "'%s' in %s", needle,
	              where);
}

static void check_prose(const pd_release *r, const char *needle)
{
	pd_status (*const make_doc[])(const pd_release *, pd_doc **,
	                              pd_error *) = {
		pd_compose_release, pd_compose_release_readme,
		pd_compose_release_dictionary,
	};
	const pd_text_style style = { .width = 80 };
	pd_error err;

	for (size_t k = 0; k < 3; k++) {
		pd_doc *d = NULL;
		pd_buf b;

		pd_buf_init(&b);
		ck_assert_int_eq(make_doc[k](r, &d, &err), PD_OK);
		ck_assert_int_eq(pd_doc_write_text(d, &style, &b, &err), PD_OK);
		no_needle(pd_buf_text(&b), needle, "prose");
		pd_buf_clear(&b);
		pd_doc_free(d);
	}
}

START_TEST(nothing_of_a_hostile_store)
{
	static const struct person p[] = { WOMAN(43), MAN(91), WOMAN(45),
		                           MAN(44), WOMAN(12), MAN(103) };
	const char *needle = hostile[_i].needle;
	pd_store *s = store_of(p, 6, "Quill_1962-03-04.csv");
	pd_release_work *w;
	pd_buf b;
	pd_error err;

	pd_store_close(s);
	ck_assert_msg(help_run(hostile[_i].sql) == SQLITE_OK, "%s",
	              hostile[_i].sql);
	s = help_open(PD_OPEN_INSPECT);
	/* seeded: drawn codes could spell a short needle by chance */
	w = make(s, (pd_release_request){ .smallest = 2, .only_warn = true,
	                                  .days = true, .batches = true,
	                                  .seeded = true, .seed = 11 });
	for (int k = 0; k < PD_RELEASE_TABLES; k++) {
		table_of(w, k, &b);
		ck_assert_uint_gt(b.length, 500);
		no_needle(pd_buf_text(&b), needle, "a table");
		no_needle(pd_buf_text(&b), "Quill", "a table");
		no_needle(pd_buf_text(&b), "04-17", "a table");
		no_needle(pd_buf_text(&b), "1962", "a table");
		/* born 1933 and 1921, aged 91 and 103 */
		no_needle(pd_buf_text(&b), ",1933,", "a table");
		no_needle(pd_buf_text(&b), ",1921,", "a table");
		no_needle(pd_buf_text(&b), ",103,", "a table");
		pd_buf_clear(&b);
	}
	pd_buf_init(&b);
	ck_assert_int_eq(pd_release_dictionary(pd_release_told(w), &b, &err),
	                 PD_OK);
	ck_assert_int_eq(pd_release_csv_about(pd_release_told(w), &b, &err),
	                 PD_OK);
	no_needle(pd_buf_text(&b), needle, "the description");
	pd_buf_clear(&b);
	groups_of(w);
	check_prose(pd_release_told(w), needle);
	pd_store_close(s);
}
END_TEST

START_TEST(codes_come_from_no_name)
{
	static const struct person p[] = { WOMAN(43), MAN(44), WOMAN(45) };
	const pd_release_request ask = { .smallest = 2, .only_warn = true,
		                         .seeded = true, .seed = 9 };
	pd_store *s = store_of(p, 3, "a.csv");
	pd_buf before, after;

	table_of(make(s, ask), PD_RELEASE_LONG, &before);
	pd_store_close(s);
	ck_assert_int_eq(help_run("UPDATE patients SET label = 'X' || "
	                          "patient_id; UPDATE cases SET label = 'Y' || "
	                          "case_id"), SQLITE_OK);
	s = help_open(PD_OPEN_INSPECT);
	table_of(make(s, ask), PD_RELEASE_LONG, &after);
	ck_assert_str_eq(pd_buf_text(&before), pd_buf_text(&after));
	pd_buf_clear(&before);
	pd_buf_clear(&after);
	pd_store_close(s);
}
END_TEST

/* ---- names kept by choice ------------------------------------------------------------- */

static const struct {
	const char *name;
	bool goes;
} method[] = {
	{ "lab v1", true }, { "flow 2, gate B", true }, { "CFU 14 d", true },
	{ "counted by hand; ask Ines", false }, { "a lot 77", false },
	{ "Serial 4", false }, { "v2024-03-04", false },
	{ "reader 04.03.2024", false }, { "kit 8812377", false },
	{ "ines@lab.example", false }, { "http://lab", false },
	{ "192.0.2.17", false }, { "one two three four five six seven", false },
	{ "Changed. New gate", false }, { "pilot", true },
};

START_TEST(names_of_methods)
{
	static const struct person p[] = { WOMAN(43), MAN(44), WOMAN(45) };
	const pd_release_request ask = { .date = "2026-03-05", .smallest = 2,
		                         .only_warn = true,
		                         .method_names = true };
	pd_store *s = store_of(p, 3, "a.csv");
	pd_release_work *w = NULL;
	pd_error err = { .text = "" };
	char sql[200];

	pd_store_close(s);
	snprintf(sql, sizeof sql, "UPDATE method_versions SET name = '%s' "
	         "WHERE name = 'lab v1'", method[_i].name);
	ck_assert_int_eq(help_run(sql), SQLITE_OK);
	s = help_open(PD_OPEN_INSPECT);
	pd_status st = pd_release_make(s, &ask, arena, &w, &err);

	ck_assert_msg(st == (method[_i].goes ? PD_OK : PD_REFUSED), "'%s': %s",
	              method[_i].name, err.text);
	if (!method[_i].goes)
		ck_assert_ptr_nonnull(strstr(err.text, "'method_version'"));
	pd_store_close(s);
}
END_TEST

/* ---- results ------------------------------------------------------------------------------ */

START_TEST(marks_stay_apart)
{
	static const char csv[] = KEYS "tnc_e6_per_ml,cd34_e3_per_ml,dish_1\n"
	    "M1,V1,2025-04-17,L,1,1,9.25,35.1,<2,0\n"
	    "M1,V1,2025-04-17,L,1,2,8.5,>150,ND,TNTC\n"
	    "M2,V2,2025-04-17,L,1,1,8.5,,not ordered,failed\n"
	    "M2,V2,2025-04-17,L,1,2,8.5,,,\n";
	static const char *const cell[] = {
		",tnc,35.1,measured,10*6/mL", ",cd34,2,below,10*3/mL",
		",dish_1,0,zero,[CFU]", ",tnc,150,above,10*6/mL",
		",cd34,,not detected,10*3/mL",
		",dish_1,,too many to count,[CFU]",
		",cd34,,not ordered,10*3/mL", ",dish_1,,failed,[CFU]",
	};
	pd_store *s = help_open(PD_OPEN_CREATE);
	help_load l = help_try(s, "a.csv", csv, 0);
	size_t lines = 0;
	pd_buf b;

	if (l.st != PD_OK)
		help_print(&l);
	ck_assert_int_eq(l.st, PD_OK);
	pd_findings_free(l.findings);
	pd_release_work *w = make(s, (pd_release_request){ .smallest = 2 });

	table_of(w, PD_RELEASE_LONG, &b);
	for (size_t k = 0; k < sizeof cell / sizeof *cell; k++)
		ck_assert_msg(strstr(pd_buf_text(&b), cell[k]) != NULL,
		              "no '%s' in\n%s", cell[k], pd_buf_text(&b));
	for (const char *c = pd_buf_text(&b); *c; c++)
		lines += *c == '\n';
	/* eight results, one pull with none, the heads */
	ck_assert_uint_eq(lines, 10);
	pd_buf_clear(&b);
	pd_store_close(s);
}
END_TEST

/* ---- key and chain ---------------------------------------------------------------------------- */

START_TEST(key_and_note)
{
	static const struct person p[] = { WOMAN(43), MAN(44), WOMAN(45) };
	static const char sha256[] = "5f70bf18a086007016e948b04aed3b82"
	                             "103a36bea41755b6cddfaf10ace3c6ef";
	pd_store *s = store_of(p, 3, "a.csv");
	pd_release_work *w = make(s, (pd_release_request){ .smallest = 2,
	                                                   .only_warn = true });
	pd_history h;
	pd_error err = { .text = "" };
	pd_buf key, table;
	char line[80];

	pd_buf_init(&key);
	ck_assert_int_eq(pd_release_key(w, &key, &err), PD_OK);
	table_of(w, PD_RELEASE_WIDE, &table);
	for (int i = 0; i < 3; i++) {
		snprintf(line, sizeof line, "patient\t%s\tM00%d\n",
		         w->code[RL_PATIENT][i], i);
		ck_assert_ptr_nonnull(strstr(pd_buf_text(&key), line));
		ck_assert_ptr_nonnull(strstr(pd_buf_text(&table),
		                             w->code[RL_PATIENT][i]));
	}
	ck_assert_int_eq(pd_release_note(s, w, sha256, "a registry", true,
	                                 &err), PD_OK);
	ck_assert_int_eq(pd_history_read(s, &(pd_history_request){
	                     .what = "release" }, arena, &h, &err), PD_OK);
	ck_assert_uint_eq(h.n_shown, 1);
	ck_assert_uint_eq(h.n_broken + h.n_gaps, 0);
	ck_assert_str_eq(h.row[h.n_rows - 1].what, "release");
	ck_assert_ptr_nonnull(strstr(h.row[h.n_rows - 1].words, "a registry"));
	ck_assert_ptr_nonnull(strstr(h.row[h.n_rows - 1].words,
	                             "5f70bf18a086"));
	/* the data are those of before: no new look, no other state */
	ck_assert_str_ne(h.data_state, h.head);
	pd_buf_clear(&key);
	pd_buf_clear(&table);
	pd_store_close(s);
}
END_TEST

#define COUNT(a) ((int)(sizeof(a) / sizeof *(a)))

int main(void)
{
	Suite *suite = suite_create("release");
	TCase *t = tcase_create("release");
	SRunner *r;
	int failed, run;

	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_loop_test(t, every_field_is_decided, 0, PD_N_FIELDS);
	tcase_add_test(t, no_field_beyond_the_list);
	tcase_add_loop_test(t, ages_in_bands_and_years, 0, COUNT(ages));
	tcase_add_test(t, body_mass_in_bands);
	tcase_add_test(t, codes_differ_and_have_a_digit);
	tcase_add_test(t, large_groups_stay);
	tcase_add_test(t, one_field_is_enough);
	tcase_add_test(t, leftovers_get_company);
	tcase_add_test(t, only_told);
	tcase_add_test(t, too_few_patients);
	tcase_add_loop_test(t, any_store, 0, 6);
	tcase_add_test(t, events_are_merged);
	tcase_add_test(t, counted_by_hand);
	tcase_add_loop_test(t, no_table, 0, 4);
	tcase_add_loop_test(t, nothing_of_a_hostile_store, 0, COUNT(hostile));
	tcase_add_test(t, codes_come_from_no_name);
	tcase_add_loop_test(t, names_of_methods, 0, COUNT(method));
	tcase_add_test(t, marks_stay_apart);
	tcase_add_test(t, key_and_note);
	tcase_set_timeout(t, 120);
	suite_add_tcase(suite, t);
	r = srunner_create(suite);
	srunner_run_all(r, CK_NORMAL);
	failed = srunner_ntests_failed(r);
	run = srunner_ntests_run(r);
	srunner_free(r);
	printf("%d passed, %d failed\n", run - failed, failed);
	return failed != 0;
}
