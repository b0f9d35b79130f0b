/*
 * check_reading.c - from a file's bytes to batches and findings.
 * Known answers are our own reading of RFC 4180 and of docs/map-file.md;
 * properties hold for any data.
 */
#include "reading_help.h"
#include "data/csv.h"
#include "reading_cases.h"

START_TEST(bad_input_is_found_where_it_is)
{
	const struct reading_case *c = &reading_cases[_i];
	pd_buf told;

	pd_buf_init(&told);
	size_t kept = read_all(c->map, c->csv, c->size ? c->size : strlen(c->csv),
	                       test_key, NULL, &told, NULL);

	ck_assert_msg(strcmp(pd_buf_text(&told), c->findings) == 0,
	              "%s:\n  told     %s\n  expected %s", c->name,
	              pd_buf_text(&told), c->findings);
	ck_assert_msg(kept == c->kept, "%s: kept %zu, expected %zu", c->name,
	              kept, c->kept);
	pd_buf_clear(&told);
}
END_TEST

/* tests/bad: whole files with their maps and a list of what they hold. */
START_TEST(bad_files)
{
	size_t size, n;
	char *list = slurp("tests/bad/EXPECTED", &size), *save = NULL;
	size_t files = 0;

	for (char *line = strtok_r(list, "\n", &save); line;
	     line = strtok_r(NULL, "\n", &save)) {
		char name[64], map_name[64], path[160], want[2000] = "";
		char *csv, *map = NULL;
		pd_buf told;

		if (line[0] == '#')
			continue;
		ck_assert_int_ge(sscanf(line, "%63s %63s %1999[^\n]", name,
		                        map_name, want), 2);
		snprintf(path, sizeof path, "tests/bad/%s", name);
		csv = slurp(path, &n);
		if (strcmp(map_name, "-") != 0) {
			snprintf(path, sizeof path, "tests/bad/%s", map_name);
			map = slurp(path, &size);
		}
		pd_buf_init(&told);
		read_all(map, csv, n, test_key, NULL, &told, NULL);
		ck_assert_msg(strcmp(pd_buf_text(&told), want) == 0,
		              "%s:\n  told     %s\n  expected %s", name,
		              pd_buf_text(&told), want);
		pd_buf_clear(&told);
		free(csv);
		free(map);
		files++;
	}
	ck_assert_uint_ge(files, 6);
	free(list);
}
END_TEST

START_TEST(pseudonyms_need_a_key)
{
	static const char map[] = "[file]\npseudonym = patient, case\n";
	static const char csv[] = H "\n" K "\n";
	pd_buf told, rows, kept, again;

	pd_buf_init(&told);
	pd_buf_init(&rows);
	pd_buf_init(&kept);
	pd_buf_init(&again);
	read_all(map, csv, strlen(csv), NULL, NULL, &told, NULL);
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&told),
	                             "0:0:pseudonym-key-missing"));
	pd_buf_reset(&told);
	ck_assert_uint_eq(read_all(map, csv, strlen(csv), test_key, &rows,
	                           &told, &kept), 1);
	ck_assert_str_eq(pd_buf_text(&told), "");
	ck_assert_ptr_null(strstr(pd_buf_text(&rows), "'P1'"));
	ck_assert_ptr_null(strstr(pd_buf_text(&kept), "P1,C1"));
	/* what is kept reads as the same rows without a pseudonym asked for */
	read_all(NULL, pd_buf_text(&kept), kept.length, NULL, &again, &told,
	         NULL);
	ck_assert_str_eq(pd_buf_text(&again), pd_buf_text(&rows));
	pd_buf_clear(&told);
	pd_buf_clear(&rows);
	pd_buf_clear(&kept);
	pd_buf_clear(&again);
}
END_TEST

