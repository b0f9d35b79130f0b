/*
 * impute_draw.c - draws of unmeasured values from the nested model, by Gibbs
 * sampling (Tanner & Wong 1987, J. Am. Stat. Assoc. 82, 528-540). A sweep:
 *
 *  b      | y, variances       normal, effects integrated out (one pass up)
 *  u      | y, b, variances    exactly, from the root down: the pass has left
 *                              C and B of each node with all that lies deeper
 *                              integrated out, so with E the effects above,
 *                              u normal, mean D (B_S v - C_S. E) and
 *                              covariance s^2 D, v = (-b, 1)
 *  y_i    | b, u, s^2          normal between its limits, unmeasured rows only
 *  shift  of a group without one measured row: its effect and its values move
 *         together, residuals kept. u + shift is normal within what the
 *         limits of the rows leave. Without this step such a group would
 *         wander at the pace of a residual (Liu & Sabatti 2000, Biometrika
 *         87, 353-369).
 *  scale  of each level's effects: u = sd u*, u* kept, sd normal (keeps
 *         small variances moving; Yu & Meng 2011, J. Comput. Graph. Stat. 20,
 *         531-570)
 *  variances | u, residuals    inverse chi-square (inverse Wishart for
 *                              blocks): sum u^2 / chi2(N - 1), uniform in the
 *                              standard deviation; SSE / chi2(n)
 */
#include "stats/impute_draw.h"
#include "stats/nested_dense.h"
#include "stats/nested_kernel.h"

#include <math.h>
#include <stdlib.h>

void pd_chain_theta(const struct pd_chain *c, double *theta)
{
	memset(theta, 0, PD_MAX_E * sizeof *theta);
	for (size_t k = 0; k < c->m->depth; k++) {
		const struct pd_level *lv = &c->m->level[k];
		double l[PD_MAX_BLOCK];
		size_t a, b;

		for (a = 0; a < lv->q * lv->q; a++)
			l[a] = c->t[k][a] / c->sigma2;
		pd_chol_semi(l, lv->q, lv->q, 0.0);
		for (size_t e = 0; e < lv->n_elements; e++) {
			pd_element(lv, e, &a, &b);
			theta[lv->first + e] = l[a * lv->q + b];
		}
	}
}

/* b drawn; v = (-b~, 1) in the model's scaled units; c->fixed. */
static void draw_beta(struct pd_chain *c, double *v)
{
	struct pd_nested *m = c->m;
	size_t p = m->p;
	double sd = sqrt(c->sigma2) / m->y_scale;
	double *z = m->vec + m->ld;

	for (size_t i = 0; i < p; i++)
		z[i] = sd * pd_stream_normal(&c->stream);
	for (size_t i = p; i-- > 0;) { /* L' x = z: covariance sd^2 Phi */
		for (size_t k = i + 1; k < p; k++)
			z[i] -= m->chol[k * p + i] * z[k];
		z[i] /= m->chol[i * p + i];
	}
	for (size_t i = 0; i < p; i++)
		v[i] -= z[i];
	for (size_t i = 0; i < m->n; i++) {
		double s = 0.0;

		for (size_t j = 0; j < p; j++)
			s += m->rows[i * m->ld + j] *
			     (m->gamma[j] - m->y_scale * v[j]);
		c->fixed[i] = s;
	}
}

/* Square roots (Cholesky) of D by shape, q*q each, into `root`. */
static void root_d(const struct pd_level *lv, double *root)
{
	size_t q = lv->q;

	memcpy(root, lv->s.d, lv->s.n * q * q * sizeof *root);
	for (size_t s = 0; s < lv->s.n; s++)
		pd_chol_semi(root + s * q * q, q, q, 0.0);
}

/*
 * Effects of one level drawn, in data units; above[g*r] of the parents (NULL
 * at the top) and below[g*r], the sums of effects on R's columns.
 */
