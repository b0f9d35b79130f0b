/* blood.c - see blood.h. */
#include "data/blood.h"

#include <math.h>

double pd_blood_volume_fraction(double rbc_marrow, double rbc_blood)
{
	return rbc_blood > 0 ? rbc_marrow / rbc_blood : NAN;
}

double pd_blood_cell_fraction(double rbc_marrow, double rbc_blood,
                              double wbc_blood, double tnc)
{
	return tnc > 0 ? pd_blood_volume_fraction(rbc_marrow, rbc_blood) *
	                 wbc_blood / tnc : NAN;
}

double pd_blood_marrow_cells(double rbc_marrow, double rbc_blood,
                             double wbc_blood, double tnc)
{
	return tnc - pd_blood_volume_fraction(rbc_marrow, rbc_blood) *
	             wbc_blood;
}

double pd_undiluted(double measured, double ml, double anticoagulant_ml)
{
	return ml > 0 && anticoagulant_ml >= 0 ?
	       measured * (ml + anticoagulant_ml) / ml : measured;
}
