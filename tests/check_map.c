/*
 * check_map.c - what the reader goes by: map files, units, words, privacy,
 * the list of findings and the manual's tables.
 */
#include "reading_help.h"

#include <sys/stat.h>
#include <unistd.h>

/* ---- maps ---- */
START_TEST(map_errors_have_places)
{
	static const struct { const char *map; size_t line, column;
	                      const char *says; } row[] = {
		{ "delimiter = comma\n", 1, 1, "before the first section" },
		{ "[file]\ndelimeter = comma\n", 2, 1, "unknown key" },
		{ "[file]\ndelimiter = komma\n", 2, 13, "unknown delimiter" },
		{ "[file]\ndelimiter = comma\n delimiter = tab\n", 3, 2,
		  "twice" },
		{ "[file]\ndecimal = dot\n", 2, 11, "decimal mark" },
		{ "[file]\ndates = day.month\n", 2, 9, "date form" },
		{ "[file]\ndates = day.month/year\n", 2, 9, "date form" },
		{ "[file]\ndates = day.day.year\n", 2, 9, "date form" },
		{ "[file]\nkind = all\n", 2, 8, "unknown kind" },
		{ "[file]\nencoding = ebcdic\n", 2, 12, "encoding" },
		{ "[file]\npseudonym = pateint\n", 2, 13, "'patient'" },
		{ "[file]\npseudonym = tnc_e6_per_ml\n", 2, 13, "label" },
		{ "[file]\nmissing = NA, \"\"\n", 2, 15, "blank" },
		{ "[file]\nkind\n", 2, 1, "name = value" },
		{ "[file]\nkind =\n", 2, 1, "nothing after" },
		{ "[file]\n= kind\n", 2, 1, "nothing before" },
		{ "[file\n", 1, 1, "bracket" },
		{ "[files]\n", 1, 1, "unknown section" },
		{ "[file]\n[file]\n", 2, 1, "twice" },
		{ "[columns]\nVol = volume\n", 2, 7, "'volume_ml'" },
		{ "[columns]\nA = ignore\na = ignore\n", 3, 1, "twice" },
		{ "[columns]\nTNC = tnc_e6_per_ml in mg/dL\n", 2, 24,
		  "10^3/uL" },
		{ "[columns]\nTNC = tnc_e6_per_ml in 10e6/mL\n", 2, 24,
		  "10^7" },
		{ "[columns]\nCD34 = cd34_e3_per_ml in %\n", 2, 26, "gate" },
		{ "[columns]\nCD34 = cd34_e3_per_ml in 10^6/kg\n", 2, 26,
		  "weight" },
		{ "[columns]\nMNC = mnc_e6_per_ml in %\n", 2, 24, "% of TNC" },
		{ "[columns]\nP = cfu_f_per_e6 in per 10^6 MNC\n", 2, 21,
		  "mononuclear" },
		{ "[columns]\nOp = operator in mL\n", 2, 18, "no unit" },
		{ "[values needle_shape]\n", 1, 9, "'needle" },
		{ "[values case_date]\n", 1, 9, "no dictionary" },
		{ "[values side]\nlinks = left\nLINKS = right\n", 3, 1,
		  "twice" },
		{ "[values side]\nlinks = links\n", 2, 9, "no word of side" },
		{ "[values tnc_e6_per_ml]\nx = 5\n", 2, 5, "no state" },
		{ "[values needle_gauge]\nfat = wide\n", 2, 7, "number" },
		{ "[values side]\nl = left\n[values side]\n", 3, 1, "twice" },
		{ "[constant]\nside = up\n", 2, 8, "no word" },
		{ "[constant]\ntnc_e6_per_ml = 30\n", 2, 1, "every row" },
		{ "[constant]\nneedle_gauge = 11.5\n", 2, 16, "whole" },
		{ "[constant]\nside = left\nside = left\n", 3, 1, "twice" },
		{ "[columns]\nCount #1 = dish_1\n", 2, 1, "double quotes" },
		{ "[columns]\n\xc3\xa4\xc3\xa4 = volume\n", 2, 6,
		  "'volume_ml'" },
		{ "[columns]\nA = \xff\n", 2, 5, "UTF-8" },
		{ "[file]\ndelimiter = comma\ndecimal = comma\n", 0, 0,
		  "both" },
	};

	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		pd_map *m = (pd_map *)&m;
		pd_error err = { 0 };

		ck_assert_msg(pd_map_parse(row[i].map, strlen(row[i].map),
		                           "lab.map", &m, &err) == PD_DATA,
		              "%s", row[i].map);
		ck_assert_ptr_null(m);
		ck_assert_str_eq(err.file, "lab.map");
		ck_assert_msg(err.line == row[i].line &&
		              err.column == row[i].column &&
		              strstr(err.text, row[i].says),
		              "%s-> %zu:%zu: %s", row[i].map, err.line,
		              err.column, err.text);
	}
}
END_TEST

