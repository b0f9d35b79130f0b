/*
 * load_feed.c - the file is read by a thread of its own: while rows are being
 * written, the next batches are parsed and checked. Batches are copied into a
 * small ring, since the reader's own lives only until its next call.
 */
#include "base/buf.h"
#include "data/load_own.h"
#include "data/reader.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <zstd.h>

enum { RING = 4 };

struct slot {
	pd_batch batch;
	pd_arena *cells, *texts;
};

struct load_feed {
	pd_reader *reader;
	pthread_t thread;
	pthread_mutex_t lock;
	pthread_cond_t changed;
	struct slot slot[RING];
	size_t n_made, n_taken; /* batches into and out of the ring         */
	bool holding;           /* the caller has slot n_taken              */
	bool ended, stop, joined;
	pd_status st;
	pd_error err;
	void *kept;             /* what may be kept of the file, compressed */
	size_t kept_size;
};

/* Room for one column like the reader's, made when it first appears. */
static bool make_room(struct slot *s, const pd_batch *b)
{
	for (int f = 0; f < PD_N_FIELDS; f++) {
		const pd_cells *from = &b->cell[f];
		pd_cells *to = &s->batch.cell[f];

#define ROOM(part, type)                                                       \
	if (from->part && !to->part &&                                         \
	    !(to->part = PD_NEW(s->cells, type, PD_BATCH_ROWS)))               \
		return false
		ROOM(number, double);
		ROOM(state, uint8_t);
		ROOM(text, const char *);
		ROOM(length, uint32_t);
		ROOM(code, int8_t);
#undef ROOM
	}
	return s->batch.line ||
	       (s->batch.line = PD_NEW(s->cells, uint32_t, PD_BATCH_ROWS));
}

static bool copy_texts(struct slot *s, const pd_cells *from, pd_cells *to,
                       size_t n)
{
	size_t size = 0;

	for (size_t i = 0; i < n; i++)
		size += from->text[i] ? from->length[i] + 1 : 0;
	char *at = size ? pd_arena_alloc(s->texts, size, 1) : NULL;

	if (size && !at)
		return false;
	for (size_t i = 0; i < n; i++) {
		to->text[i] = NULL;
		to->length[i] = from->text[i] ? from->length[i] : 0;
		if (!from->text[i])
			continue;
		memcpy(at, from->text[i], to->length[i]);
		at[to->length[i]] = '\0';
		to->text[i] = at;
		at += to->length[i] + 1;
	}
	return true;
}

static bool copy_batch(struct slot *s, const pd_batch *b)
{
	size_t n = b->n_rows;

	pd_arena_rewind(s->texts, (pd_arena_mark){ NULL, 0 });
	if (!make_room(s, b))
		return false;
	s->batch.n_rows = n;
	memcpy(s->batch.line, b->line, n * sizeof *b->line);
	memcpy(s->batch.column, b->column, sizeof b->column);
	for (int f = 0; f < PD_N_FIELDS; f++) {
		const pd_cells *from = &b->cell[f];
		pd_cells *to = &s->batch.cell[f];

		if (from->number)
			memcpy(to->number, from->number, n * sizeof(double));
		if (from->state)
			memcpy(to->state, from->state, n);
		if (from->code)
			memcpy(to->code, from->code, n);
		if (from->text && !copy_texts(s, from, to, n))
			return false;
	}
	return true;
}

/* Wait for a free slot; false when the caller wants no more. */
static bool wait_for_room(struct load_feed *f)
{
	bool go;

	pthread_mutex_lock(&f->lock);
	while (f->n_made - f->n_taken == RING && !f->stop)
		pthread_cond_wait(&f->changed, &f->lock);
	go = !f->stop;
	pthread_mutex_unlock(&f->lock);
	return go;
}

static void tell(struct load_feed *f, bool made, bool ended)
{
	pthread_mutex_lock(&f->lock);
	f->n_made += made;
	f->ended = f->ended || ended;
	pthread_cond_broadcast(&f->changed);
	pthread_mutex_unlock(&f->lock);
}

/*
 * After the last batch, while rows are still being written: the file's bytes
 * without what must not be kept, compressed. Level 1: 3 times smaller at
 * 300 MB/s; higher levels gain a tenth and cost more than the rows do.
 */
