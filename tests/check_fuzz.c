/*
 * check_fuzz.c - the targets of tests/fuzz on their seeds and on some hundred
 * seeded changes of each: what `make fuzz` does for hours, for seconds. A
 * target aborts where a room breaks its word; the fork of Check catches it.
 */
#include "fuzz/targets.h"
#include "reading_help.h"
#include "data/load.h"

#include <unistd.h>

typedef int target(const uint8_t *data, size_t size);

static const struct seed {
	target *run;
	const char *name, *map, *file;
} seeds[] = {
	{ fuzz_table, "table", NULL, "demo-data/small.csv" },
	{ fuzz_table, "table", NULL, "tests/bad/spreadsheet.csv" },
	{ fuzz_table, "table", NULL, "tests/bad/quotes.csv" },
	{ fuzz_table, "table", NULL, "tests/bad/identifiers.csv" },
	{ fuzz_table, "table", NULL, "tests/bad/impossible.csv" },
	{ fuzz_table, "table", "tests/bad/dialect.map",
	  "tests/bad/dialect.csv" },
	{ fuzz_table, "table", "tests/real/cd34.map", "tests/bad/utf16.csv" },
	{ fuzz_plan, "plan", NULL, "demo-data/demo.plan" },
	{ fuzz_plan, "plan", NULL, "demo-data/questions.plan" },
	{ fuzz_plan, "plan", NULL, "demo-data/naive.plan" },
	{ fuzz_claim, "claim", NULL, "demo-data/demo.claim" },
	{ fuzz_printed, "printed", NULL, "demo-data/printed.csv" },
	{ fuzz_number, "number", NULL, "tests/fuzz/numbers.txt" },
};

/* Words that parsers mind, put in by the changes. */
static const char *const words[] = {
	"\"", "\"\"", ",", ";", "\t", "\n", "\r\n", "\r", "=", "[", "]", "#",
	"1e999", "-1e-999", "0x1p3", "nan", "inf", "1,234", "9223372036854775808",
	"\xef\xbb\xbf", "\xff\xfe", "\xc0\x80", "\xed\xa0\x80", "TNTC", "<2",
	">150", "against", "per", "adjust", "margin = ", "0.80", "2024-02-30",
	"----", "%s%n", "[plan]", "columns", "\x1b[2J", "\xe2\x80\xae",
};

static size_t put(uint8_t *to, size_t n, size_t room, size_t at,
                  const void *bytes, size_t length)
{
	if (n + length > room)
		return n;
	memmove(to + at + length, to + at, n - at);
	memcpy(to + at, bytes, length);
	return n + length;
}

/* One to eight changes of a copy: bits, words, cuts, repeats. */
static size_t change(uint64_t *s, const uint8_t *from, size_t size,
                     uint8_t *to, size_t room)
{
	size_t n = size;

	memcpy(to, from, size);
	for (unsigned k = 1 + next_below(s, 8); k && n; k--) {
		size_t at = next_below(s, (unsigned)n);
		size_t length = 1 + next_below(s, 40);
		const char *w = words[next_below(s, sizeof words /
		                                    sizeof *words)];

		if (length > n - at)
			length = n - at;
		switch (next_below(s, 5)) {
		case 0:
			to[at] ^= (uint8_t)(1u << next_below(s, 8));
			break;
		case 1:
			n = put(to, n, room, at, w, strlen(w));
			break;
		case 2:
			memmove(to + at, to + at + length, n - at - length);
			n -= length;
			break;
		case 3:
			n = put(to, n, room, next_below(s, (unsigned)n),
			        from + next_below(s, (unsigned)(size / 2 + 1)),
			        length < size / 2 ? length : size / 2);
			break;
		default:
			to[at] = (uint8_t)next_below(s, 256);
		}
	}
	return n;
}

static void hammer(target *run, const uint8_t *from, size_t size, int n,
                   uint64_t seed)
{
	size_t room = size + 4096;
	uint8_t *copy = malloc(room);

	ck_assert_ptr_nonnull(copy);
	for (int i = 0; i < n; i++)
		run(copy, change(&seed, from, size, copy, room));
	free(copy);
}

static uint8_t *seed_bytes(const struct seed *seed, size_t *size)
{
	size_t n = 0, map = 0;
	char *file = slurp(seed->file, &n);
	char *head = seed->map ? slurp(seed->map, &map) : NULL;
	uint8_t *all = malloc(n + map + 8);

	ck_assert_ptr_nonnull(all);
	*size = 0;
	if (head) {
		memcpy(all, head, map);
		memcpy(all + map, "\n----\n", 6);
		*size = map + 6;
	}
	memcpy(all + *size, file, n);
	*size += n;
	free(file);
	free(head);
	return all;
}

START_TEST(any_bytes_end_in_words)
{
	size_t size;
	uint8_t *bytes = seed_bytes(&seeds[_i], &size);

	ck_assert_uint_gt(size, 0);
	seeds[_i].run(bytes, size);
	seeds[_i].run(bytes, 0);
	hammer(seeds[_i].run, bytes, size, rounds(400),
	       1000003u + (uint64_t)_i);
	free(bytes);
}
END_TEST

/* A small store in one file, as somebody sends it. */
static char *store_bytes(size_t *size)
{
	char folder[] = "/tmp/perdraw-fuzz-XXXXXX", csv[512], path[512], *bytes;
	const char *source = getenv("PERDRAW_SOURCE");
	pd_load_request request = { .path = csv, .date = "2026-01-05" };
	pd_load_report report;
	pd_findings *list = pd_findings_new();
	pd_store *s = NULL;
	pd_error err = { .text = "" };

	ck_assert_ptr_nonnull(mkdtemp(folder));
	snprintf(csv, sizeof csv, "%s/demo-data/small.csv",
	         source ? source : getenv("srcdir") ? getenv("srcdir") : ".");
	snprintf(path, sizeof path, "%s/c.db", folder);
	ck_assert_msg(pd_store_open(path, PD_OPEN_CREATE, &s, &err) == PD_OK,
	              "%s", err.text);
	ck_assert_msg(pd_load_file(s, &request, list, &report, &err) == PD_OK,
	              "%s", err.text);
	pd_store_close(s);
	pd_findings_free(list);
	FILE *f = fopen(path, "rb");

	ck_assert_ptr_nonnull(f);
	bytes = malloc(1 << 22);
	ck_assert_ptr_nonnull(bytes);
	*size = fread(bytes, 1, 1 << 22, f);
	fclose(f);
	snprintf(path, sizeof path, "rm -rf '%s'", folder);
	ck_assert_int_eq(system(path), 0);
	return bytes;
}

START_TEST(any_database_ends_in_words)
{
	size_t size;
	char *bytes = store_bytes(&size);

	ck_assert_uint_gt(size, 4096);
	fuzz_store((uint8_t *)bytes, size);
	fuzz_store((uint8_t *)bytes, 0);
	hammer(fuzz_store, (uint8_t *)bytes, size, rounds(200), 77u);
	free(bytes);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("fuzz");
	TCase *t = tcase_create("seeds and changes of them");
	SRunner *r = srunner_create(s);

	tcase_set_timeout(t, 300);
	tcase_add_loop_test(t, any_bytes_end_in_words, 0,
	                    sizeof seeds / sizeof *seeds);
	tcase_add_test(t, any_database_ends_in_words);
	suite_add_tcase(s, t);
	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	printf("%d passed, %d failed\n", srunner_ntests_run(r) - failed, failed);
	srunner_free(r);
	return failed != 0;
}
