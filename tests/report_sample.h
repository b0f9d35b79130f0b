/*
 * report_sample.h - a made-up review of a clinic that does not exist, with
 * every kind of answer the report must word and draw: paired, by level, a
 * slope, each against the mean, a difference scale, a refusal, a control that
 * worked and one that failed, and a "no difference" it leaves unsupported.
 */
#ifndef PERDRAW_TESTS_REPORT_SAMPLE_H
#define PERDRAW_TESTS_REPORT_SAMPLE_H

#include "base/answer.h"
#include "base/arena.h"

enum {
	SAMPLE_SECOND_PULL,
	SAMPLE_ML,
	SAMPLE_SYRINGE,
	SAMPLE_SITES,
	SAMPLE_NEIGHBOUR,
	SAMPLE_NEEDLE,
	SAMPLE_OPERATOR,
	SAMPLE_VIABILITY,
	SAMPLE_REDIRECT,
	SAMPLE_TIBIA,
	SAMPLE_AGE,
	SAMPLE_N
};

/* Everything in the arena. Aborts when memory runs out: a test's own need. */
pd_review *sample_review(pd_arena *arena);
#endif