START_TEST(map_says_what_it_says)
{
	static const char map[] = "\xef\xbb\xbf# a comment\r\n[file]\r\n"
	    "delimiter = tab   # another\r\ndates = mon/day/year\n"
	    "[columns]\n\"Count #1 \"\"raw\"\"\" = dish_1\n"
	    "Needle = needle, needle_gauge, needle_geometry\n"
	    "[values needle]\n\"11G, long\" = \"N 1\"\n"
	    "[constant]\nmethod_version = lab-a 1\n";
	pd_map *m = NULL;
	pd_error err = { 0 };

	ck_assert_msg(pd_map_parse(map, strlen(map), "m", &m, &err) == PD_OK,
	              "%zu:%zu %s", err.line, err.column, err.text);
	ck_assert_int_eq(m->delimiter, '\t');
	ck_assert_str_eq(m->dates.order, "bdy");
	ck_assert_ptr_nonnull(pd_map_find(m, "count #1 \"raw\"", 14));
	ck_assert_uint_eq(m->column[1].n_targets, 3);
	ck_assert_str_eq(m->constant[PD_F_METHOD_VERSION].text, "lab-a 1");
	ck_assert_str_eq(m->values[PD_F_NEEDLE]->from, "11G, long");
	ck_assert_str_eq(m->values[PD_F_NEEDLE]->text, "N 1");
	ck_assert(!pd_map_wants_key(m));
	pd_map_free(m);
}
END_TEST

START_TEST(nearest_headers)
{
	static const struct { const char *header, *near; } row[] = {
		{ "volume", "volume_ml" },   { "Date", "case_date" },
		{ "WBC", "tnc_e6_per_ml" },  { "CFU-F", "cfu_f_per_ml" },
		{ "Patient ID", "patient" }, { "syringe", "syringe_ml" },
		{ "operater", "operator" },  { "Haematocrit", "hct_pct" },
		{ "tnc_e6_per_m", "tnc_e6_per_ml" },
		{ "body mass index", "bmi" }, { "colonies, dish 2", "dish_2" },
	};

	for (size_t i = 0; i < sizeof row / sizeof *row; i++)
		ck_assert_str_eq(pd_nearest_header(row[i].header,
		                                   strlen(row[i].header)),
		                 row[i].near);
}
END_TEST

/* ---- units ---- */

/* Factors as the table prints them, against the number 36.7 read through. */
START_TEST(units_scale_by_their_factor)
{
	const pd_unit_known *k;
	size_t n = 0;

	for (; (k = pd_unit_at(n)); n++) {
		pd_unit u;
		const char *why;
		double x = 0, want = 36.7;
		int power = 0;

		ck_assert_msg(pd_unit_find(k->field, k->spelling,
		                           strlen(k->spelling), &u, &why),
		              "%s of %s", k->spelling,
		              pd_field_about(k->field)->header);
		if (u.way == PD_WAY_ONE_IN || u.way == PD_WAY_OF_TNC)
			continue; /* unit_ways below */
		ck_assert(pd_scan_number("36.7", 4, '.', u.shift, &x));
		x *= u.times;
		if (sscanf(k->factor, "10^%d", &power) == 1) {
			char text[20];

			snprintf(text, sizeof text, "36.7e%d", power);
			want = strtod(text, NULL);
		} else {
			want = 36.7 * strtod(k->factor, NULL);
		}
		ck_assert_msg(fabs(x / want - 1) < 1e-15, "%s of %s: %g, %g",
		              k->spelling, pd_field_about(k->field)->header, x,
		              want);
	}
	ck_assert_uint_gt(n, 100);
}
END_TEST