static void draw_level(struct pd_chain *c, size_t k, const double *v,
                       const double *root, const double *above, double *below)
{
	struct pd_nested *m = c->m;
	struct pd_level *lv = &m->level[k];
	size_t q = lv->q, r = m->r, ld = m->ld, step = r * r + r * ld;
	double sd = sqrt(c->sigma2);

	for (size_t g = 0; g < lv->n_groups; g++) {
		size_t at = lv->bundle ? lv->bundle[g] : g, s = lv->shape[at];
		const double *b = lv->group_first ?
			lv->group_first + g * step + r * r :
			lv->b + g * r * ld;
		const double *up = above ? above + lv->group_parent[g] * r :
		                           NULL;
		double x[PD_NESTED_BLOCK], z[PD_NESTED_BLOCK];
		double *u = c->u[k] + g * q;

		for (size_t a = 0; a < q; a++) {
			const double *row = b + lv->col[a] * ld;
			const double *cr = lv->s.c + s * r * r +
			                   lv->col[a] * r;

			x[a] = 0.0;
			for (size_t j = 0; j < m->w; j++)
				x[a] += row[j] * v[j];
			x[a] *= m->y_scale;
			for (size_t j = 0; up && j < r; j++)
				x[a] -= cr[j] * up[j];
			z[a] = sd * pd_stream_normal(&c->stream);
		}
		for (size_t j = 0; j < r; j++)
			below[g * r + j] = up ? up[j] : 0.0;
		for (size_t a = 0; a < q; a++) {
			u[a] = 0.0;
			for (size_t j = 0; j < q; j++)
				u[a] += lv->s.d[(s * q + a) * q + j] * x[j] +
				        root[(s * q + a) * q + j] * z[j];
			below[g * r + lv->col[a]] += u[a];
		}
	}
}

/* All effects, then fit = fixed + Z u. */
static bool draw_effects(struct pd_chain *c, const double *v)
{
	struct pd_nested *m = c->m;
	size_t r = m->r, largest = 1;
	double *root, *sums[2];
	const double *above = NULL;

	for (size_t k = 0; k < m->depth; k++) {
		const struct pd_level *lv = &m->level[k];

		largest = lv->n_groups * r > largest ? lv->n_groups * r :
		                                       largest;
		largest = lv->s.n * lv->q * lv->q > largest ?
			lv->s.n * lv->q * lv->q : largest;
	}
	root = calloc(3 * largest, sizeof *root);
	if (!root)
		return false;
	sums[0] = root + largest;
	sums[1] = root + 2 * largest;
	for (size_t k = 0; k < m->depth; k++) {
		root_d(&m->level[k], root);
		draw_level(c, k, v, root, above, sums[k % 2]);
		above = sums[k % 2];
	}
	for (size_t i = 0; i < m->n; i++) {
		c->fit[i] = c->fixed[i];
		for (size_t j = 0; above && j < r; j++)
			c->fit[i] += m->random[i * r + j] *
				above[m->level[m->depth - 1].row_group[i] * r +
				      j];
	}
	free(root);
	return true;
}

static void draw_values(struct pd_chain *c)
{
	double sd = sqrt(c->sigma2);

	for (size_t k = 0; k < c->n_free; k++) {
		size_t i = c->free_row[k];

		c->y[i] = pd_stream_truncated(&c->stream, c->fit[i], sd,
		                              c->low[i], c->high[i]);
	}
}

