/*
 * blood.h - how much of an aspirate is blood (Holdrinet et al., Exp Hematol
 * 1980;8:103-107, formula as described in Acta Haematol 1985;74:70-74; the
 * printed formula itself was not seen). Red cells of an aspirate are taken to
 * be nearly all blood.
 *
 *   v = RBC marrow / RBC blood            volume fraction of blood
 *   f = v * WBC blood / TNC marrow        share of the nucleated cells
 *   cells of marrow origin = TNC * (1 - f) = TNC - v * WBC blood
 *
 * RBC in 10^12/L, WBC in 10^9/L, TNC in 10^6/mL (the same number), marrow
 * counts undiluted. NaN without a same-day blood count, and for a divisor
 * that is not above 0. f above 1 or v above 1.1 is an error or a
 * concentrated sample and is not clipped.
 */
#ifndef PERDRAW_DATA_BLOOD_H
#define PERDRAW_DATA_BLOOD_H

double pd_blood_volume_fraction(double rbc_marrow, double rbc_blood);
double pd_blood_cell_fraction(double rbc_marrow, double rbc_blood,
                              double wbc_blood, double tnc);
double pd_blood_marrow_cells(double rbc_marrow, double rbc_blood,
                             double wbc_blood, double tnc);
/* measured * (mL + anticoagulant mL) / mL; measured where that is unknown. */
double pd_undiluted(double measured, double ml, double anticoagulant_ml);

#endif