START_TEST(unit_spellings)
{
	static const struct { pd_field f; const char *s; int shift; } row[] = {
		{ PD_F_TNC, "10*6/mL", 0 },       { PD_F_TNC, "\xc3\x97" "10\xe2\x81\xb6/ml", 0 },
		{ PD_F_TNC, "x 10^3 / \xc2\xb5L", 0 }, { PD_F_TNC, "K/\xce\xbcL", 0 },
		{ PD_F_TNC, "1e6 per mL", 0 },    { PD_F_TNC, "{cells}/uL", -3 },
		{ PD_F_TNC, "cells/mm3", -3 },    { PD_F_TNC, "10^6 nucleated cells/mL", 0 },
		{ PD_F_TNC, "thousand/uL", 0 },   { PD_F_TNC, "10^5/mL", -1 },
		{ PD_F_RBC, "10^12 / litre", 0 }, { PD_F_CFU_F, "[CFU]/mL", 0 },
		{ PD_F_CFU_F_E6, "[CFU]/10*6", 0 }, { PD_F_CFU_F_E6, "per 10^5 nucleated cells", 1 },
		{ PD_F_CELLS_PLATED, "10^5 cells", 5 }, { PD_F_CELLS_PLATED, "{cells}", 0 },
		{ PD_F_CD34, "10^3/mL", 0 },      { PD_F_CD271, "{cells}/mL", 0 },
	};
	static const struct { pd_field f; const char *s; } bad[] = {
		{ PD_F_TNC, "" },       { PD_F_TNC, "mL" },   { PD_F_TNC, "10^6" },
		{ PD_F_TNC, "10^/mL" }, { PD_F_TNC, "10^6/mg" }, { PD_F_TNC, "%" },
		{ PD_F_TNC, "10^6/mL/h" }, { PD_F_VOLUME, "oz" },
		{ PD_F_CFU_F_E6, "per 10^" }, { PD_F_CFU_F_E6, "per" },
		{ PD_F_PATIENT, "mL" },
	};
	pd_unit u;
	const char *why;

	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		ck_assert_msg(pd_unit_find(row[i].f, row[i].s, strlen(row[i].s),
		                           &u, &why), "%s", row[i].s);
		ck_assert_msg(u.shift == row[i].shift, "%s: %d", row[i].s,
		              u.shift);
	}
	for (int f = 0; f < PD_N_FIELDS; f++) { /* the canonical ones */
		const pd_field_info *a = pd_field_about((pd_field)f);

		if (!a->unit[0] || a->kind == PD_FIELD_DATE)
			continue;
		ck_assert_msg(pd_unit_find((pd_field)f, a->unit,
		                           strlen(a->unit), &u, &why) &&
		              u.shift == 0 && u.way == PD_WAY_SHIFT, "%s",
		              a->header);
	}
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
		ck_assert_msg(!pd_unit_find(bad[i].f, bad[i].s, strlen(bad[i].s),
		                            &u, &why), "%s", bad[i].s);
}
END_TEST

