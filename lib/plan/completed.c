/* completed.c - see completed.h. */
#include "plan/completed.h"

#include <string.h>

pd_status pd_completed(const pd_plan *plan, const pd_question *q,
                       const pd_rows *rows, bool adjust, pd_arena *scratch,
                       double *y, bool *told, pd_error *err)
{
	pd_fit_ask ask = { .light = true, .adjust = adjust };
	pd_fit fit = { 0 };

	*told = true;
	memcpy(y, rows->low, rows->n * sizeof *y);
	if (!rows->n_censored)
		return PD_OK;
	pd_status st = pd_fit_run(plan, q, rows, &ask, scratch, scratch, &fit,
	                          err);
	double *residual = PD_NEW(scratch, double, rows->n);

	if (st == PD_OK && !residual)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK && !fit.refusal)
		st = pd_impute_completed(fit.model, y, residual, err);
	*told = fit.refusal == NULL;
	pd_fit_clear(&fit);
	return st;
}