/* Groups of intercepts with no measured row: effect and values together. */
static void shift(struct pd_chain *c, size_t k)
{
	const struct pd_level *lv = &c->m->level[k];
	size_t r = c->m->r;
	double *low = c->room_low[k], *high = c->room_high[k];

	if (lv->q != 1 || c->n_whole[k] == 0)
		return;
	for (size_t g = 0; g < lv->n_groups; g++) {
		low[g] = -INFINITY;
		high[g] = INFINITY;
	}
	for (size_t j = 0; j < c->n_free; j++) { /* in units of R's column */
		size_t i = c->free_row[j], g = lv->row_group[i];
		double z = c->m->random[i * r + lv->col[0]];

		low[g] = fmax(low[g], (c->low[i] - c->y[i]) / z);
		high[g] = fmin(high[g], (c->high[i] - c->y[i]) / z);
	}
	for (size_t j = 0; j < c->n_whole[k]; j++) {
		size_t g = c->whole[k][j];
		double u = pd_stream_truncated(&c->stream, 0.0,
		                               sqrt(c->t[k][0]),
		                               c->u[k][g] + low[g],
		                               c->u[k][g] + high[g]);

		low[g] = u - c->u[k][g]; /* from here on: the shift */
		c->u[k][g] = u;
		high[g] = NAN;
	}
	for (size_t j = 0; j < c->n_free; j++) {
		size_t i = c->free_row[j], g = lv->row_group[i];
		double by = low[g] * c->m->random[i * r + lv->col[0]];

		if (!isnan(high[g]))
			continue;
		c->y[i] = fmin(fmax(c->y[i] + by, c->low[i]), c->high[i]);
		c->fit[i] += by;
	}
}

/* u = sd u*: sd from the regression of what u should explain on u*. */
static void rescale(struct pd_chain *c, size_t k)
{
	const struct pd_level *lv = &c->m->level[k];
	double sd = sqrt(c->t[k][0]), xy = 0.0, xx = 0.0, factor;

	if (lv->q != 1 || !(sd > 0.0))
		return;
	for (size_t i = 0; i < c->m->n; i++) {
		double x = c->u[k][lv->row_group[i]] / sd *
		           c->m->random[i * c->m->r + lv->col[0]];

		xy += x * (c->y[i] - c->fit[i] + sd * x);
		xx += x * x;
	}
	if (!(xx > 0.0))
		return;
	factor = (xy / xx + sqrt(c->sigma2 / xx) *
	          pd_stream_normal(&c->stream)) / sd;
	for (size_t i = 0; i < c->m->n; i++)
		c->fit[i] += (factor - 1.0) * c->u[k][lv->row_group[i]] *
		             c->m->random[i * c->m->r + lv->col[0]];
	for (size_t g = 0; g < lv->n_groups; g++)
		c->u[k][g] *= factor;
	c->t[k][0] *= factor * factor;
}

/*
 * T given N effects with cross-products S: inverse Wishart with N - 1 df.
 * With S = L L' and A lower triangular, A_jj^2 ~ chi2(df - j), A_ij normal,
 * T = L (A A')^-1 L' (Bartlett).
 */
static void draw_t(struct pd_chain *c, size_t k)
{
	const struct pd_level *lv = &c->m->level[k];
	size_t q = lv->q;
	double s[PD_MAX_BLOCK] = { 0.0 }, a[PD_MAX_BLOCK] = { 0.0 };
	double x[PD_MAX_BLOCK], df = (double)lv->n_groups - 1.0;

	for (size_t g = 0; g < lv->n_groups; g++)
		for (size_t i = 0; i < q; i++)
			for (size_t j = 0; j < q; j++)
				s[i * q + j] += c->u[k][g * q + i] *
				                c->u[k][g * q + j];
	pd_chol_semi(s, q, q, 0.0);
	for (size_t i = 0; i < q; i++) {
		for (size_t j = 0; j < i; j++)
			a[i * q + j] = pd_stream_normal(&c->stream);
		a[i * q + i] = sqrt(pd_stream_chisq(
			&c->stream, fmax(df - (double)i, 1.0)));
	}
	/* x = A^-1 L' (q*q), T = x'x */
	for (size_t j = 0; j < q; j++)
		for (size_t i = 0; i < q; i++) {
			double v = s[j * q + i];

			for (size_t l = 0; l < i; l++)
				v -= a[i * q + l] * x[l * q + j];
			x[i * q + j] = v / a[i * q + i];
		}
	t_mul(x, x, q, q, q, c->t[k]);
}

static void draw_variances(struct pd_chain *c)
{
	double sse = 0.0;

	for (size_t i = 0; i < c->m->n; i++)
		sse += (c->y[i] - c->fit[i]) * (c->y[i] - c->fit[i]);
	c->sigma2 = sse / pd_stream_chisq(&c->stream, (double)c->m->n);
	for (size_t k = 0; k < c->m->depth; k++)
		draw_t(c, k);
}

