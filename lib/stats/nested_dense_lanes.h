/*
 * nested_dense_lanes.h - the sums of nested_dense.h, LANES numbers side by
 * side (2 or 4). nested_dense.c takes it in once for any processor and once
 * for those with vectors of four: TARGET and NAME(x) say which. Every number
 * goes through the same operations in the same order either way, and neither
 * has a fused multiply-add: the results are the same bytes.
 */
typedef double NAME(lanes) __attribute__((vector_size(8 * LANES), aligned(8),
                                          may_alias));
#define V NAME(lanes)
#define AT(x) (*(V *)(x))
#define OF(x) (*(const V *)(x))

/* A tile of acc, 4 rows and `blocks` times LANES columns (1 or 2), kept in
 * registers while the rows stream by. */
TARGET PD_INLINE void NAME(tile)(double *acc, const double *x, size_t x_step,
                                 const double *y, size_t y_step,
                                 const double *weight, size_t rows, size_t ld,
                                 size_t blocks)
{
	V a = { 0.0 }, b = { 0.0 }, c = { 0.0 }, d = { 0.0 }, lo;
	V e = { 0.0 }, f = { 0.0 }, g = { 0.0 }, h = { 0.0 }, hi = { 0.0 };

	for (size_t k = 0; k < rows; k++, x += x_step, y += y_step) {
		lo = OF(y);
		if (blocks > 1)
			hi = OF(y + LANES);
		if (weight) {
			lo *= weight[k];
			hi *= weight[k];
		}
		a += x[0] * lo;
		b += x[1] * lo;
		c += x[2] * lo;
		d += x[3] * lo;
		if (blocks < 2)
			continue;
		e += x[0] * hi;
		f += x[1] * hi;
		g += x[2] * hi;
		h += x[3] * hi;
	}
	AT(acc) += a;
	AT(acc + ld) += b;
	AT(acc + 2 * ld) += c;
	AT(acc + 3 * ld) += d;
	if (blocks < 2)
		return;
	AT(acc + LANES) += e;
	AT(acc + ld + LANES) += f;
	AT(acc + 2 * ld + LANES) += g;
	AT(acc + 3 * ld + LANES) += h;
}

/* Rows a .. a + 3 of acc, columns b on. */
TARGET PD_INLINE void NAME(band)(double *acc, const double *x, size_t x_step,
                                 const double *y, size_t y_step,
                                 const double *weight, size_t rows, size_t ld,
                                 size_t a, size_t b)
{
	for (; b + 2 * LANES <= ld; b += 2 * LANES)
		NAME(tile)(acc + a * ld + b, x + a, x_step, y + b, y_step,
		           weight, rows, ld, 2);
	if (b < ld)
		NAME(tile)(acc + a * ld + b, x + a, x_step, y + b, y_step,
		           weight, rows, ld, 1);
}

TARGET static void NAME(cross_add)(double *acc, const double *x, size_t x_step,
                                   const double *y, size_t y_step,
                                   const double *weight, size_t rows,
                                   size_t ld)
{
	bool square = x == y;

	for (size_t k = 0; k < rows; k += CHUNK) {
		size_t n = rows - k < CHUNK ? rows - k : CHUNK;
		const double *xk = x + k * x_step, *yk = y + k * y_step;

		for (size_t a = 0; a < ld; a += 4)
			if (weight)
				NAME(band)(acc, xk, x_step, yk, y_step,
				           weight + k, n, ld, a,
				           square ? a : 0);
			else
				NAME(band)(acc, xk, x_step, yk, y_step, NULL,
				           n, ld, a, square ? a : 0);
	}
	for (size_t i = 0; square && i < ld; i++)
		for (size_t j = 0; j < i; j++)
			acc[i * ld + j] = acc[j * ld + i];
}

/* Columns c .. c + LANES - 1 of four rows, turned by the first `rows` of t. */
TARGET PD_INLINE void NAME(turn_four)(double *x, const double *t, size_t ld,
                                      size_t c, size_t rows)
{
	double *y = x + ld, *z = y + ld, *w = z + ld;
	V a = { 0.0 }, b = { 0.0 }, d = { 0.0 }, e = { 0.0 };

	for (size_t k = 0; k < rows; k++) {
		V by = OF(t + k * ld + c);

		a += x[k] * by;
		b += y[k] * by;
		d += z[k] * by;
		e += w[k] * by;
	}
	AT(x + c) = a;
	AT(y + c) = b;
	AT(z + c) = d;
	AT(w + c) = e;
}

TARGET PD_INLINE void NAME(turn_one)(double *x, const double *t, size_t ld,
                                     size_t c, size_t rows)
{
	V a = { 0.0 };

	for (size_t k = 0; k < rows; k++)
		a += x[k] * OF(t + k * ld + c);
	AT(x + c) = a;
}

TARGET static void NAME(rows_turn)(double *x, size_t rows, const double *t,
                                   size_t ld)
{
	size_t k = 0;

	for (; k + 4 <= rows; k += 4) /* last columns first: in place */
		for (size_t c = ld; c >= LANES; c -= LANES)
			NAME(turn_four)(x + k * ld, t, ld, c - LANES, c);
	for (; k < rows; k++)
		for (size_t c = ld; c >= LANES; c -= LANES)
			NAME(turn_one)(x + k * ld, t, ld, c - LANES, c);
}

TARGET static void NAME(column_add)(double *sum, const double *x, size_t rows,
                                    size_t at, size_t ld)
{
	for (size_t k = 0; k < rows; k += CHUNK) {
		size_t n = rows - k < CHUNK ? rows - k : CHUNK;

		for (size_t c = 0; c < ld; c += LANES) {
			V t = { 0.0 };

			for (size_t i = k; i < k + n; i++)
				t += x[i * ld + at] * OF(x + i * ld + c);
			AT(sum + c) += t;
		}
	}
}

static const pd_dense_kernel NAME(kernel) = {
	NAME(cross_add), NAME(rows_turn), NAME(column_add)
};

#undef V
#undef AT
#undef OF
#undef LANES
#undef NAME
#undef TARGET
