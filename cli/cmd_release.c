/*
 * cmd_release.c - a de-identified data set for others, in a folder of its own,
 * noted in the audit chain.
 */
#include "command.h"
#include "folder.h"
#include "manifest.h"
#include "out.h"
#include "reading.h"
#include "running.h"
#include "show.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct release_options {
	const char *db, *into, *key, *recipient, *date;
	unsigned smallest, seed;
	int small, ages;
	bool method_names, days, batches;
	struct show show;
};

#define AT(member) offsetof(struct release_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, true, AT(db), "FILE", "the clinic's database" },
	{ "into", 'i', OPT_TEXT, true, AT(into), "FOLDER",
	  "folder to make, new or empty" },
	{ "smallest", 0, OPT_WHOLE, false, AT(smallest), "N",
	  "fewest patients in a group, 5 unless given" },
	{ "small-groups", 0, OPT_CHOICE, false, AT(small), "blank|tell",
	  "what becomes of smaller ones, 'blank' unless given" },
	{ "ages", 0, OPT_CHOICE, false, AT(ages), "bands|years",
	  "ages in bands of ten years or in years; 90+ above 89" },
	{ "method-names", 0, OPT_FLAG, false, AT(method_names), NULL,
	  "keep the names of method versions instead of codes" },
	{ "days", 0, OPT_FLAG, false, AT(days), NULL,
	  "add the days since the patient's first visit" },
	{ "batches", 0, OPT_FLAG, false, AT(batches), NULL,
	  "add a code of the file a result was loaded from" },
	{ "key", 0, OPT_TEXT, false, AT(key), "NEWFILE",
	  "write which code is which name, outside the folder" },
	{ "seed", 0, OPT_WHOLE, false, AT(seed), "NUMBER",
	  "draw the codes from NUMBER: the same bytes each time" },
	{ "recipient", 0, OPT_TEXT, false, AT(recipient), "WORDS",
	  "for whom, noted in the audit chain alone" },
	SHOW_OPTS(struct release_options, show),
	{ "date", 0, OPT_TEXT, false, AT(date), "DATE",
	  "date of the release instead of today's (ISO)" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

/* What stands in the manifest that goes out with the files. */
static const char *const open_choices[] = { "smallest", "small-groups", "ages",
	                                    "method-names", "days", "batches",
	                                    NULL };

/* ---- before the work -------------------------------------------------- */

static pd_status check_outside(const struct release_options *o, pd_error *err)
{
	const struct show *s = &o->show;
	const char *const path[] = { o->key, s->manifest, s->out, s->text,
		                     s->html, s->csv, s->latex, s->xlsx,
		                     s->json, s->tsv, s->figures, o->db };

	for (size_t i = 0; i < sizeof path / sizeof *path; i++)
		if (path[i] && strcmp(path[i], "-") != 0 &&
		    folder_holds(o->into, path[i]))
			return pd_fail(err, PD_USAGE, "'%s' would lie in the "
			               "folder that is given away", path[i]);
	return PD_OK;
}

static pd_status check_key(const struct release_options *o, pd_error *err)
{
	struct stat at;

	if (!o->key || lstat(o->key, &at) != 0)
		return PD_OK;
	return pd_fail(err, PD_CANNOT_CREATE, "'%s' is there already, and a "
	               "key never replaces a file; name a new one", o->key);
}

static pd_status check(const struct release_options *o, pd_error *err)
{
	pd_status st = show_check(&o->show, &o->db, 1, err);

	if (st == PD_OK && (o->smallest == 1 || o->smallest > 1000))
		st = pd_fail(err, PD_USAGE, "option '--smallest' wants 2 to "
		             "1000, found '%u'", o->smallest);
	if (st == PD_OK && o->show.manifest && !o->seed)
		st = pd_fail(err, PD_USAGE, "'--manifest' goes with '--seed': "
		             "codes from the system's random source cannot be "
		             "drawn again; the folder has a manifest of its "
		             "own");
	if (st == PD_OK && o->recipient &&
	    (strlen(o->recipient) > 200 || strpbrk(o->recipient, "\r\n\t")))
		st = pd_fail(err, PD_USAGE, "option '--recipient' wants up to "
		             "200 bytes in one line");
	if (st == PD_OK)
		st = folder_check(o->into, err);
	if (st == PD_OK && !running_now()->recomputed)
		st = check_outside(o, err);
	return st == PD_OK ? check_key(o, err) : st;
}

/* ---- the files -------------------------------------------------------- */

static pd_status add_row(void *user, const pd_release_table *t,
                         const char *const *cell, pd_error *err)
{
	pd_buf *to = user;

	pd_release_csv_row(t, cell, to);
	return pd_buf_ok(to) ? PD_OK
	                     : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

/* A table written, read back from where it was written, and its groups of
 * patients counted. */
static pd_status put_table(struct folder *f, pd_release_work *w, int which,
                           pd_error *err)
{
	pd_release *r = pd_release_told(w);
	const pd_release_table *t = &r->table[which];
	char *bytes = NULL;
	size_t size;
	pd_buf text;

	pd_buf_init(&text);
	pd_release_csv_head(t, &text);
	pd_status st = pd_release_rows(w, which, add_row, &text, err);

	if (st == PD_OK)
		st = folder_put(f, t->file, pd_buf_text(&text), text.length,
		                err);
	pd_buf_clear(&text);
	if (st == PD_OK)
		st = folder_read(f, t->file, &bytes, &size, err);
	if (st == PD_OK)
		st = pd_release_recount(bytes, size, r->smallest,
		                        &r->groups[which], err);
	free(bytes);
	return st;
}

typedef pd_status make_bytes(const pd_release *r, pd_buf *to, pd_error *err);

static pd_status put_bytes(struct folder *f, const pd_release *r,
                           const char *name, make_bytes *make, pd_error *err)
{
	pd_buf text;

	pd_buf_init(&text);
	pd_status st = make(r, &text, err);

	if (st == PD_OK)
		st = folder_put(f, name, pd_buf_text(&text), text.length, err);
	pd_buf_clear(&text);
	return st;
}

typedef pd_status make_doc(const pd_release *r, pd_doc **out, pd_error *err);

static pd_status put_prose(struct folder *f, const pd_release *r,
                           const char *name, make_doc *make, pd_error *err)
{
	const pd_text_style style = { .width = 80 };
	pd_doc *doc = NULL;
	pd_buf text;
	pd_status st = make(r, &doc, err);

	pd_buf_init(&text);
	if (st == PD_OK)
		st = pd_doc_write_text(doc, &style, &text, err);
	if (st == PD_OK)
		st = folder_put(f, name, pd_buf_text(&text), text.length, err);
	pd_buf_clear(&text);
	pd_doc_free(doc);
	return st;
}

/* The manifest that goes out; its SHA-256 stands for the whole folder. */
static pd_status put_manifest(struct folder *f, char sha256[65], pd_error *err)
{
	pd_buf text;

	pd_buf_init(&text);
	pd_status st = manifest_make_open(open_choices, &text, err);

	if (st == PD_OK) {
		pd_sha256_hex(pd_buf_text(&text), text.length, sha256);
		st = folder_put(f, "manifest.tsv", pd_buf_text(&text),
		                text.length, err);
	}
	pd_buf_clear(&text);
	return st;
}

static pd_status put_files(struct folder *f, pd_release_work *w,
                           char sha256[65], pd_error *err)
{
	pd_release *r = pd_release_told(w);
	pd_status st = put_table(f, w, PD_RELEASE_LONG, err);

	if (st == PD_OK)
		st = put_table(f, w, PD_RELEASE_WIDE, err);
	if (st == PD_OK)
		st = put_bytes(f, r, "dictionary.csv", pd_release_dictionary,
		               err);
	if (st == PD_OK)
		st = put_prose(f, r, "dictionary.txt",
		               pd_compose_release_dictionary, err);
	if (st == PD_OK)
		st = put_bytes(f, r, "csv-metadata.json", pd_release_csv_about,
		               err);
	if (st == PD_OK)
		st = put_prose(f, r, "report.txt", pd_compose_release, err);
	if (st == PD_OK)
		st = put_prose(f, r, "README.txt", pd_compose_release_readme,
		               err);
	return st == PD_OK ? put_manifest(f, sha256, err) : st;
}

/* ---- the key ---------------------------------------------------------- */

static pd_status write_key(const char *path, const pd_release_work *w,
                           pd_error *err)
{
	pd_buf text;

	pd_buf_init(&text);
	pd_status st = pd_release_key(w, &text, err);

	if (st == PD_OK)
		st = out_apart(path, false, pd_buf_text(&text), text.length,
		               err);
	pd_buf_clear(&text);
	return st;
}

/* ---- the way ---------------------------------------------------------- */

/* The key, the note in the chain, the folder's name: the note stands before
 * anybody can see the folder. */
static pd_status settle(const struct release_options *o, struct folder *f,
                        pd_store *store, const pd_release_work *w,
                        const char *sha256, pd_error *err)
{
	bool with_key = o->key != NULL;
	pd_status st = PD_OK;

	if (running_now()->recomputed)
		return PD_OK;
	if (with_key)
		st = write_key(o->key, w, err);
	if (st != PD_OK)
		return st;
	st = pd_release_note(store, w, sha256, o->recipient, with_key, err);
	if (st == PD_OK)
		st = folder_settle(f, err);
	if (st != PD_OK && with_key)
		unlink(o->key);
	return st;
}

static pd_status make_folder(const struct release_options *o, pd_store *store,
                             pd_release_work *w, pd_error *err)
{
	struct folder f;
	char sha256[65] = "";
	pd_status st = folder_begin(&f, o->into, err);

	if (st == PD_OK)
		st = put_files(&f, w, sha256, err);
	if (st == PD_OK)
		st = settle(o, &f, store, w, sha256, err);
	folder_end(&f);
	return st;
}

static pd_status release(const void *options, const struct operands *operands,
                         const char *day, pd_arena *arena, bool *refused,
                         pd_error *err)
{
	const struct release_options *o = options;
	const pd_release_request ask = {
		.date = day, .smallest = o->smallest,
		.only_warn = o->small == 2,
		.whole_years = o->ages == 2, .method_names = o->method_names,
		.days = o->days, .batches = o->batches, .seeded = o->seed != 0,
		.seed = o->seed,
	};
	pd_open_mode mode = running_now()->recomputed ? PD_OPEN_READ
	                                              : PD_OPEN_WRITE;
	pd_release_work *w = NULL;
	pd_store *store = NULL;
	pd_doc *doc = NULL;
	pd_status st = pd_store_open(o->db, mode, &store, err);

	(void)operands;
	*refused = false;
	if (st == PD_OK)
		st = pd_release_make(store, &ask, arena, &w, err);
	if (st == PD_OK)
		st = make_folder(o, store, w, err);
	if (st == PD_OK)
		st = pd_compose_release(pd_release_told(w), &doc, err);
	pd_release_free(w);
	pd_store_close(store);
	if (st == PD_OK)
		st = show_write(&o->show, doc, NULL, err);
	pd_doc_free(doc);
	return st;
}

static int release_run(const void *options, const struct operands *operands)
{
	const struct release_options *o = options;
	pd_error err = { 0 };
	pd_status st = check(o, &err);

	return reading_run(release, o, operands, o->date, st, &err);
}

const struct command cmd_release = {
	.name = "release",
	.summary = "a de-identified data set for others, in a folder",
	.operands = "",
	.about =
	    "Writes a new folder with every result in long and wide form,\n"
	    "dictionary, description, manifest and a report of what was taken.\n"
	    "Names become random codes, dates years, ages bands with 90+; of\n"
	    "patients who are too few of their kind, what tells them apart is\n"
	    "blanked. It stays pseudonymised, not anonymous: the privacy\n"
	    "officer decides. The release is noted in the audit chain. Exit\n"
	    "status 1 says that nothing was released, and why.\n",
	.examples =
	    "  perdraw release --db clinic.db --into release-2026\n"
	    "  perdraw release --db clinic.db --into release-2026 \\\n"
	    "      --smallest 11 --key keys/release-2026.key \\\n"
	    "      --recipient 'registry, agreement 7'\n"
	    "  perdraw verify release-2026/manifest.tsv\n",
	.opts = opts,
	.size = sizeof(struct release_options),
	.run = release_run
};
