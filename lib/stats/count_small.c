/*
 * count_small.c - which side a contrast rests on, and its limits.
 */
#include "stats/count_small.h"
#include "stats/quantile.h"

#include <gsl/gsl_eigen.h>
#include <math.h>

static const double NO_PART = 1e-9;   /* of an eigenvalue, columns scaled */
static const double NO_LENGTH = 1e-6; /* of a contrast                    */

pd_status pd_count_side(size_t p, double *sum, const double *scale,
                        const double *c, size_t *rank, double *variance,
                        pd_error *err)
{
	gsl_matrix_view a = gsl_matrix_view_array(sum, p, p);
	gsl_eigen_symmv_workspace *room = gsl_eigen_symmv_alloc(p);
	gsl_vector *value = gsl_vector_alloc(p);
	gsl_matrix *vector = gsl_matrix_alloc(p, p);
	double length = 0, lost = 0;
	int ready = room && value && vector;

	*variance = 0;
	*rank = 0;
	if (ready)
		gsl_eigen_symmv(&a.matrix, value, vector, room);
	for (size_t k = 0; ready && k < p; k++) {
		double part = 0, size = gsl_vector_get(value, k);

		for (size_t j = 0; j < p; j++)
			part += gsl_matrix_get(vector, j, k) * c[j] / scale[j];
		length += part * part;
		if (size > NO_PART) {
			++*rank;
			*variance += part * part / size;
		} else {
			lost += part * part;
		}
	}
	if (lost > NO_LENGTH * NO_LENGTH * length)
		*variance = INFINITY;
	gsl_eigen_symmv_free(room);
	gsl_vector_free(value);
	gsl_matrix_free(vector);
	return ready ? PD_OK : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

pd_status pd_count_t_limits(double df, double groups, double level,
                            pd_estimate *e, pd_error *err)
{
	double t;

	if (!(df >= 1))
		return pd_fail(err, PD_REFUSED, "the groups are too few: no "
		               "degree of freedom is left to this contrast");
	if (groups > 0)
		e->se *= sqrt(groups / df);
	e->df = df;
	t = pd_t_quantile(0.5 + 0.5 * level, df);
	e->low = e->value - t * e->se;
	e->high = e->value + t * e->se;
	e->p = pd_t_two_sided(e->value / e->se, df);
	return PD_OK;
}
