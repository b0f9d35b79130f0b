/*
 * censored_row.h - log-probability of what is known of one normal value.
 *
 * With u = x'b / s and h = 1 / s, a limit c stands at h c - u:
 *   exact   ln h - (h y - u)^2 / 2 - ln(2 pi) / 2
 *   limits  ln(P(h high - u) - P(h low - u)), P the normal distribution.
 */
#ifndef PERDRAW_STATS_CENSORED_ROW_H
#define PERDRAW_STATS_CENSORED_ROW_H

/* Slopes in u and h. */
typedef struct pd_censored_slopes {
	double l, u, h, uu, uh, hh;
} pd_censored_slopes;

/* low <= high, infinite where there is no limit; h > 0. */
void pd_censored_row(double low, double high, double u, double h,
                     pd_censored_slopes *out);

#endif
