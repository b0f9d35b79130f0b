/*
 * release_words.h - sentences of a release that are the same each time.
 * Inside the report room.
 */
#ifndef PERDRAW_REPORT_RELEASE_WORDS_H
#define PERDRAW_REPORT_RELEASE_WORDS_H

typedef struct pd_release_element {
	const char *letter, *what, *here;
	const char *named; /* where names of method versions were kept       */
} pd_release_element;

/* 45 CFR 164.514(b)(2)(i), A to R; letter NULL ends. */
extern const pd_release_element pd_release_elements[];
/* What the clinic has to do and know; NULL-ended. */
extern const char *const pd_release_before[];
/* How to read the files; NULL-ended. */
extern const char *const pd_release_reading[];
/* What the data can and cannot carry; NULL-ended. */
extern const char *const pd_release_limits[];

#endif
