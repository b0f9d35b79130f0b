/*
 * dishes.h - do dishes of one sample agree, quarter by quarter and method
 * version by method version? Plain structs the plan room fills and the report
 * room words.
 */
#ifndef PERDRAW_BASE_DISHES_H
#define PERDRAW_BASE_DISHES_H

#include <stdbool.h>
#include <stddef.h>

typedef struct pd_dish_quarter {
	const char *version;     /* method version                            */
	const char *quarter;     /* "2025 Q3"; NULL: all of the version        */
	size_t n_samples, n_dishes; /* samples of 2 or more counted dishes with
	                            a colony; dishes of them                   */
	size_t n_failing;        /* differ more than counting explains        */
	double cv;               /* between dishes beyond counting, per cent;
	                            0: none seen                               */
	double share, low, high; /* failing, per cent, exact limits           */
	bool stands_out;         /* more fail than in the other quarters      */
} pd_dish_quarter;

typedef struct pd_dish_watch {
	double level;            /* of the limits                             */
	double at;               /* P below which a sample fails              */
	size_t n;                /* by version, quarters in order, then all   */
	pd_dish_quarter *row;
	size_t n_versions, n_quarters; /* rows of quarters                    */
	size_t n_single, n_empty; /* samples that say nothing                 */
	size_t n_cut;            /* dishes without a number: too many, a limit */
	size_t n_samples, n_failing; /* of all versions                       */
	double share, low, high; /* that share, per cent, exact limits        */
	double cv;               /* as above, of all                          */
} pd_dish_watch;

#endif
