/*
 * rules.h - every finding the reader can make, said once: its code, how bad
 * it is, what it means and why it matters. The list makes the enum, the
 * lookups, docs/findings.md (compared by a test) and the default words of a
 * message. rules.c and compare.c run the rules on whole batches.
 */
#ifndef PERDRAW_DATA_RULES_H
#define PERDRAW_DATA_RULES_H

#include "data/batch.h"
#include "data/finding.h"
#include <stdbool.h>

/*  id, code, level, what is found, what is expected or why it matters       */
#define PD_RULE_LIST(X)                                                        \
	/* the file as bytes */                                                \
	X(UTF16, "utf16", ERROR, "the file is UTF-16 text",                    \
	  "UTF-8; save it as CSV UTF-8")                                              \
	X(NOT_UTF8, "not-utf8", ERROR, "bytes that are not UTF-8",             \
	  "UTF-8, or the encoding declared in the map")        \
	X(NUL_BYTE, "nul-byte", ERROR, "a NUL byte",                           \
	  "text only; the file is damaged or not a CSV file")                  \
	X(BOM, "bom", NOTE, "a byte order mark at the start",                  \
	  "text without one; it was left out")                                    \
	X(EMPTY_FILE, "empty-file", ERROR, "no header row",                    \
	  "a first row with the names of the columns")                         \
	X(NEWLINES, "mixed-newlines", NOTE, "line ends of more than one kind", \
	  "one kind; all were read")          \
	/* records and cells */                                                \
	X(QUOTE_OPEN, "quote-not-closed", ERROR,                               \
	  "a quoted cell without an end", "a closing double quote")            \
	X(QUOTE_INSIDE, "quote-inside", ERROR,                                 \
	  "a double quote inside a cell that does not begin with one",         \
	  "the whole cell in double quotes, quotes inside it doubled")         \
	X(QUOTE_AFTER, "text-after-quote", ERROR, "text after a closing quote", \
	  "a delimiter or the end of the line; quotes inside doubled")         \
	X(CELL_LONG, "cell-too-long", ERROR, "a cell above 64 KiB",            \
	  "shorter cells; a quote may be missing before it")                   \
	X(RECORD_LONG, "record-too-long", ERROR, "a row above 1 MiB",          \
	  "shorter rows; line ends may be missing")                            \
	X(COLUMNS_MANY, "too-many-columns", ERROR, "a row of over 10,000 cells", \
	  "at most 10,000 columns")                                            \
	X(RAGGED, "ragged-row", ERROR, "a row with too few or too many cells", \
	  "as many cells as the header has")                                   \
	X(BLANK_LINES, "blank-lines", NOTE, "blank lines",                      \
	  "none; they were left out")                                          \
	X(EMPTY_ROWS, "empty-rows", NOTE, "rows without any value",            \
	  "none; they were left out")                                          \
	X(NO_ROWS, "no-rows", WARNING, "a header and no rows", "rows of data") \
	X(DELIMITER, "delimiter-undeclared", ERROR,                            \
	  "a header row that another delimiter divides",                       \
	  "the delimiter declared in the map")                                 \
	X(SMART_QUOTE, "smart-quote", ERROR, "typographic quotes",             \
	  "straight double quotes, or none")                                   \
	X(TOTAL_ROW, "total-row", ERROR, "a row of totals or averages",        \
	  "rows of data only: take it out")                                    \
	X(SHEET_ERROR, "spreadsheet-error", ERROR, "a spreadsheet's error",    \
	  "the value; mend it in the spreadsheet")                             \
	X(INVISIBLE, "invisible-character", ERROR,                             \
	  "a character that cannot be seen", "plain text without it")          \
	X(CONTROL, "control-character", ERROR,                                 \
	  "a line end or control character in a cell", "one line of text")     \
	/* the header and the map */                                           \
	X(HEADER_UNKNOWN, "header-unknown", ERROR, "an unknown column",        \
	  "a known header, or a line for it in the map")                       \
	X(HEADER_BLANK, "header-blank", ERROR, "a column without a name",      \
	  "a name for each column")                                            \
	X(HEADER_TWICE, "header-twice", ERROR, "two columns of one name",      \
	  "each header once")                                                  \
	X(FIELD_TWICE, "field-twice", ERROR, "two columns for one field",      \
	  "one column a field; the other `ignore`d")                           \
	X(MAP_UNUSED, "map-column-missing", WARNING,                           \
	  "a column of the map that the file does not have",                   \
	  "the header as the file spells it")                                  \
	X(COLUMN_MISSING, "column-missing", ERROR, "a needed column is not there", \
	  "the columns that say which draw or sample a row is")                \
	X(FILE_KIND, "file-kind", ERROR,                                       \
	  "the file is not of the kind the map declares",                      \
	  "draws, results or both as declared")                                \
	X(KEY_MISSING, "pseudonym-key-missing", ERROR,                         \
	  "the map asks for pseudonyms and there is no key",                   \
	  "a key file")                                                        \
	/* who a row is about */                                               \
	X(ID_HEADER, "identifier-header", ERROR,                               \
	  "a column that names or identifies a person",                        \
	  "no such column, `ignore` in the map, or `pseudonym`")               \
	X(ID_NAME, "identifier-name", ERROR, "looks like a person's name",     \
	  "a pseudonym, or `pseudonym = patient` in the map")                  \
	X(ID_WORD, "identifier-word", WARNING, "may be a person's name",       \
	  "a pseudonym, or `pseudonym = patient` in the map")                  \
	X(ID_DIGITS, "identifier-digits", ERROR,                               \
	  "looks like a record or insurance number",                           \
	  "a pseudonym, or `pseudonym = patient` in the map")                  \
	X(ID_DATE, "identifier-date", ERROR, "looks like a birth date",        \
	  "a pseudonym; the year alone under birth_year")                      \
	X(ID_EMAIL, "identifier-email", ERROR, "an e-mail address",            \
	  "a pseudonym or a code")                                             \
	X(ID_PHONE, "identifier-phone", ERROR, "looks like a telephone number", \
	  "a pseudonym or a code")                                             \
	X(OPERATOR_NAME, "operator-name", WARNING,                             \
	  "the operator looks like a person's name",                           \
	  "a code for each operator, or `pseudonym = operator` in the map")    \
	X(ID_SCIENTIFIC, "id-scientific", ERROR,                               \
	  "a label a spreadsheet has turned into a number",                    \
	  "the label as it was; format the column as text")                    \
	X(LABEL_DATE, "label-date", WARNING,                                   \
	  "a label a spreadsheet may have turned into a date",                 \
	  "the label as it was; format the column as text")                    \
	X(LOST_ZEROS, "lost-zeros", WARNING,                                   \
	  "labels that may have lost their leading zeros",                     \
	  "labels of one width; format the column as text")                    \
	/* one cell */                                                         \
	X(KEY_BLANK, "key-blank", ERROR, "a needed cell is blank",             \
	  "a value: it says which draw or sample the row is")                  \
	X(NOT_NUMBER, "not-a-number", ERROR, "text where a number belongs",    \
	  "a plain number")                                                    \
	X(NOT_WHOLE, "not-whole", ERROR, "a number that is not whole",         \
	  "a whole number")                                                    \
	X(DECIMAL_COMMA, "decimal-comma", ERROR, "a comma in a number",        \
	  "a decimal point, or `decimal = comma` in the map")                  \
	X(DECIMAL_POINT, "decimal-point", ERROR,                               \
	  "a point in a number of a file with decimal commas",                 \
	  "a decimal comma and nothing between thousands")                     \
	X(THOUSANDS, "thousands-mark", ERROR,                                  \
	  "a mark between thousands, or a decimal comma",                      \
	  "digits without a mark between thousands")                           \
	X(UNIT_IN_CELL, "unit-in-cell", ERROR, "a unit inside the cell",       \
	  "a number; the unit in the header or the map")                       \
	X(NUMBER_DATE, "number-turned-date", ERROR,                            \
	  "a number a spreadsheet has turned into a date", "the number")       \
	X(DATE_FORM, "date-form", ERROR,                                       \
	  "a date in another form, or a day that does not exist",              \
	  "a date in the declared form")                                       \
	X(DATE_SERIAL, "date-serial", ERROR,                                   \
	  "a date a spreadsheet has turned into a number",                     \
	  "the date; format the column as a date")                             \
	X(DATE_RANGE, "date-range", ERROR, "a date outside 1950 to 2100",      \
	  "the date of the case")                                              \
	X(WORD_UNKNOWN, "word-unknown", ERROR, "an unknown word",              \
	  "one of the field's words, or a line for it in the map")             \
	X(RESULT_UNKNOWN, "result-unknown", ERROR,                             \
	  "text that is neither a number nor a known state",                   \
	  "a number, <x, >x, TNTC, failed, not ordered, ND or nothing")        \
	X(ND_READ, "nd-read", NOTE, "ND was read as: below an unstated limit", \
	  "that meaning; if it is not, say so under [values FIELD]")           \
	X(UNIT_UNKNOWN, "unit-unknown", ERROR, "an unknown unit",              \
	  "one of the field's units")                                          \
	X(UNIT_BLANK, "unit-blank", ERROR, "a value without a unit",           \
	  "a unit in each row that has a value")                               \
	X(PERCENT_NO_TNC, "percent-without-tnc", ERROR,                        \
	  "a percentage of TNC in a row without a measured TNC",               \
	  "the TNC of the same sample")                                        \
	X(POOL_SYNTAX, "pool-syntax", ERROR, "a pool that cannot be read",     \
	  "`case`, or draws as L, L1, L1.2 joined by `+`")                     \
	X(TEXT_LONG, "text-too-long", ERROR, "a label above 200 bytes",        \
	  "a short label")                                                     \
	/* one value against what is possible */                               \
	X(IMPOSSIBLE, "impossible-value", ERROR, "a value that cannot be",     \
	  "a value inside the field's limits")                                 \
	X(IMPLAUSIBLE, "implausible-value", WARNING,                           \
	  "a value far from anything usual", "a usual value; check it and its unit")   \
	X(TNC_SLIP, "tnc-unit-slip", WARNING,                                  \
	  "a nucleated count outside 1 to 300 x 10^6/mL",                      \
	  "1 to 300; a count outside is mostly a slip of a power of ten")    \
	X(FRACTION, "fraction-as-percent", WARNING,                            \
	  "a percentage between 0 and 1",                                      \
	  "a percentage, or the unit `fraction` in the map")                   \
	X(SYRINGE_ODD, "syringe-odd", NOTE, "a syringe size that is not sold", \
	  "the nominal size of the syringe")                                   \
	/* values of one row against each other */                             \
	X(OVER_SYRINGE, "volume-above-syringe", ERROR,                         \
	  "more drawn than the syringe can hold",                              \
	  "at most 1.25 times the nominal size")                               \
	X(OVER_NOMINAL, "volume-above-nominal", WARNING,                       \
	  "more drawn than the syringe's nominal size",                        \
	  "at most the nominal size; check both")                                          \
	X(OVER_FILLED, "fill-above-syringe", WARNING,                          \
	  "marrow and anticoagulant together above the syringe",               \
	  "both to fit; is the anticoagulant counted twice?")             \
	X(MNC_TNC, "mnc-above-tnc", ERROR,                                     \
	  "more mononuclear than nucleated cells",                             \
	  "at most the TNC: check both units")                                 \
	X(CD34_TNC, "cd34-above-tnc", ERROR, "more CD34+ than nucleated cells", \
	  "at most the TNC: check both units")                                 \
	X(CD271_TNC, "cd271-above-tnc", ERROR,                                 \
	  "more CD271+ than nucleated cells",                                  \
	  "at most the TNC: check both units")                                 \
	X(TNC_BLOOD, "tnc-equals-blood", WARNING,                              \
	  "the marrow count is no richer than the same-day blood",             \
	  "over 1.1 times the blood count: the sample may be blood or clotted") \
	X(RBC_BLOOD, "rbc-above-blood", WARNING,                               \
	  "more red cells in the sample than in the blood",                    \
	  "at most 1.1 times the blood's: swapped samples?")                   \
	X(HCT_BLOOD, "hct-above-blood", WARNING,                               \
	  "the sample's haematocrit is above the blood's",                     \
	  "at most 5 points above the blood's: swapped samples?")              \
	X(BIRTH_CASE, "birth-after-case", ERROR, "born after the case",        \
	  "a birth year before the case's year")                               \
	X(AGE_BIRTH, "age-birth-year", WARNING,                                \
	  "age, birth year and case date do not agree",                        \
	  "case year less birth year, or one below")                           \
	X(NO_PLATED, "dishes-without-plated", WARNING,                         \
	  "colonies without the number of cells plated",                       \
	  "cells plated a dish; without it the count says nothing")            \
	X(NO_DISHES, "plated-without-dishes", NOTE,                            \
	  "cells plated and no dish", "the colonies of each dish")             \
	X(DISH_WHOLE, "dish-not-whole", ERROR,                                 \
	  "a colony count that is not whole",                                  \
	  "the raw count of each dish, not a mean")                            \
	X(DISPERSION, "dish-dispersion", WARNING,                              \
	  "dishes of one sample that differ more than counting can explain",   \
	  "dishes alike (p at least 0.001); check dilution and reading")              \
	X(PREVALENCE, "prevalence-disagrees", WARNING,                         \
	  "CFU-F per mL is not prevalence times TNC",                          \
	  "the three to agree within rounding")                                \
	X(DISHES_RATE, "dishes-disagree", WARNING,                             \
	  "the reported CFU-F is not what the dishes give",                    \
	  "colonies / cells plated, within rounding")