/* The ways that are no plain factor, through a whole file. */
START_TEST(unit_ways)
{
	static const char map[] = "[columns]\nP = cfu_f_per_e6 in 1 in N\n"
	    "MNC = mnc_e6_per_ml in % of TNC\nh = time_to_lab_min in h\n"
	    "TNC = tnc_e6_per_ml in 10^3/uL\n";
	static const char csv[] = H ",P,MNC,h,TNC\n" K ",25000,40,1.5,32\n"
	    K ",1 in 40000,<10,0.25,32\n" K ",>100000,,2,\n";
	pd_map *m = NULL;
	pd_reader *r = NULL;
	pd_findings *f = pd_findings_new();
	const pd_batch *b = NULL;

	pd_map_parse(map, strlen(map), "m", &m, NULL);
	pd_reader_open(csv, strlen(csv), m, NULL, f, &r, NULL);
	pd_reader_next(r, &b, NULL);
	ck_assert_uint_eq(b->n_rows, 3);
	const pd_cells *p = &b->cell[PD_F_CFU_F_E6], *c = &b->cell[PD_F_MNC];

	ck_assert_double_eq_tol(p->number[0], 40, 1e-12);
	ck_assert_double_eq_tol(p->number[1], 25, 1e-12);
	ck_assert_double_eq_tol(p->number[2], 10, 1e-12);
	ck_assert_int_eq(p->state[2], PD_BELOW); /* rarer than 1 in 100000 */
	ck_assert_double_eq_tol(c->number[0], 12.8, 1e-12);
	ck_assert_double_eq_tol(c->number[1], 3.2, 1e-12);
	ck_assert_int_eq(c->state[1], PD_BELOW);
	ck_assert_double_eq(b->cell[PD_F_TIME_TO_LAB].number[0], 90);
	pd_reader_close(r);
	pd_findings_free(f);
	pd_map_free(m);
}
END_TEST

START_TEST(findings_are_counted_beyond_storing)
{
	pd_findings *f = pd_findings_new();

	for (uint32_t i = 0; i < 120000; i++)
		ck_assert_int_eq(pd_findings_add(f, "x", PD_WARNING,
		                                 120000 - i, 1, "a", "b"),
		                 PD_OK);
	ck_assert_int_eq(pd_findings_add(f, "e", PD_ERROR, 7, 1, "a", "b"),
	                 PD_OK);
	ck_assert_uint_eq(pd_findings_count(f, PD_WARNING), 120000);
	ck_assert_uint_eq(pd_findings_count(f, PD_ERROR), 1);
	ck_assert_uint_eq(pd_findings_stored(f), 95001); /* the error too */
	pd_findings_sort(f);
	ck_assert_str_eq(pd_findings_at(f, 0)->code, "e");
	ck_assert_ptr_null(pd_findings_at(f, 95001));
	pd_findings_free(f);
	pd_findings_free(NULL);
}
END_TEST

/* ---- privacy ---- */
START_TEST(private_headers)
{
	static const char *const yes[] = { "Name", "Patient Name", "SURNAME",
		"first_name", "DOB", "Date of birth", "birth-date", "MRN",
		"Medical record #", "SSN", "Phone (home)", "E-Mail", "Address",
		"Nachname", "Vorname", "Geburtsdatum", "Pr\xc3\xa9nom",
		"Date de naissance", "Apellidos", "Tel\xc3\xa9\x66ono",
		"Codice Fiscale", "Sobrenome", "Achternaam", "Hospital No.",
		"zip", "Insurance ID" };
	static const char *const no[] = { "patient", "case", "needle",
		"Needle name", "birth_year", "Operator", "Count A", "WBC",
		"tnc_e6_per_ml", "Nomen", "emailed", "renamed", "colony no",
		"site_no", "Serial no" };

	for (size_t i = 0; i < sizeof yes / sizeof *yes; i++)
		ck_assert_msg(pd_private_header(yes[i], strlen(yes[i])), "%s",
		              yes[i]);
	for (size_t i = 0; i < sizeof no / sizeof *no; i++)
		ck_assert_msg(!pd_private_header(no[i], strlen(no[i])), "%s",
		              no[i]);
}
END_TEST

START_TEST(labels_that_are_fine)
{
	static const char *const fine[] = { "P001", "P0000123", "0042", "17",
		"A-17", "2024-17", "case 12", "AB", "XYZ", "N7/3", "PAT_9",
		"a", "P00042x", "2024/117" };

	for (size_t i = 0; i < sizeof fine / sizeof *fine; i++) {
		size_t n = strlen(fine[i]);

		ck_assert_msg(pd_private_look(PD_F_PATIENT, fine[i], n) ==
		              PD_RULE_NONE, "%s", fine[i]);
		ck_assert_msg(pd_private_look(PD_F_CASE, fine[i], n) ==
		              PD_RULE_NONE, "%s", fine[i]);
	}
	ck_assert(pd_private_look(PD_F_SAMPLE, "W000024123456", 13) ==
	          PD_RULE_NONE);
	ck_assert(pd_private_look(PD_F_NEEDLE, "Long Needle", 11) ==
	          PD_RULE_NONE);
}
END_TEST

