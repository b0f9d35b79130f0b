/*
 * bad.c - forty rows, each wrong in one way, to show what findings look like.
 * A row is a sound one with one cell changed; bad.tsv says, a line each, what
 * is wrong and under which code it ought to be found.
 */
#include "clinic.h"

#include <string.h>

/* What becomes of the row when a cell alone cannot say it. */
enum whole { CELL, SHORT, LONG, TOTAL };

static const char *const column[] = {
	"patient", "sex", "birth_year", "case", "case_date", "age_y", "bmi",
	"operator", "side", "site_no", "landmark", "distance_mm",
	"needle_gauge", "needle_geometry", "pain_score", "aliquot_no",
	"volume_ml", "syringe_ml", "move", "anticoagulant",
	"anticoagulant_ml", "method_version", "tnc_e6_per_ml",
	"mnc_e6_per_ml", "viability_pct", "hct_pct", "cells_plated", "dish_1",
	"dish_2", "dish_3"
};
enum { N_COLUMNS = sizeof column / sizeof *column };

/* NULL: numbered by row. */
static const char *const sound[N_COLUMNS] = {
	NULL, "female", "1961", NULL, "2021-03-04", "59", "27.4", "op-a",
	"left", "1", "posterior iliac crest", "", "11", "open-end", "2", "1",
	"5.0", "10", "none", "ACD-A", "0.5", "lab-a 2", "30.1", "10.2", "94.2",
	"33.1", "1000000", "28", "31", "25"
};

static const struct bad {
	const char *column, *cell, *code, *words;
	enum whole whole;
} bad[] = {
	{ "patient", "Erika Example", "identifier-name", "a name", CELL },
	{ "patient", "1.2E+05", "id-scientific",
	  "a label a spreadsheet made a number", CELL },
	{ "patient", "", "key-blank", "whose draw is not said", CELL },
	{ "patient", "someone@example.org", "identifier-email",
	  "an e-mail address", CELL },
	{ "patient", "1957-03-02", "identifier-date", "a birth date", CELL },
	{ "sex", "yes", "word-unknown", "not a sex", CELL },
	{ "birth_year", "2030", "birth-after-case", "born after the case",
	  CELL },
	{ "case", "", "key-blank", "which visit is not said", CELL },
	{ "case", "1.20E+03", "id-scientific",
	  "a label a spreadsheet made a number", CELL },
	{ "case_date", "43831", "date-serial", "a date turned into a number",
	  CELL },
	{ "case_date", "2021-02-30", "date-form", "a day that does not exist",
	  CELL },
	{ "case_date", "03/04/2021", "date-form", "March or April?", CELL },
	{ "case_date", "1921-05-06", "date-range", "a century too early",
	  CELL },
	{ "age_y", "-4", "impossible-value", "an age below 0", CELL },
	{ "age_y", "fifty", "not-a-number", "a number in words", CELL },
	{ "bmi", "\"27,4\"", "decimal-comma", "a decimal comma", CELL },
	{ "side", "both", "word-unknown", "one hole has one side", CELL },
	{ "site_no", "1.5", "not-whole", "half a hole", CELL },
	{ "landmark", "hip", "word-unknown", "which part of the hip?", CELL },
	{ "distance_mm", "-12", "impossible-value", "a distance below 0",
	  CELL },
	{ "needle_geometry", "the good one", "word-unknown",
	  "a local name without a map", CELL },
	{ "pain_score", "14", "impossible-value", "pain goes from 0 to 10",
	  CELL },
	{ "aliquot_no", "0", "impossible-value", "pulls count from 1", CELL },
	{ "birth_year", "61", "impossible-value", "a year without its century",
	  CELL },
	{ "volume_ml", "-4.0", "impossible-value", "a volume below 0", CELL },
	{ "volume_ml", "19.0", "volume-above-syringe",
	  "19 mL in a 10 mL syringe", CELL },
	{ "volume_ml", "5 mL", "unit-in-cell", "a unit in the cell", CELL },
	{ "volume_ml", "\"1,200.5\"", "thousands-mark",
	  "a mark between thousands", CELL },
	{ "syringe_ml", "10-May", "number-turned-date",
	  "a number turned into a date", CELL },
	{ "move", "wiggle", "word-unknown", "not a move of the list", CELL },
	{ "tnc_e6_per_ml", "#REF!", "spreadsheet-error",
	  "a spreadsheet's error", CELL },
	{ "tnc_e6_per_ml", "plenty", "result-unknown",
	  "neither a number nor a known state", CELL },
	{ "mnc_e6_per_ml", "55.0", "mnc-above-tnc",
	  "more mononuclear than nucleated cells", CELL },
	{ "viability_pct", "108.0", "impossible-value", "above 100 per cent",
	  CELL },
	{ "viability_pct", "\xe2\x80\x9c" "94.2" "\xe2\x80\x9d", "smart-quote",
	  "typographic quotes", CELL },
	{ "cells_plated", "-5", "impossible-value", "cells below 0", CELL },
	{ "dish_1", "14.5", "dish-not-whole", "half a colony", CELL },
	{ "dish_3", "", "ragged-row", "a row cut short", SHORT },
	{ "dish_3", "25", "ragged-row", "a row with two cells too many", LONG },
	{ "patient", "Total", "total-row", "a row of totals", TOTAL },
};
enum { N_BAD = sizeof bad / sizeof *bad };
_Static_assert(N_BAD == 40, "forty rows");

static void cell(FILE *f, int row, int j)
{
	if (sound[j])
		fputs(sound[j], f);
	else
		fprintf(f, "%c9%04d", j ? 'C' : 'P', row + 1);
}

static void bad_row(FILE *f, int row)
{
	const struct bad *b = &bad[row];
	int cells = b->whole == SHORT ? 21 : N_COLUMNS;

	for (int j = 0; j < cells; j++) {
		if (j)
			fputc(',', f);
		if (!strcmp(column[j], b->column))
			fputs(b->cell, f);
		else if (b->whole == TOTAL)
			fputs(strcmp(column[j], "volume_ml") ? "" : "195.0",
			      f);
		else
			cell(f, row, j);
	}
	fputs(b->whole == LONG ? ",1,2\n" : "\n", f);
}

void demo_write_bad(FILE *f)
{
	for (int j = 0; j < N_COLUMNS; j++)
		fprintf(f, "%s%s", j ? "," : "", column[j]);
	fputc('\n', f);
	for (int i = 0; i < N_BAD; i++)
		bad_row(f, i);
}

void demo_write_bad_key(FILE *f)
{
	fputs("line\tcode\twhat\n", f);
	for (int i = 0; i < N_BAD; i++)
		fprintf(f, "%d\t%s\t%s: %s\n", i + 2, bad[i].code,
		        bad[i].column, bad[i].words);
}