START_TEST(kept_text_hides_cells_not_lines)
{
	static const char map[] = "[columns]\nSurname = ignore\n"
	                          "notes = ignore\n";
	static const char csv[] = "notes," H ",Surname\r\n"
	    "\"seen by\nDr. Beispiel\"," K ",Muster\r\n"
	    " plain ," K ",\"Muster, Max\"\r\n";
	static const char want[] = "notes," H ",Surname\r\n"
	    "\"\n\"," K ",\r\n"
	    "," K ",\r\n";
	pd_buf kept;

	pd_buf_init(&kept);
	read_all(map, csv, strlen(csv), NULL, NULL, NULL, &kept);
	ck_assert_str_eq(pd_buf_text(&kept), want);
	pd_buf_reset(&kept);
	read_all(NULL, H "\n" K "\n", strlen(H "\n" K "\n"), NULL, NULL,
	         NULL, &kept);
	ck_assert_str_eq(pd_buf_text(&kept), H "\n" K "\n");
	pd_buf_clear(&kept);
}
END_TEST

/* Seven states and zero; the number of a limit; every spelling known. */
START_TEST(states_stay_apart)
{
	static const struct { const char *cell; pd_state state; double x; }
	row[] = {
		{ "36", PD_MEASURED, 36 },      { "0", PD_MEASURED, 0 },
		{ "<2", PD_BELOW, 2 },          { "< 2.5", PD_BELOW, 2.5 },
		{ "<=2", PD_BELOW, 2 },         { "\xe2\x89\xa4 2", PD_BELOW, 2 },
		{ ">150", PD_ABOVE, 150 },      { ">= 150", PD_ABOVE, 150 },
		{ "\xe2\x89\xa5" "150", PD_ABOVE, 150 },
		{ "TNTC", PD_UNCOUNTABLE, NAN }, { "tntc", PD_UNCOUNTABLE, NAN },
		{ "confluent", PD_UNCOUNTABLE, NAN },
		{ "failed", PD_FAILED, NAN },   { "Contaminated", PD_FAILED, NAN },
		{ "not ordered", PD_NOT_ORDERED, NAN },
		{ "ND", PD_NOT_DETECTED, NAN }, { "not detected", PD_NOT_DETECTED, NAN },
		{ "", PD_BLANK, NAN },          { "-9", PD_BLANK, NAN },
		{ "n/a", PD_BLANK, NAN },       { "lost", PD_FAILED, NAN },
		{ "omitted", PD_BLANK, NAN },   { "8e1", PD_MEASURED, 80 },
	};
	static const char map[] = "[file]\nmissing = -9, NA, n/a\n"
	    "[values cfu_f_per_e6]\nlost = failed\nomitted = missing\n";
	char csv[200];

	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		pd_map *m = NULL;
		pd_reader *r = NULL;
		pd_findings *f = pd_findings_new();
		const pd_batch *b = NULL;

		snprintf(csv, sizeof csv, H ",cfu_f_per_e6\n" K ",%s\n",
		         row[i].cell);
		pd_map_parse(map, strlen(map), "map", &m, NULL);
		pd_reader_open(csv, strlen(csv), m, NULL, f, &r, NULL);
		pd_reader_next(r, &b, NULL);
		ck_assert_msg(b->n_rows == 1, "'%s'", row[i].cell);
		ck_assert_int_eq(b->cell[PD_F_CFU_F_E6].state[0], row[i].state);
		double x = b->cell[PD_F_CFU_F_E6].number[0];

		ck_assert_msg(x == row[i].x || (isnan(x) && isnan(row[i].x)),
		              "'%s' gave %g", row[i].cell, x);
		ck_assert_uint_eq(pd_findings_count(f, PD_ERROR), 0);
		pd_reader_close(r);
		pd_findings_free(f);
		pd_map_free(m);
	}
}
END_TEST