pd_status pd_chain_sweep(struct pd_chain *c, pd_error *err)
{
	struct pd_point pt;
	pd_status st = pd_nested_set_y(c->m, c->y, err);

	if (st != PD_OK)
		return st;
	pd_chain_theta(c, pt.theta);
	if (!pd_point_at(c->m, &pt, 0))
		return pd_fail(err, PD_NUMERIC, "a draw of the unmeasured "
		               "values led to a model that is not positive "
		               "definite");
	draw_beta(c, c->m->vec);
	if (!draw_effects(c, c->m->vec))
		return pd_fail(err, PD_NO_MEMORY, "no memory for draws");
	draw_values(c);
	for (size_t k = 0; k < c->m->depth; k++)
		shift(c, k);
	for (size_t k = 0; k < c->m->depth; k++)
		rescale(c, k);
	draw_variances(c);
	return PD_OK;
}

/* ---- making -------------------------------------------------------------- */

static bool chain_room(struct pd_chain *c, pd_arena *arena)
{
	size_t n = c->m->n;
	bool ok;

	c->free_row = PD_NEW(arena, uint32_t, n);
	c->y = PD_NEW(arena, double, n);
	c->fixed = PD_NEW(arena, double, n);
	c->fit = PD_NEW(arena, double, n);
	ok = c->free_row && c->y && c->fixed && c->fit;
	for (size_t k = 0; ok && k < c->m->depth; k++) {
		size_t g = c->m->level[k].n_groups;

		c->u[k] = PD_NEW(arena, double, g * c->m->level[k].q);
		c->whole[k] = PD_NEW(arena, uint32_t, g);
		c->room_low[k] = PD_NEW(arena, double, g);
		c->room_high[k] = PD_NEW(arena, double, g);
		ok = c->u[k] && c->whole[k] && c->room_low[k] &&
		     c->room_high[k];
	}
	return ok;
}

/* Groups with no measured row, of levels whose column never is 0. */
static void find_whole(struct pd_chain *c, size_t k)
{
	const struct pd_level *lv = &c->m->level[k];
	double *measured = c->room_low[k];

	for (size_t g = 0; g < lv->n_groups; g++)
		measured[g] = 0.0;
	for (size_t i = 0; i < c->m->n; i++) {
		double z = c->m->random[i * c->m->r + lv->col[0]];

		if (!(c->low[i] < c->high[i]) || !(z > 0.0))
			measured[lv->row_group[i]] = 1.0;
	}
	for (size_t g = 0; g < lv->n_groups; g++)
		if (measured[g] < 0.5)
			c->whole[k][c->n_whole[k]++] = (uint32_t)g;
}

pd_status pd_chain_new(struct pd_nested *m, const double *low,
                       const double *high, const double *y, uint64_t seed,
                       pd_arena *arena, struct pd_chain *out, pd_error *err)
{
	struct pd_chain *c = out;

	*c = (struct pd_chain){ .m = m, .low = low, .high = high };
	if (!chain_room(c, arena))
		return pd_fail(err, PD_NO_MEMORY, "no memory for draws");
	pd_stream_init(&c->stream, seed, 0);
	memcpy(c->y, y, m->n * sizeof *y);
	for (size_t i = 0; i < m->n; i++)
		if (low[i] < high[i])
			c->free_row[c->n_free++] = (uint32_t)i;
	c->sigma2 = m->sigma2 * m->y_scale * m->y_scale;
	for (size_t k = 0; k < m->depth; k++) {
		const struct pd_level *lv = &m->level[k];

		for (size_t a = 0; a < lv->q; a++)
			for (size_t b = 0; b < lv->q; b++) {
				double t = lv->T[a * lv->q + b];

				if (a == b) /* off 0, else it stays there */
					t += 0.02;
				c->t[k][a * lv->q + b] = t * c->sigma2;
			}
		find_whole(c, k);
	}
	return PD_OK;
}