static pd_status keep(struct load_feed *f)
{
	pd_buf b;
	size_t room;
	pd_status st;

	pd_buf_init(&b);
	st = pd_reader_keepable(f->reader, &b, &f->err);
	room = ZSTD_compressBound(b.length);
	if (st == PD_OK && !(f->kept = malloc(room ? room : 1)))
		st = pd_fail(&f->err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK) {
		f->kept_size = ZSTD_compress(f->kept, room, pd_buf_text(&b),
		                             b.length, 1);
		if (ZSTD_isError(f->kept_size))
			st = pd_fail(&f->err, PD_INTERNAL, "compression: %s",
			             ZSTD_getErrorName(f->kept_size));
	}
	pd_buf_clear(&b);
	return st;
}

static void *run(void *user)
{
	struct load_feed *f = user;
	const pd_batch *b;

	while (wait_for_room(f)) {
		f->st = pd_reader_next(f->reader, &b, &f->err);
		if (f->st == PD_OK && b->n_rows == 0) {
			tell(f, false, true);
			f->st = keep(f);
			break;
		}
		if (f->st != PD_OK)
			break;
		if (!copy_batch(&f->slot[f->n_made % RING], b)) {
			f->st = pd_fail(&f->err, PD_NO_MEMORY,
			                "out of memory");
			break;
		}
		tell(f, true, false);
	}
	tell(f, false, true);
	return NULL;
}

static void clear(struct load_feed *f)
{
	for (int k = 0; k < RING; k++) {
		pd_arena_free(f->slot[k].cells);
		pd_arena_free(f->slot[k].texts);
	}
	pd_reader_close(f->reader);
	free(f->kept);
	free(f);
}

pd_status load_feed_open(const char *bytes, size_t size, const pd_map *map,
                         const unsigned char *key, pd_findings *findings,
                         load_feed **out, pd_error *err)
{
	struct load_feed *f = calloc(1, sizeof *f);
	bool ok = f != NULL;
	pd_status st;

	*out = NULL;
	for (int k = 0; ok && k < RING; k++) {
		f->slot[k].cells = pd_arena_new();
		f->slot[k].texts = pd_arena_new();
		ok = f->slot[k].cells && f->slot[k].texts;
	}
	if (!ok) {
		if (f)
			clear(f);
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	st = pd_reader_open(bytes, size, map, key, findings, &f->reader, err);
	if (st != PD_OK) {
		clear(f);
		return st;
	}
	pthread_mutex_init(&f->lock, NULL);
	pthread_cond_init(&f->changed, NULL);
	if (pthread_create(&f->thread, NULL, run, f) != 0) {
		pthread_mutex_destroy(&f->lock);
		pthread_cond_destroy(&f->changed);
		clear(f);
		return pd_fail(err, PD_NO_MEMORY, "no thread to read with");
	}
	*out = f;
	return PD_OK;
}

const pd_batch *load_feed_next(load_feed *f)
{
	const pd_batch *b = NULL;

	pthread_mutex_lock(&f->lock);
	if (f->holding) {
		f->n_taken++;
		f->holding = false;
		pthread_cond_broadcast(&f->changed);
	}
	while (f->n_made == f->n_taken && !f->ended)
		pthread_cond_wait(&f->changed, &f->lock);
	if (f->n_made > f->n_taken) {
		f->holding = true;
		b = &f->slot[f->n_taken % RING].batch;
	}
	pthread_mutex_unlock(&f->lock);
	return b;
}

static void join(load_feed *f)
{
	if (f->joined)
		return;
	pthread_mutex_lock(&f->lock);
	f->stop = true;
	pthread_cond_broadcast(&f->changed);
	pthread_mutex_unlock(&f->lock);
	pthread_join(f->thread, NULL);
	f->joined = true;
}

pd_status load_feed_join(load_feed *f, size_t *rows, pd_error *err)
{
	join(f);
	if (f->st != PD_OK && err)
		*err = f->err;
	*rows = pd_reader_rows(f->reader);
	return f->st;
}

const void *load_feed_kept(const load_feed *f, size_t *size)
{
	*size = f->kept_size;
	return f->kept;
}

void load_feed_place(load_feed *f, uint32_t row_line, pd_field field,
                     uint32_t *line, uint32_t *column)
{
	pd_reader_place(f->reader, row_line, field, line, column);
}

void load_feed_free(load_feed *f)
{
	if (!f)
		return;
	join(f);
	pthread_mutex_destroy(&f->lock);
	pthread_cond_destroy(&f->changed);
	clear(f);
}