/* Labels of a whole batch, more than one piece of memory holds. */
START_TEST(labels_last_until_the_next_batch)
{
	static const char map[] = "[file]\npseudonym = operator\n"
	    "[constant]\nmethod_version = lab-a 1\noperator = kim\n";
	char label[120];
	pd_buf csv;
	pd_map *m = NULL;
	pd_reader *r = NULL;
	pd_findings *f = pd_findings_new();
	const pd_batch *b = NULL;
	unsigned row = 0;

	pd_buf_init(&csv);
	pd_buf_add(&csv, H ",needle\n");
	for (unsigned i = 0; i < 9000; i++)
		pd_buf_print(&csv, K ",%s needle no. %0*u\n", /* a third bad */
		             i % 3 ? "a" : "\"b\"", (int)(i % 60) + 1, i);
	pd_map_parse(map, strlen(map), "m", &m, NULL);
	pd_reader_open(pd_buf_text(&csv), csv.length, m, test_key, f, &r,
	               NULL);
	do {
		ck_assert_int_eq(pd_reader_next(r, &b, NULL), PD_OK);
		for (size_t i = 0; i < b->n_rows; i++, row++) {
			row += row % 3 == 0;
			snprintf(label, sizeof label, "a needle no. %0*u",
			         (int)(row % 60) + 1, row);
			ck_assert_str_eq(b->cell[PD_F_NEEDLE].text[i], label);
			ck_assert_uint_eq(b->cell[PD_F_NEEDLE].length[i],
			                  strlen(label));
			ck_assert_str_eq(b->cell[PD_F_METHOD_VERSION].text[i],
			                 "lab-a 1");
			ck_assert_uint_eq(b->cell[PD_F_OPERATOR].length[i], 21);
		}
	} while (b->n_rows);
	ck_assert_uint_eq(row, 9000);
	ck_assert_uint_eq(pd_findings_count(f, PD_ERROR), 3000);
	ck_assert_uint_eq(pd_reader_rows(r), 9000);
	pd_reader_close(r);
	pd_findings_free(f);
	pd_map_free(m);
	pd_buf_clear(&csv);
}
END_TEST

START_TEST(places_can_be_asked_for_later)
{
	pd_buf csv;
	pd_map *m = NULL;
	pd_reader *r = NULL;
	pd_findings *f = pd_findings_new();
	const pd_batch *b = NULL;
	uint32_t line, column, rows = 0;

	pd_buf_init(&csv);
	pd_buf_add(&csv, "needle," H ",volume_ml\n");
	for (int i = 0; i < 10000; i++) {
		if (i == 4500)
			pd_buf_add(&csv, "\n\n");
		pd_buf_print(&csv, "N%d," K ",5\n", i);
	}
	pd_map_parse(NULL, 0, "m", &m, NULL);
	pd_reader_open(pd_buf_text(&csv), csv.length, m, NULL, f, &r, NULL);
	do {
		ck_assert_int_eq(pd_reader_next(r, &b, NULL), PD_OK);
		rows += (uint32_t)b->n_rows;
		if (b->n_rows) { /* a row of the batch at hand */
			pd_reader_place(r, b->line[b->n_rows - 1], PD_F_VOLUME,
			                &line, &column);
			ck_assert_uint_eq(line, b->line[b->n_rows - 1]);
			ck_assert_uint_ge(column, 30);
		}
	} while (b->n_rows);
	ck_assert_uint_eq(rows, 10000);
	pd_reader_place(r, 2, PD_F_VOLUME, &line, &column);
	ck_assert(line == 2 && column == 3 + 26 + 1);
	pd_reader_place(r, 4002, PD_F_PATIENT, &line, &column);
	ck_assert(line == 4002 && column == 7);
	pd_reader_place(r, 9004, PD_F_CASE, &line, &column);
	ck_assert(line == 9004 && column == 10);
	pd_reader_place(r, 9004, PD_F_TNC, &line, &column);
	ck_assert_uint_eq(column, 0);
	pd_reader_close(r);
	pd_findings_free(f);
	pd_map_free(m);
	pd_buf_clear(&csv);
}
END_TEST

/* ---- limits of size ---- */
START_TEST(sizes_have_limits)
{
	pd_buf csv, told;

	pd_buf_init(&csv);
	pd_buf_init(&told);
	pd_buf_add(&csv, H ",needle\n" K ",");
	pd_buf_repeat(&csv, "x", PD_CSV_CELL + 1);
	pd_buf_add(&csv, "\n" K ",\"");
	pd_buf_repeat(&csv, "y", PD_CSV_CELL + 1);
	pd_buf_add(&csv, "\"\n" K ",ok\n");
	pd_buf_repeat(&csv, ",", PD_CSV_COLUMNS);
	pd_buf_add(&csv, "\n");
	for (int i = 0; i < 70; i++) {
		pd_buf_repeat(&csv, "z", 16000);
		pd_buf_char(&csv, ',');
	}
	pd_buf_add(&csv, "\n");
	ck_assert_uint_eq(read_all(NULL, pd_buf_text(&csv), csv.length, NULL,
	                           NULL, &told, NULL), 1);
	ck_assert_str_eq(pd_buf_text(&told),
	                 "2:27:cell-too-long 3:27:cell-too-long "
	                 "5:1:too-many-columns 6:1:record-too-long");
	pd_buf_clear(&csv);
	pd_buf_clear(&told);
}
END_TEST