START_TEST(pseudonyms_are_keyed)
{
	unsigned char other[PD_KEY_BYTES];
	char a[PD_PSEUDONYM], b[PD_PSEUDONYM];

	memcpy(other, test_key, sizeof other);
	other[31] ^= 1;
	pd_pseudonym(test_key, "0048215577", 10, a);
	pd_pseudonym(test_key, "0048215577", 10, b);
	ck_assert_str_eq(a, b);
	ck_assert_uint_eq(strlen(a), 21);
	ck_assert_int_eq(a[0], 'P');
	ck_assert_uint_eq(strspn(a + 1, "0123456789abcdefghjkmnpqrstvwxyz"),
	                  20);
	pd_pseudonym(other, "0048215577", 10, b);
	ck_assert_str_ne(a, b);
	pd_pseudonym(test_key, "0048215578", 10, b);
	ck_assert_str_ne(a, b);
	pd_pseudonym(test_key, "muster", 6, a);
	pd_pseudonym(test_key, "Muster", 6, b);
	ck_assert_str_ne(a, b); /* case is kept */
}
END_TEST

START_TEST(key_files_are_guarded)
{
	char dir[] = "reading-key-XXXXXX", path[80], link[80];
	unsigned char key[PD_KEY_BYTES], again[PD_KEY_BYTES];
	const unsigned char zero[PD_KEY_BYTES] = { 0 };
	pd_error err = { 0 };

	ck_assert_ptr_nonnull(mkdtemp(dir));
	snprintf(path, sizeof path, "%s/key", dir);
	snprintf(link, sizeof link, "%s/link", dir);
	ck_assert_int_eq(pd_key_read(path, key, &err), PD_NO_INPUT);
	ck_assert_int_eq(pd_key_create(path, &err), PD_OK);
	ck_assert_int_eq(pd_key_create(path, &err), PD_CANNOT_CREATE);
	ck_assert_int_eq(pd_key_read(path, key, &err), PD_OK);
	ck_assert_int_eq(pd_key_read(path, again, &err), PD_OK);
	ck_assert(memcmp(key, again, sizeof key) == 0);
	ck_assert(memcmp(key, zero, sizeof key) != 0);
	chmod(path, 0640);
	ck_assert_int_eq(pd_key_read(path, key, &err), PD_NO_PERMISSION);
	ck_assert_ptr_nonnull(strstr(err.text, "0640"));
	ck_assert(memcmp(key, zero, sizeof key) == 0);
	chmod(path, 0600);
	ck_assert_int_eq(symlink("key", link), 0);
	ck_assert_int_eq(pd_key_read(link, key, &err), PD_NO_PERMISSION);
	ck_assert_int_eq(pd_key_read(dir, key, &err), PD_NO_PERMISSION);
	ck_assert_int_eq(truncate(path, 31), 0);
	ck_assert_int_eq(pd_key_read(path, key, &err), PD_DATA);
	pd_key_forget(again);
	ck_assert(memcmp(again, zero, sizeof again) == 0);
	unlink(link);
	unlink(path);
	rmdir(dir);
}
END_TEST

/* Every table of look-alikes says one word for text and place: no cell of a
 * person reaches a finding. */
START_TEST(findings_do_not_repeat_identifiers)
{
	static const char csv[] = H ",operator\n\"Muster, Max\",C1,2024-03-05,"
	    "left,1,1,kim@example.org\n";
	pd_map *m = NULL;
	pd_reader *r = NULL;
	pd_findings *f = pd_findings_new();
	const pd_batch *b = NULL;

	pd_map_parse(NULL, 0, "m", &m, NULL);
	pd_reader_open(csv, strlen(csv), m, NULL, f, &r, NULL);
	pd_reader_next(r, &b, NULL);
	ck_assert_uint_eq(pd_findings_count(f, PD_ERROR), 2);
	for (size_t i = 0; i < pd_findings_stored(f); i++) {
		const pd_finding *x = pd_findings_at(f, i);

		ck_assert_ptr_null(strstr(x->found, "Muster"));
		ck_assert_ptr_null(strstr(x->found, "kim"));
	}
	pd_reader_close(r);
	pd_findings_free(f);
	pd_map_free(m);
}
END_TEST

