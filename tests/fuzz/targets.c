/* targets.c - see targets.h. */
#include "targets.h"

#include "base/arena.h"
#include "base/buf.h"
#include "base/scan.h"
#include "data/reader.h"
#include "data/store.h"
#include "plan/claim_file.h"
#include "plan/plan.h"
#include "plan/pooled.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

void fuzz_wants(int good, const char *words)
{
	if (good)
		return;
	fprintf(stderr, "broken word: %s\n", words);
	abort();
}

static size_t lines_of(const uint8_t *data, size_t size)
{
	size_t n = 1;

	for (size_t i = 0; i < size; i++)
		n += data[i] == '\n' || data[i] == '\r';
	return n;
}

void fuzz_error(const pd_error *err, const uint8_t *data, size_t size)
{
	fuzz_wants(err->status != PD_OK, "a failure of status 'done'");
	fuzz_wants(err->text[0] != '\0', "a failure without words");
	/* what is missing at the end stands on the line after the last */
	fuzz_wants(err->line <= lines_of(data, size) + 1,
	           "an error on a line that is not there");
	fuzz_wants(err->column <= size + 1,
	           "an error in a column that is not there");
}

const char *fuzz_file(const uint8_t *data, size_t size)
{
	static char path[64];
	static int fd = -1;

	if (fd >= 0)
		close(fd);
	fd = memfd_create("fuzz", 0);
	fuzz_wants(fd >= 0 && write(fd, data, size) == (ssize_t)size,
	           "no file in memory");
	snprintf(path, sizeof path, "/proc/self/fd/%d", fd);
	return path;
}

/* ---- a table by its map -------------------------------------------------- */

/* Where the map ends and where the table begins; false: no map. */
static int split(const uint8_t *data, size_t size, size_t *map_size,
                 size_t *table)
{
	static const char mark[] = "\n----\n";
	const uint8_t *at = size ? memmem(data, size, mark, sizeof mark - 1)
	                         : NULL;

	if (!at)
		return 0;
	*map_size = (size_t)(at - data) + 1;
	*table = *map_size + sizeof mark - 2;
	return 1;
}

static void judge_findings(pd_findings *list, const uint8_t *text, size_t size)
{
	pd_findings_sort(list);
	for (size_t i = 0; i < pd_findings_stored(list); i++) {
		const pd_finding *f = pd_findings_at(list, i);

		fuzz_wants(f->code && f->code[0], "a finding without a code");
		fuzz_wants(f->found && f->expected,
		           "a finding without found or expected");
		fuzz_wants(f->line <= lines_of(text, size),
		           "a finding on a line that is not there");
		fuzz_wants(f->column <= size + 1,
		           "a finding in a column that is not there");
	}
}

static size_t rows_of(pd_reader *r)
{
	const pd_batch *b = NULL;
	size_t kept = 0;

	for (;;) {
		fuzz_wants(pd_reader_next(r, &b, NULL) == PD_OK,
		           "reading failed");
		if (!b->n_rows)
			return kept;
		for (size_t i = 0; i < b->n_rows; i++)
			for (int f = 0; f < PD_N_FIELDS; f++)
				fuzz_wants(!b->cell[f].number ||
				           !isinf(b->cell[f].number[i]),
				           "an infinite number in a batch");
		kept += b->n_rows;
	}
}

int fuzz_table(const uint8_t *data, size_t size)
{
	static const unsigned char key[32] = { 7, 1, 9 };
	size_t map_size = 0, table = 0;
	pd_error err = { .status = PD_OK };
	pd_map *map = NULL;
	int has_map = split(data, size, &map_size, &table);
	pd_status st = pd_map_parse(has_map ? (const char *)data : NULL,
	                            map_size, "a.map", &map, &err);

	if (st != PD_OK) {
		fuzz_error(&err, data, map_size);
		return 0;
	}
	const uint8_t *text = data + table;
	size_t length = size - table;
	pd_findings *list = pd_findings_new();
	pd_reader *r = NULL;
	pd_buf kept;

	pd_buf_init(&kept);
	fuzz_wants(list && pd_reader_open((const char *)text, length, map, key,
	                                  list, &r, &err) == PD_OK,
	           "the reader did not open");
	size_t n = rows_of(r);

	fuzz_wants(n <= pd_reader_rows(r), "more rows kept than read");
	fuzz_wants(n == pd_reader_rows(r) ||
	           pd_findings_count(list, PD_ERROR) > 0,
	           "a row was lost without a word");
	judge_findings(list, text, length);
	if (pd_findings_count(list, PD_ERROR) == 0)
		fuzz_wants(pd_reader_keepable(r, &kept, &err) == PD_OK,
		           "what may be kept could not be written");
	pd_buf_clear(&kept);
	pd_reader_close(r);
	pd_findings_free(list);
	pd_map_free(map);
	return 0;
}