/* ---- properties ---- */

/* How a file may be dressed without changing what it says. */
struct dress {
	char delimiter, decimal;
	const char *line_end;
	bool mark;
	unsigned quote_one_in; /* 0: only where needed                       */
	unsigned units;        /* which set of units                         */
	bool blanks;
};

static void put_cell(pd_buf *out, const struct dress *d, const char *text)
{
	bool must = strchr(text, d->delimiter) || strchr(text, '"');
	bool quote = must || (d->quote_one_in && below(d->quote_one_in) == 0);

	if (d->blanks && !quote && below(3) == 0)
		pd_buf_add(out, d->delimiter == '\t' ? " " : " \t");
	if (quote)
		pd_buf_char(out, '"');
	for (; *text; text++) {
		if (*text == '"')
			pd_buf_char(out, '"');
		pd_buf_char(out, *text);
	}
	if (quote)
		pd_buf_char(out, '"');
	if (d->blanks && below(3) == 0)
		pd_buf_char(out, ' ');
}

/* digits * 10^-decimals written with the mark, shifted by a power of ten. */
static const char *decimal(long digits, int decimals, const struct dress *d,
                           char out[64])
{
	char text[48];
	int n = snprintf(text, sizeof text, "%015ld", digits), k = 0, at;

	if (decimals <= 0) {
		snprintf(out, 64, "%ld%.*s", digits, -decimals, "000000000000");
		return out;
	}
	at = n - decimals;
	for (int i = 0, lead = 1; i < n; i++) {
		if (i == at)
			out[k++] = d->decimal;
		lead &= text[i] == '0' && i < at - 1;
		if (!lead)
			out[k++] = text[i];
	}
	out[k] = '\0';
	return out;
}

