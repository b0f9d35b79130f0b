/*
 * check_cli.c - the option tables and their parser: names unique, values
 * read, near misses suggested, wrong use refused.
 */
#include "../cli/command.h"
#include "../cli/day.h"
#include "../cli/out.h"
#include "../cli/say.h"
#include "../cli/tsv.h"
#include "base/scan.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- every table ----------------------------------------------------- */

static void check_pair(const char *command, const struct opt *a,
                       const struct opt *b)
{
	ck_assert_msg(strcmp(a->name, b->name) != 0, "%s: --%s twice", command,
	              a->name);
	ck_assert_msg(!a->letter || a->letter != b->letter,
	              "%s: -%c is --%s and --%s", command, a->letter, a->name,
	              b->name);
}

START_TEST(table_names_are_unique)
{
	size_t n_commands = 0, n_options = 0;

	for (size_t i = 0; commands[i]; i++, n_commands++) {
		const struct command *c = commands[i];

		for (size_t k = i + 1; commands[k]; k++)
			ck_assert_str_ne(c->name, commands[k]->name);
		for (const struct opt *a = c->opts; a->name; a++, n_options++) {
			for (const struct opt *b = a + 1; b->name; b++)
				check_pair(c->name, a, b);
			for (const struct opt *b = opt_common; b->name; b++)
				check_pair(c->name, a, b);
		}
	}
	ck_assert_uint_ge(n_commands, 4);
	ck_assert_uint_ge(n_options, 30);
}
END_TEST

static size_t field_size(enum opt_kind kind)
{
	switch (kind) {
	case OPT_FLAG:
		return sizeof(bool);
	case OPT_TEXT:
		return sizeof(const char *);
	case OPT_REAL:
		return sizeof(double);
	case OPT_WHOLE:
		return sizeof(unsigned);
	case OPT_CHOICE:
		return sizeof(int);
	}
	return 0;
}

START_TEST(table_fields_do_not_overlap)
{
	for (size_t i = 0; commands[i]; i++) {
		const struct command *c = commands[i];
		unsigned char *used = calloc(1, c->size);

		ck_assert_ptr_nonnull(used);
		for (const struct opt *o = c->opts; o->name; o++) {
			size_t n = field_size(o->kind);

			ck_assert_msg(o->offset + n <= c->size,
			              "%s --%s is past the struct", c->name,
			              o->name);
			for (size_t k = 0; k < n; k++)
				ck_assert_msg(!used[o->offset + k]++,
				              "%s --%s shares its field",
				              c->name, o->name);
			ck_assert_msg((o->kind == OPT_FLAG) == !o->value,
			              "%s --%s: a value word or a flag",
			              c->name, o->name);
			ck_assert_uint_le(strlen(o->words), 52);
		}
		free(used);
	}
}
END_TEST

START_TEST(table_fits_the_parser)
{
	for (size_t i = 0; commands[i]; i++) {
		size_t n = 0;

		while (commands[i]->opts[n].name)
			n++;
		ck_assert_uint_le(n, 64); /* struct walk, given[]             */
	}
}
END_TEST

/* ---- the parser ------------------------------------------------------ */

struct sample {
	const char *db;
	bool quiet, force;
	double level;
	unsigned width;
	int format;
};

