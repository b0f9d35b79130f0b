/*
 * query_culture.c - the dishes of every colony culture, as the laboratory
 * counted them: not results, but what tells how well they were counted.
 */
#include "data/query_own.h"
#include "data/sql_text.h"
#include "data/vocab.h"

#include <sqlite3.h>

enum { FIRST_DISH = 3, FIRST_STATE = 10, BITS = 4 };

static void take(sqlite3_stmt *q, pd_query_culture *c)
{
	uint64_t states = (uint64_t)sqlite3_column_int64(q, 2);

	*c = (pd_query_culture){ .version = pd_db_text(q, 0),
		                 .day = INT32_MIN };
	if (sqlite3_column_type(q, 1) != SQLITE_NULL)
		c->day = (int32_t)sqlite3_column_int64(q, 1);
	for (int k = 0; k < PD_QUERY_DISHES; k++) {
		int state = (int)(states >> (FIRST_STATE + k) * BITS & 15);
		bool number = sqlite3_column_type(q, FIRST_DISH + k) !=
		              SQLITE_NULL;

		if (state == PD_MEASURED && number)
			c->count[c->n++] =
			    sqlite3_column_double(q, FIRST_DISH + k);
		else if (state != PD_MEASURED && state != PD_FAILED &&
		         state != PD_NOT_ORDERED)
			c->n_cut++;
	}
}

pd_status pd_query_cultures(pd_store *s, pd_query_see_culture *see,
                            void *user, pd_error *err)
{
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_prepare(s, pd_sql_read_dishes, &q, err);

	if (st == PD_OK)
		st = pd_db_step(s, q, &row, err);
	while (st == PD_OK && row) {
		pd_query_culture c;

		take(q, &c);
		if (c.n || c.n_cut) /* something grew, or could have */
			st = see(user, &c, err);
		if (st == PD_OK)
			st = pd_db_step(s, q, &row, err);
	}
	sqlite3_finalize(q);
	return st;
}
