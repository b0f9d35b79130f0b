/*
 * damage.h - what spreadsheets and word processors do to cells: error texts,
 * typographic quotes, unseen characters, numbers and dates changed into one
 * another. All functions look at trimmed text.
 */
#ifndef PERDRAW_DATA_DAMAGE_H
#define PERDRAW_DATA_DAMAGE_H

#include "data/rules.h"

/* SHEET_ERROR, SMART_QUOTE, INVISIBLE, CONTROL or NONE. */
pd_rule pd_damage(const char *s, size_t n);
/* Why a text is not a number, `point` being the declared decimal mark: one of
 * the above, DECIMAL_COMMA, DECIMAL_POINT, THOUSANDS, NUMBER_DATE,
 * UNIT_IN_CELL, NOT_NUMBER. */
pd_rule pd_damage_number(const char *s, size_t n, char point);
/* ID_SCIENTIFIC (1.2E+03), LABEL_DATE (3-May, May-04) or NONE. */
pd_rule pd_damage_label(const char *s, size_t n);
/* A day number of a spreadsheet, 30000 (1982) to 60000 (2064). */
bool pd_damage_serial(const char *s, size_t n, char point);
/* A word at the head of a row of totals: Total, Sum, Mean, Average ... */
bool pd_damage_total(const char *s, size_t n);
/* Does a line hold typographic double quotes? */
bool pd_damage_quotes(const char *s, size_t n);

#endif