/* Bytes of any kind in a cell or header reach findings as plain text. */
START_TEST(findings_are_printable)
{
	static const char csv[] = H ",\xff\x1b[31m\n"
	    "P1,C1,\x1b[2J\xc2\x9b,le\xfft,1,1,\xe2\x82\n";
	pd_map *m = NULL;
	pd_reader *r = NULL;
	pd_findings *f = pd_findings_new();
	const pd_batch *b = NULL;

	pd_map_parse(NULL, 0, "m", &m, NULL);
	pd_reader_open(csv, strlen(csv), m, NULL, f, &r, NULL);
	pd_reader_next(r, &b, NULL);
	ck_assert_uint_ge(pd_findings_stored(f), 4);
	for (size_t i = 0; i < pd_findings_stored(f); i++) {
		const char *s = pd_findings_at(f, i)->found;

		ck_assert_uint_eq(pd_utf8_bad(s, strlen(s)), strlen(s));
		for (; *s; s++)
			ck_assert((unsigned char)*s >= 0x20);
		s = pd_findings_at(f, i)->expected;
		ck_assert_uint_eq(pd_utf8_bad(s, strlen(s)), strlen(s));
	}
	pd_reader_close(r);
	pd_findings_free(f);
	pd_map_free(m);
}
END_TEST

/* ---- vocabulary ---- */
START_TEST(vocabulary_is_closed)
{
	static const struct { pd_field f; const char *word, *is; } row[] = {
		{ PD_F_SEX, "F", "female" },      { PD_F_SEX, "Male", "male" },
		{ PD_F_SIDE, "L", "left" },       { PD_F_SIDE, "rt", "right" },
		{ PD_F_LANDMARK, "PSIS", "posterior iliac crest" },
		{ PD_F_LANDMARK, "asis", "anterior iliac crest" },
		{ PD_F_GEOMETRY, "Closed tip side hole", "closed-tip side-hole" },
		{ PD_F_GEOMETRY, "OPEN_END", "open-end" },
		{ PD_F_MOVE, "re-puncture", "new hole" },
		{ PD_F_ANTICOAGULANT, "acd-a", "ACD-A" },
		{ PD_F_ANTICOAGULANT, "rinsed", "heparin rinse" },
		{ PD_F_MATERIAL, "BMAC", "concentrate" },
		{ PD_F_OUTCOME, "CFU-F", "cfu_f" },
		{ PD_F_OUTCOME, "CD34+", "cd34" },
	};

	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		int code = pd_vocab_code(row[i].f, row[i].word);

		ck_assert_msg(code >= 0, "%s", row[i].word);
		ck_assert_str_eq(pd_vocab_words(row[i].f)[code], row[i].is);
	}
	ck_assert_int_eq(pd_vocab_code(PD_F_SIDE, "up"), -1);
	ck_assert_int_eq(pd_vocab_code(PD_F_SIDE, ""), -1);
	ck_assert_int_eq(pd_vocab_code(PD_F_PATIENT, "left"), -1);
	for (int f = 0; f < PD_N_FIELDS; f++) {
		const pd_field_info *a = pd_field_about((pd_field)f);
		const char *const *w = pd_vocab_words((pd_field)f);

		ck_assert_int_eq(pd_field_by_header(a->header), f);
		ck_assert_int_eq(w != NULL, a->kind == PD_FIELD_WORD);
		for (int k = 0; w && w[k]; k++)
			ck_assert_int_eq(pd_vocab_code((pd_field)f, w[k]), k);
		if (a->kind == PD_FIELD_RESULT && f != PD_F_VALUE)
			ck_assert_int_eq(pd_outcome_field(
			    pd_outcome_code((pd_field)f)), f);
	}
	ck_assert_int_eq(pd_field_by_header("nothing"), PD_N_FIELDS);
	ck_assert_int_eq(pd_outcome_field(-1), PD_N_FIELDS);
}
END_TEST