/* One file of n rows; the same seed gives the same content in any dress. */
static void make_file(pd_buf *out, const struct dress *d, unsigned n)
{
	static const char *const heads[] = { "patient", "case", "case_date",
		"side", "site_no", "aliquot_no", "needle", "vol", "TNC", "via",
		"rbc", "plated", "dish_1", "CFU" };
	static const int tnc_shift[] = { 0, 3, 6, -1 };
	static const int via_shift[] = { 0, 0, -2, -2 };
	static const int rbc_shift[] = { 0, 6, 0, 0 };
	static const int cfu_shift[] = { 0, -1, 0, -4 };
	static const int plated_shift[] = { 0, -5, -6, 0 };
	static const char *const sides[] = { "left", "R", "links" };
	uint64_t content = 123456789; /* must not depend on the dress */
	char t[64];

	if (d->mark)
		pd_buf_add(out, "\xef\xbb\xbf");
	for (size_t j = 0; j < sizeof heads / sizeof *heads; j++) {
		if (j)
			pd_buf_char(out, d->delimiter);
		put_cell(out, d, heads[j]);
	}
	pd_buf_add(out, d->line_end);
	for (unsigned i = 0; i < n; i++) {
		long tnc = 10000 + next_below(&content, 60000),
		     via = 600 + next_below(&content, 400),
		     rbc = 30 + next_below(&content, 20),
		     plated = 1 + next_below(&content, 9);
		unsigned side = next_below(&content, 3),
		         odd = next_below(&content, 12),
		         dish = next_below(&content, 60);
		char room[14][64];

		snprintf(room[0], 64, "P%03u", i / 9);
		snprintf(room[1], 64, "C%03u \"x; y, z\"", i / 6);
		snprintf(room[2], 64, "%04u-%02u-%02u", 2015 + i % 9,
		         1 + i % 12, 1 + i % 28);
		snprintf(room[3], 64, "%s", sides[side]);
		snprintf(room[4], 64, "%u", 1 + i % 6 / 2);
		snprintf(room[5], 64, "%u", 1 + i % 2);
		snprintf(room[6], 64, "needle; %u", i % 3);
		decimal(10 + i % 70, 1, d, room[7]);
		decimal(tnc, 3 - tnc_shift[d->units], d, room[8]);
		decimal(via, 1 - via_shift[d->units], d, room[9]);
		decimal(rbc, 1 - rbc_shift[d->units], d, room[10]);
		decimal(plated * 100000, -plated_shift[d->units], d, room[11]);
		snprintf(room[12], 64, "%u", dish);
		snprintf(room[13], 64, "%s",
		         decimal((long)dish * 7 + 10, 1 - cfu_shift[d->units],
		                 d, t));
		if (odd == 0)
			snprintf(room[8], 64, "<%s",
			         decimal(15, 1 - tnc_shift[d->units], d, t));
		if (odd == 1)
			room[8][0] = '\0';
		if (odd == 2)
			snprintf(room[12], 64, "TNTC");
		for (int j = 0; j < 14; j++) {
			if (j)
				pd_buf_char(out, d->delimiter);
			put_cell(out, d, room[j]);
		}
		pd_buf_add(out, d->line_end);
	}
}
START_TEST(dress_changes_nothing)
{
	static const char *const units[4][5] = {
		{ "10^6/mL", "%", "10^12/L", "cells", "per 10^6" },
		{ "cells/uL", "%", "cells/uL", "10^5", "per 10^5" },
		{ "cells/mL", "fraction", "10^6/uL", "million", "per 10^6" },
		{ "10^7/mL", "0-1", "T/L", "cells", "%" },
	};
	static const struct { char sign; const char *word; } delimiters[] = {
		{ ',', "comma" }, { ';', "semicolon" }, { '\t', "tab" },
		{ '|', "vertical bar" },
	};
	static const char *const line_ends[] = { "\n", "\r\n", "\r" };
	char *first = NULL;
	char map[800];

	for (int k = 0; k < rounds(120); k++) {
		unsigned mark = below(4), comma = below(2);
		struct dress d = { delimiters[mark].sign, comma ? ',' : '.',
			           line_ends[below(3)], below(2) == 0,
			           below(4), below(4), below(2) == 0 };
		pd_buf csv, rows, told;
		const char *const *u = units[d.units];

		if (comma && mark == 0)
			d.delimiter = ';';
		snprintf(map, sizeof map,
		         "[file]\ndelimiter = %s\ndecimal = %s\n[columns]\n"
		         "vol = volume_ml\nTNC = tnc_e6_per_ml in %s\n"
		         "via = viability_pct in %s\nrbc = rbc_e12_per_l in %s"
		         "\nplated = cells_plated in %s\n"
		         "CFU = cfu_f_per_e6 in %s\n[values side]\n"
		         "links = left\n",
		         d.delimiter == ';' ? "semicolon"
		                            : delimiters[mark].word,
		         comma ? "comma" : "point", u[0], u[1], u[2], u[3],
		         u[4]);
		pd_buf_init(&csv);
		pd_buf_init(&rows);
		pd_buf_init(&told);
		make_file(&csv, &d, 60);
		size_t n = read_all(map, pd_buf_text(&csv), csv.length, NULL,
		                    &rows, &told, NULL);

		ck_assert_msg(n == 60, "%zu rows, %s\n%.600s", n,
		              pd_buf_text(&told), pd_buf_text(&csv));
		if (!first)
			first = strdup(pd_buf_text(&rows));
		ck_assert_msg(strcmp(first, pd_buf_text(&rows)) == 0,
		              "%s\n%.400s\n%.400s\n%.400s", map,
		              pd_buf_text(&csv), first, pd_buf_text(&rows));
		pd_buf_clear(&csv);
		pd_buf_clear(&rows);
		pd_buf_clear(&told);
	}
	free(first);
}
END_TEST