static const struct opt sample_opts[] = {
	{ "db", 'd', OPT_TEXT, true, offsetof(struct sample, db), "FILE", "" },
	{ "quiet", 'q', OPT_FLAG, false, offsetof(struct sample, quiet), NULL,
	  "" },
	{ "force", 'f', OPT_FLAG, false, offsetof(struct sample, force), NULL,
	  "" },
	{ "level", 0, OPT_REAL, false, offsetof(struct sample, level), "P",
	  "" },
	{ "width", 'w', OPT_WHOLE, false, offsetof(struct sample, width), "N",
	  "" },
	{ "format", 0, OPT_CHOICE, false, offsetof(struct sample, format),
	  "text|html|tsv", "" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

enum { MOST_WORDS = 8 };

static enum opt_end parse(const char *const *words, struct sample *s,
                          struct operands *rest, char **argv)
{
	size_t n = 0;

	memset(s, 0, sizeof *s);
	for (; n < MOST_WORDS && words[n]; n++)
		argv[n] = (char *)(uintptr_t)words[n];
	return opt_parse(sample_opts, s, argv, n, rest);
}

START_TEST(parser_reads_every_kind)
{
	static const char *const words[] = { "one.csv", "--db=a=b.db", "-qf",
		                             "--level", "0.93", "-w72",
		                             "--format=html", "two.csv" };
	char *argv[MOST_WORDS];
	struct sample s;
	struct operands rest;

	ck_assert_int_eq(parse(words, &s, &rest, argv), OPT_RUN);
	ck_assert_str_eq(s.db, "a=b.db");
	ck_assert(s.quiet && s.force);
	ck_assert_double_eq(s.level, 0.93);
	ck_assert_uint_eq(s.width, 72);
	ck_assert_int_eq(s.format, 2);
	ck_assert_uint_eq(rest.n, 2);
	ck_assert_str_eq(rest.at[0], "one.csv");
	ck_assert_str_eq(rest.at[1], "two.csv");
}
END_TEST

START_TEST(parser_leaves_defaults)
{
	static const char *const words[] = { "-d", "x.db", "--", "--quiet", "-",
		                             NULL };
	char *argv[MOST_WORDS];
	struct sample s;
	struct operands rest;

	ck_assert_int_eq(parse(words, &s, &rest, argv), OPT_RUN);
	ck_assert_str_eq(s.db, "x.db");
	ck_assert(!s.quiet && !s.force && isnan(s.level));
	ck_assert_uint_eq(s.width, 0);
	ck_assert_int_eq(s.format, 0);
	ck_assert_uint_eq(rest.n, 2);
	ck_assert_str_eq(rest.at[0], "--quiet");
	ck_assert_str_eq(rest.at[1], "-");
}
END_TEST

static const struct {
	const char *name;
	const char *words[MOST_WORDS];
	enum opt_end end;
} ends[] = {
	{ "missing db", { "--quiet" }, OPT_WRONG },
	{ "cut-off name", { "--db", "x", "--qui" }, OPT_WRONG },
	{ "unknown letter", { "--db", "x", "-z" }, OPT_WRONG },
	{ "value for a flag", { "--db", "x", "--quiet=yes" }, OPT_WRONG },
	{ "no value at the end", { "--db" }, OPT_WRONG },
	{ "empty text", { "--db=" }, OPT_WRONG },
	{ "twice", { "--db", "x", "-d", "y" }, OPT_WRONG },
	{ "flag twice", { "--db", "x", "-qq" }, OPT_WRONG },
	{ "level not a number", { "--db", "x", "--level", "0,95" }, OPT_WRONG },
	{ "level nan", { "--db", "x", "--level", "nan" }, OPT_WRONG },
	{ "level huge", { "--db", "x", "--level", "1e999" }, OPT_WRONG },
	{ "width negative", { "--db", "x", "--width", "-3" }, OPT_WRONG },
	{ "width zero", { "--db", "x", "--width", "0" }, OPT_WRONG },
	{ "width not whole", { "--db", "x", "--width", "7.5" }, OPT_WRONG },
	{ "format unknown", { "--db", "x", "--format", "pdf" }, OPT_WRONG },
	{ "format cut off", { "--db", "x", "--format", "htm" }, OPT_WRONG },
	{ "format empty", { "--db", "x", "--format", "" }, OPT_WRONG },
	{ "help needs nothing", { "--help" }, OPT_HELP },
	{ "help by letter", { "-h" }, OPT_HELP },
	{ "version", { "--version" }, OPT_VERSION },
	{ "first of both", { "-V", "--help" }, OPT_VERSION },
	{ "long unknown name", { "--db", "x",
	  "--aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa" },
	  OPT_WRONG },
};

START_TEST(parser_ends)
{
	char *argv[MOST_WORDS];
	struct sample s;
	struct operands rest;

	ck_assert_msg(parse(ends[_i].words, &s, &rest, argv) == ends[_i].end,
	              "%s", ends[_i].name);
}
END_TEST

static const struct {
	const char *a, *b;
	size_t distance;
	bool near;
} nearness[] = {
	{ "format", "format", 0, true },
	{ "formta", "format", 1, true },  /* two letters swapped */
	{ "frmat", "format", 1, true },
	{ "foremat", "format", 1, true },
	{ "firnat", "format", 2, true },
	{ "plan", "level", 5, false },
	{ "re", "db", 2, false },
	{ "rev", "review", 3, true },     /* cut off */
	{ "", "db", 2, false },
};

START_TEST(near_misses)
{
	const char *a = nearness[_i].a, *b = nearness[_i].b;

	ck_assert_uint_eq(pd_word_distance(a, strlen(a), b),
	                  nearness[_i].distance);
	ck_assert_uint_eq(pd_word_distance(b, strlen(b), a),
	                  nearness[_i].distance);
	ck_assert(pd_near_is(a, b) == nearness[_i].near);
}
END_TEST

/* The closest is suggested, of equally close ones the first; a far name or
 * one too long for a message is not. */
START_TEST(nearest_is_suggested)
{
	pd_near near = { .given = "sit" };
	pd_near far = { .given = "volume" };
	char longer[80] = "volume";

	pd_near_try(&near, "side");
	ck_assert_str_eq(pd_near_words(&near), "; did you mean 'side'?");
	pd_near_try(&near, "site");
	pd_near_try(&near, "sitz");
	ck_assert_str_eq(pd_near_words(&near), "; did you mean 'site'?");
	pd_near_try(&far, "needle");
	ck_assert_str_eq(pd_near_words(&far), "");
	memset(longer + 6, 'x', 70);
	pd_near_try(&far, longer); /* "volume" is its beginning */
	ck_assert_ptr_nonnull(far.best);
	ck_assert_str_eq(pd_near_words(&far), "");
}
END_TEST

/* ---- dates ------------------------------------------------------------ */

static const struct {
	const char *given, *epoch, *iso; /* iso NULL: refused */
} days[] = {
	{ "2024-02-29", NULL, "2024-02-29" },
	{ "2023-02-29", NULL, NULL },
	{ "1900-02-29", NULL, NULL },
	{ "2000-02-29", NULL, "2000-02-29" },
	{ "2025-13-01", NULL, NULL },
	{ "2025-00-10", NULL, NULL },
	{ "2025-04-31", NULL, NULL },
	{ "2025-4-3", NULL, NULL },
	{ "01.10.2025", NULL, NULL },
	{ "2025-10-01x", NULL, NULL },
	{ "", NULL, NULL },
	{ NULL, "0", "1970-01-01" },
	{ NULL, "86399", "1970-01-01" },
	{ NULL, "86400", "1970-01-02" },
	{ NULL, "1759276800", "2025-10-01" },
	{ NULL, "4102444800", "2100-01-01" },
	{ NULL, "-1", NULL },
	{ NULL, "soon", NULL },
	{ NULL, "99999999999999999999", NULL },
	{ "2025-10-02", "0", "2025-10-02" },
};

START_TEST(day_of_the_reading)
{
	struct day d;
	pd_error err = { 0 };

	if (days[_i].epoch)
		setenv("SOURCE_DATE_EPOCH", days[_i].epoch, 1);
	else
		unsetenv("SOURCE_DATE_EPOCH");
	pd_status st = day_choose(days[_i].given, &d, &err);

	unsetenv("SOURCE_DATE_EPOCH");
	ck_assert_msg((st == PD_OK) == (days[_i].iso != NULL), "%s: %s",
	              days[_i].given ? days[_i].given : days[_i].epoch,
	              err.text);
	if (st == PD_OK)
		ck_assert_str_eq(d.iso, days[_i].iso);
	else
		ck_assert_int_eq(st, PD_USAGE);
}
END_TEST

/* ---- text made safe -------------------------------------------------- */

static const struct {
	const char *text, *clean;
} texts[] = {
	{ "plain \xc2\xb5L \xe2\x89\xa5 2", "plain \xc2\xb5L \xe2\x89\xa5 2" },
	{ "\x1b[31mred\x1b[0m", "\\x1b[31mred\\x1b[0m" },
	{ "a\tb\nc\rd", "a\\x09b\\x0ac\\x0dd" },
	{ "\x7f", "\\x7f" },
	{ "\xc2\x9b" "31m", "\\x9b31m" },             /* C1 CSI           */
	{ "\xe2\x80\xae" "evil", "\\u202e" "evil" },  /* right to left    */
	{ "\xef\xbb\xbf" "bom", "\\ufeff" "bom" },
	{ "\xff\xfe", "\\xff\\xfe" },
	{ "\xe2\x82", "\\xe2\\x82" },                 /* cut off          */
	{ "\xc0\x80", "\\xc0\\x80" },                 /* overlong         */
	{ "\xed\xa0\x80", "\\xed\\xa0\\x80" },        /* surrogate        */
	{ "\xf0\x9f\xa7\xaa", "\xf0\x9f\xa7\xaa" },
	{ "\xf4\x90\x80\x80", "\\xf4\\x90\\x80\\x80" },
	{ "", "" },
};

START_TEST(text_for_terminals)
{
	char *got = NULL;
	size_t n = 0;
	FILE *to = open_memstream(&got, &n);

	ck_assert_ptr_nonnull(to);
	say_clean(texts[_i].text, to);
	fclose(to);
	ck_assert_str_eq(got, texts[_i].clean);
	free(got);
}
END_TEST

/* ---- files ------------------------------------------------------------ */

static char folder[] = "/tmp/perdraw-cli.XXXXXX";
static char path[64], other[64];

static void make_folder(void)
{
	strcpy(folder + sizeof folder - 7, "XXXXXX");
	ck_assert_ptr_nonnull(mkdtemp(folder));
	snprintf(path, sizeof path, "%s/out.txt", folder);
	snprintf(other, sizeof other, "%s/in.txt", folder);
}

static void remove_folder(void)
{
	unlink(path);
	unlink(other);
	ck_assert_int_eq(rmdir(folder), 0); /* no temporary file is left */
}

static void file_holds(const char *text)
{
	char got[64] = "";
	FILE *f = fopen(path, "r");

	ck_assert_ptr_nonnull(f);
	got[fread(got, 1, sizeof got - 1, f)] = '\0';
	fclose(f);
	ck_assert_str_eq(got, text);
}

START_TEST(files_are_whole_and_kept)
{
	pd_error err = { 0 };

	ck_assert_int_eq(out_check(path, false, NULL, 0, &err), PD_OK);
	ck_assert_int_eq(out_write(path, false, "first", 5, &err), PD_OK);
	file_holds("first");
	ck_assert_int_eq(out_check(path, false, NULL, 0, &err),
	                 PD_CANNOT_CREATE);
	ck_assert_int_eq(out_write(path, false, "second", 6, &err),
	                 PD_CANNOT_CREATE);
	file_holds("first");
	ck_assert_int_eq(out_check(path, true, NULL, 0, &err), PD_OK);
	ck_assert_int_eq(out_write(path, true, "third", 5, &err), PD_OK);
	file_holds("third");
}
END_TEST

START_TEST(inputs_are_never_replaced)
{
	const char *keep[] = { NULL, other };
	pd_error err = { 0 };

	ck_assert_int_eq(out_write(other, false, "data", 4, &err), PD_OK);
	ck_assert_int_eq(link(other, path), 0);
	ck_assert_int_eq(out_check(path, true, keep, 2, &err),
	                 PD_CANNOT_CREATE);
	ck_assert_ptr_nonnull(strstr(err.text, "is an input"));
	ck_assert_int_eq(out_check("/dev/null", true, NULL, 0, &err),
	                 PD_CANNOT_CREATE);
	ck_assert_int_eq(out_check(folder, true, NULL, 0, &err),
	                 PD_CANNOT_CREATE);
}
END_TEST

START_TEST(files_in_no_folder)
{
	pd_error err = { 0 };

	ck_assert_int_eq(out_write("/nowhere/at/all", false, "x", 1, &err),
	                 PD_CANNOT_CREATE);
	ck_assert_ptr_nonnull(strstr(err.text, "/nowhere/at/all"));
}
END_TEST

/* ---- tab-parted lines ------------------------------------------------ */

START_TEST(tsv_lines)
{
	pd_effect effects[2] = {
		{ .label = "10 mL\tagainst 50 mL", .value = 1.0 / 3,
		  .low = 0.25, .high = 0.5, .log = { .p = 0.001 },
		  .p_adjusted = NAN, .verdict = PD_WORSE },
		{ .label = "per year", .value = 1.02, .low = 0.99,
		  .high = INFINITY, .log = { .p = NAN }, .p_adjusted = 0.5,
		  .verdict = PD_NO_MATTER },
	};
	pd_answer answers[3] = {
		{ .name = "syringe", .n_effects = 1, .effect = &effects[0] },
		{ .name = "none", .refusal = "too few patients" },
		{ .name = "drift", .n_effects = 1, .effect = &effects[1],
		  .not_a_choice = true },
	};
	pd_review review = { .n_answers = 3, .answer = answers };
	pd_buf text;

	pd_buf_init(&text);
	tsv_write(&review, &text);
	ck_assert_str_eq(
	    pd_buf_text(&text),
	    "question\teffect\tvalue\tlow\thigh\tp\tp_adjusted\tverdict\n"
	    "syringe\t10 mL against 50 mL\t0.33333333333333331\t0.25\t0.5\t"
	    "0.001\t\tworse\n"
	    "none\t\t\t\t\t\t\tno answer\n"
	    "drift\tper year\t1.02\t0.98999999999999999\t\t\t0.5\t"
	    "no difference that matters\n");
	pd_buf_reset(&text);
	answers[2].unsupported = true;
	tsv_write(&review, &text);
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&text),
	                             "\tno difference that matters "
	                             "(unsupported)\n"));
	pd_buf_clear(&text);
}
END_TEST

