/*
 * estimate.h - a number with its uncertainty, copied by value.
 */
#ifndef PERDRAW_BASE_ESTIMATE_H
#define PERDRAW_BASE_ESTIMATE_H

/*
 * On the scale the method works on (for ratios: natural log). exp() of value,
 * low and high gives the ratio and its interval; se stays on the log scale.
 */
typedef struct pd_estimate {
	double value, se;
	double df;               /* INFINITY where the normal law is used    */
	double low, high, level; /* interval and its level, 0 < level < 1    */
	double p;                /* two-sided, against 0; NaN where not known */
} pd_estimate;

#endif