typedef enum pd_rule {
	PD_RULE_NONE = -1,
#define X(id, code, level, what, why) PD_RULE_##id,
	PD_RULE_LIST(X)
#undef X
	PD_N_RULES
} pd_rule;

typedef struct pd_rule_info {
	const char *code;
	pd_finding_level level;
	const char *what, *why;
} pd_rule_info;

const pd_rule_info *pd_rule_about(pd_rule rule);
const char *pd_level_word(pd_finding_level level); /* note, warning, error */

/* Limits of a field: outside [low, high] cannot be, outside [few, many] is
 * implausible. For the manual and the checks; NULL where there are none. */
typedef struct pd_limits {
	pd_field field;
	double low, high, few, many;
} pd_limits;
const pd_limits *pd_limits_of(pd_field f);

/*
 * Run all rules on the rows of a batch. `tell` is called for each row that
 * breaks one, with the field the finding belongs to and words for what was
 * expected here; it looks up place and text.
 */
typedef void (*pd_rule_tell)(void *user, pd_rule rule, size_t row, pd_field f,
                             const char *expected);
void pd_rules_run(const pd_batch *b, pd_rule_tell tell, void *user);
/* The second half of it, compare.c: values of one row against each other. */
void pd_rules_compare(const pd_batch *b, pd_rule_tell tell, void *user);

#endif