/* ---- text files ---------------------------------------------------------- */

int fuzz_plan(const uint8_t *data, size_t size)
{
	pd_arena *arena = pd_arena_new();
	pd_error err = { .status = PD_OK };
	pd_plan plan = { 0 };

	if (pd_plan_parse(arena, (const char *)data, size, "a.plan", &plan,
	                  &err) != PD_OK) {
		fuzz_error(&err, data, size);
	} else {
		fuzz_wants(plan.level > 0 && plan.level < 1,
		           "a level outside 0 to 1");
		for (size_t i = 0; i < plan.n_questions; i++) {
			const pd_question *q = &plan.question[i];

			fuzz_wants(q->name && q->outcome,
			           "a question without name or outcome");
			fuzz_wants(pd_plan_find(&plan, q->name) == q,
			           "a question is not found by its name");
		}
	}
	pd_arena_free(arena);
	return 0;
}

int fuzz_claim(const uint8_t *data, size_t size)
{
	pd_arena *arena = pd_arena_new();
	pd_error err = { .status = PD_OK };
	pd_claim_file claim = { 0 };

	if (pd_claim_parse(arena, (const char *)data, size, "a.claim", &claim,
	                   &err) != PD_OK)
		fuzz_error(&err, data, size);
	pd_arena_free(arena);
	return 0;
}

int fuzz_printed(const uint8_t *data, size_t size)
{
	pd_arena *arena = pd_arena_new();
	pd_error err = { .status = PD_OK };
	pd_pooled_file file = { 0 };

	if (pd_pooled_read(arena, fuzz_file(data, size), &file, &err) != PD_OK)
		fuzz_error(&err, data, size);
	pd_arena_free(arena);
	return 0;
}

/* ---- numbers and dates --------------------------------------------------- */

/* A number taken is one the C library reads the same. */
static void hold_number(const char *s, size_t n)
{
	char text[512];
	double a, b;
	int64_t whole;

	if (n >= sizeof text)
		return;
	memcpy(text, s, n);
	text[n] = '\0';
	if (pd_scan_number(s, n, '.', 0, &a)) {
		fuzz_wants(isfinite(a), "a scanned number is not finite");
		b = strtod(text, NULL); /* the C locale */
		fuzz_wants(fabs(a - b) <= fabs(b) * 1e-15,
		           "a number is read otherwise by the C library");
	}
	if (pd_scan_number(s, n, '.', 3, &b) && isfinite(b))
		fuzz_wants(pd_scan_number(s, n, '.', 0, &a),
		           "a number is read only with a shift");
	if (pd_scan_whole(s, n, &whole))
		fuzz_wants(whole == strtoll(text, NULL, 10),
		           "a whole number is read otherwise");
}

static void hold_date(const char *s, size_t n)
{
	static const pd_date_form form[] = {
		{ "ymd", '-' }, { "dmy", '.' }, { "mdy", '/' }, { "dby", ' ' },
	};

	for (size_t i = 0; i < sizeof form / sizeof *form; i++) {
		int32_t days, again;
		char text[11];

		if (!pd_scan_date(s, n, &form[i], &days))
			continue;
		pd_date_print(days, text);
		fuzz_wants(pd_scan_date(text, strlen(text), &pd_date_iso,
		                        &again) && again == days,
		           "a date does not come back from its print");
	}
}

int fuzz_number(const uint8_t *data, size_t size)
{
	const char *s = (const char *)data;
	size_t start = 0;

	for (size_t i = 0; i <= size; i++)
		if (i == size || s[i] == '\n') {
			hold_number(s + start, i - start);
			hold_date(s + start, i - start);
			fuzz_wants(pd_utf8_count(s + start, i - start) <=
			           i - start, "more characters than bytes");
			start = i + 1;
		}
	return 0;
}

/* ---- databases ----------------------------------------------------------- */

int fuzz_store(const uint8_t *data, size_t size)
{
	pd_error err = { .status = PD_OK };
	pd_store *s = NULL;
	pd_store_counts counts;
	char path[] = "/dev/shm/perdraw-fuzz-XXXXXX";
	int fd = mkstemp(path); /* a memory file has no name to open by */

	fuzz_wants(fd >= 0 && write(fd, data, size) == (ssize_t)size,
	           "no file in memory");
	close(fd);
	if (pd_store_open(path, PD_OPEN_READ, &s, &err) != PD_OK) {
		fuzz_wants(!s && err.text[0], "a refusal without words");
	} else {
		if (pd_store_audit_verify(s, &err) == PD_OK &&
		    pd_store_count(s, &counts, &err) != PD_OK)
			fuzz_wants(err.text[0] != 0, "a failure without words");
		pd_store_close(s);
	}
	unlink(path);
	return 0;
}
