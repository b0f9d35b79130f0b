/*
 * detect.h - how large a true effect these data could have shown.
 */
#ifndef PERDRAW_STATS_DETECT_H
#define PERDRAW_STATS_DETECT_H

/*
 * The smallest true effect that a two-sided t test at level alpha would find
 * with the given chance, for an estimate with standard error se on df degrees
 * of freedom (INFINITY: normal):
 *   (t(1 - alpha / 2, df) + t(chance, df)) * se,
 * the usual approximation: the noncentral t law is taken as a shifted central
 * one. In units of se it is high by 0.02 at 10 df and by 0.13 at 4 df, for
 * 80 % at alpha 0.05 (docs/methods/detectable.md). On the log scale exp() of
 * it is the ratio. NaN for se <= 0, df <= 0, alpha or chance outside (0, 1).
 */
double pd_detectable(double se, double df, double alpha, double chance);

#endif