/* ---- the manual ---- */

static size_t count_of(const char *text, const char *what)
{
	size_t n = 0;

	for (const char *p = text; (p = strstr(p, what)); p++)
		n++;
	return n;
}
START_TEST(manual_lists_every_rule)
{
	size_t size;
	char *text = slurp("docs/findings.md", &size), line[600];

	for (int r = 0; r < PD_N_RULES; r++) {
		const pd_rule_info *i = pd_rule_about((pd_rule)r);

		snprintf(line, sizeof line, "\n| `%s` | %s | %s | %s |\n",
		         i->code, pd_level_word(i->level), i->what, i->why);
		ck_assert_msg(strstr(text, line), "not in the manual:%s", line);
		for (int q = 0; q < r; q++)
			ck_assert_str_ne(pd_rule_about((pd_rule)q)->code,
			                 i->code);
	}
	char *end = strstr(text, "## Found when a file is stored");

	ck_assert_ptr_nonnull(end);
	*end = '\0';
	ck_assert_uint_eq(count_of(text, "\n| `"), PD_N_RULES);
	free(text);
}
END_TEST

START_TEST(manual_lists_every_field)
{
	static const char *const kinds[] = { "label", "word", "whole number",
		"number", "date", "result", "pool" };
	static const char *const records[] = { "patient", "case", "site",
		"aliquot", "assay", "long row" };
	size_t size;
	char *text = slurp("docs/fields.md", &size), line[900];

	for (int f = 0; f < PD_N_FIELDS; f++) {
		const pd_field_info *a = pd_field_about((pd_field)f);
		const pd_limits *l = pd_limits_of((pd_field)f);
		const char *const *w = pd_vocab_words((pd_field)f);
		char limits[120] = "", usual[120] = "";

		if (l) {
			snprintf(limits, sizeof limits, "%.12g to %.12g",
			         l->low, l->high);
			snprintf(usual, sizeof usual, "%.12g to %.12g", l->few,
			         l->many);
		}
		snprintf(line, sizeof line,
		         "\n| `%s` | %s | %s | %s | %s | %s | %s |\n",
		         a->header, a->words, kinds[a->kind], records[a->of],
		         a->unit, limits, usual);
		ck_assert_msg(strstr(text, line), "not in the manual:%s", line);
		size_t n = (size_t)snprintf(line, sizeof line, "\n- `%s`:",
		                            a->header);

		for (int k = 0; w && w[k]; k++)
			n += (size_t)snprintf(line + n, sizeof line - n,
			                      "%s %s", k ? "," : "", w[k]);
		if (w)
			ck_assert_msg(strstr(text, line), "not there:%s", line);
	}
	const pd_unit_known *k;

	for (size_t i = 0; (k = pd_unit_at(i)); i++) {
		snprintf(line, sizeof line, "\n| `%s` | %s | %s |\n",
		         pd_field_about(k->field)->header, k->spelling,
		         k->factor);
		ck_assert_msg(strstr(text, line), "not in the manual:%s", line);
	}
	free(text);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("map");
	TCase *t = tcase_create("map");
	SRunner *r = srunner_create(s);

	pd_base_init();
	suite_add_tcase(s, t);
	tcase_set_timeout(t, 120);
	tcase_add_test(t, map_errors_have_places);
	tcase_add_test(t, map_says_what_it_says);
	tcase_add_test(t, nearest_headers);
	tcase_add_test(t, findings_are_counted_beyond_storing);
	tcase_add_test(t, units_scale_by_their_factor);
	tcase_add_test(t, unit_spellings);
	tcase_add_test(t, unit_ways);
	tcase_add_test(t, private_headers);
	tcase_add_test(t, labels_that_are_fine);
	tcase_add_test(t, findings_do_not_repeat_identifiers);
	tcase_add_test(t, findings_are_printable);
	tcase_add_test(t, pseudonyms_are_keyed);
	tcase_add_test(t, key_files_are_guarded);
	tcase_add_test(t, vocabulary_is_closed);
	tcase_add_test(t, manual_lists_every_rule);
	tcase_add_test(t, manual_lists_every_field);
	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	return failed ? 1 : 0;
}
