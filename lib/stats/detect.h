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
 * one. For 80 % at alpha 0.05 it is within 0.1 % of the exact value from 10 df
 * up, and low by 0.7 % at 5, 1.2 % at 4, 2.2 % at 3 and 5.1 % at 2 df
 * (docs/methods/detectable.md). On the log scale exp() of
 * it is the ratio. NaN for se <= 0, df <= 0, alpha or chance outside (0, 1).
 */
double pd_detectable(double se, double df, double alpha, double chance);

#endif