#define ROWS(table) (int)(sizeof table / sizeof *table)

int main(void)
{
	Suite *s = suite_create("cli");
	TCase *t = tcase_create("options"), *f = tcase_create("files");

	tcase_add_test(t, table_names_are_unique);
	tcase_add_test(t, table_fields_do_not_overlap);
	tcase_add_test(t, table_fits_the_parser);
	tcase_add_test(t, parser_reads_every_kind);
	tcase_add_test(t, parser_leaves_defaults);
	tcase_add_loop_test(t, parser_ends, 0, ROWS(ends));
	tcase_add_loop_test(t, near_misses, 0, ROWS(nearness));
	tcase_add_test(t, nearest_is_suggested);
	tcase_add_loop_test(t, day_of_the_reading, 0, ROWS(days));
	tcase_add_loop_test(t, text_for_terminals, 0, ROWS(texts));
	tcase_add_test(t, tsv_lines);
	tcase_add_checked_fixture(f, make_folder, remove_folder);
	tcase_add_test(f, files_are_whole_and_kept);
	tcase_add_test(f, inputs_are_never_replaced);
	tcase_add_test(f, files_in_no_folder);
	suite_add_tcase(s, t);
	suite_add_tcase(s, f);
	SRunner *r = srunner_create(s);

	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	printf("%d passed, %d failed\n", srunner_ntests_run(r) - failed,
	       failed);
	srunner_free(r);
	return failed ? 1 : 0;
}
