/*
 * table.h - words to numbers: each different word gets the next number, from
 * 0, in the order first met. Words are copied.
 */
#ifndef PERDRAW_DATA_TABLE_H
#define PERDRAW_DATA_TABLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct pd_table;

#define PD_TABLE_NONE UINT32_MAX

struct pd_table *pd_table_new(void); /* NULL when memory runs out */
void pd_table_free(struct pd_table *t);
size_t pd_table_count(const struct pd_table *t);
/* Number of word[length], PD_TABLE_NONE when it is not there. */
uint32_t pd_table_find(const struct pd_table *t, const char *word,
                       size_t length);
/* The same, added when it is not there; PD_TABLE_NONE: out of memory. */
uint32_t pd_table_add(struct pd_table *t, const char *word, size_t length);
/* NUL-ended, borrowed for the table's life. */
const char *pd_table_word(const struct pd_table *t, uint32_t number);
size_t pd_table_length(const struct pd_table *t, uint32_t number);

#endif