/* Records of random signs, both through the library and through our own. */
START_TEST(both_ways_of_splitting_agree)
{
	static const char signs[] = "ab1 \t,,;\"\"\n\r.x";
	char text[200];

	for (int k = 0; k < rounds(60000); k++) {
		size_t n = 1 + below(sizeof text - 1);
		pd_csv *a = NULL, *b = NULL;
		pd_csv_record x, y;
		pd_status s = PD_OK, t = PD_OK;
		pd_error err = { 0 };

		/* mostly short; quotes in a third of the texts */
		n = k % 8 ? n % 24 + 1 : n;
		for (size_t i = 0; i < n; i++)
			do
				text[i] = signs[below(sizeof signs - 1)];
			while (k % 3 && text[i] == '"');
		pd_csv_new(text, n, ',', NULL, &a, &err);
		pd_csv_new(text, n, ',', NULL, &b, &err);
		pd_csv_force_library(b, true);
		for (;;) {
			bool more = pd_csv_next(a, &x, &s, &err);

			ck_assert_msg(s == PD_OK, "%s", err.text);
			ck_assert_int_eq(pd_csv_next(b, &y, &t, &err), more);
			ck_assert_msg(t == PD_OK, "%s: %.*s", err.text, (int)n,
			              text);
			if (!more)
				break;
			ck_assert_uint_eq(x.line, y.line);
			ck_assert_uint_eq(x.offset, y.offset);
			ck_assert_int_eq(x.bad, y.bad);
			if (x.bad)
				continue;
			ck_assert_uint_eq(x.n, y.n);
			for (size_t j = 0; j < x.n; j++) {
				const pd_csv_cell *c = &x.cell[j],
				                  *e = &y.cell[j];

				ck_assert_uint_eq(c->length, e->length);
				ck_assert_uint_eq(c->at, e->at);
				ck_assert(memcmp(c->text, e->text,
				                 c->length) == 0);
			}
		}
		pd_csv_free(a);
		pd_csv_free(b);
	}
}
END_TEST

/* Whatever the bytes, reading ends; every record is accounted for. */
START_TEST(any_bytes_are_read_to_the_end)
{
	static const char base[] = H ",volume_ml,tnc_e6_per_ml,needle\n" K
	    ",5,30,\"a\"\n" K ",<5,TNTC,b\nP2,C2,2024-04-01,R,2,1,,,\n";
	static const char odd[] = "\"\n\r,;\t\0\xff\xc2\xe2\x80 #<>0\x7f";
	static const char map[] = "[file]\npseudonym = patient\n";
	char text[sizeof base];

	for (int k = 0; k < rounds(3000); k++) {
		size_t n = below(8) ? sizeof base - 1 : below(sizeof base);

		memcpy(text, base, sizeof base);
		for (unsigned j = below(6); j; j--)
			text[below(sizeof base - 1)] = odd[below(sizeof odd)];
		pd_buf told, kept;

		pd_buf_init(&told);
		pd_buf_init(&kept);
		read_all(k % 2 ? map : NULL, text, n, test_key, NULL, &told,
		         &kept);
		pd_buf_clear(&told);
		pd_buf_clear(&kept);
	}
}
END_TEST

int main(void)
{
	Suite *s = suite_create("reading");
	TCase *t = tcase_create("reading");
	SRunner *r = srunner_create(s);

	pd_base_init();
	suite_add_tcase(s, t);
	tcase_set_timeout(t, 120);
	tcase_add_loop_test(t, bad_input_is_found_where_it_is, 0,
	                    sizeof reading_cases / sizeof *reading_cases);
	tcase_add_test(t, pseudonyms_need_a_key);
	tcase_add_test(t, kept_text_hides_cells_not_lines);
	tcase_add_test(t, states_stay_apart);
	tcase_add_test(t, dress_changes_nothing);
	tcase_add_test(t, both_ways_of_splitting_agree);
	tcase_add_test(t, any_bytes_are_read_to_the_end);
	tcase_add_test(t, labels_last_until_the_next_batch);
	tcase_add_test(t, places_can_be_asked_for_later);
	tcase_add_test(t, sizes_have_limits);
	tcase_add_test(t, bad_files);
	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	return failed ? 1 : 0;
}
