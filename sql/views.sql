-- views.sql - the analysis grain: one row a draw, a result, a site, a case,
-- with words for codes and the derived outcomes. For people at a database
-- shell and for the tests, which compare them with what the program computes
-- (lib/data/query.c reads the tables themselves: measured, docs/store.md).

-- One row an aliquot with everything known about how it was drawn.
CREATE VIEW draws AS
SELECT a.aliquot_id, p.label AS patient, c.label AS "case",
       date(c.case_date * 86400, 'unixepoch') AS case_date,
       (SELECT word FROM words WHERE field = 'sex' AND code = p.sex) AS sex,
       p.birth_year, c.age_y, c.bmi,
       (SELECT code FROM operators o WHERE o.operator_id = c.operator_id)
           AS operator,
       c.blood_wbc, c.blood_rbc, c.blood_hct,
       (SELECT word FROM words WHERE field = 'side' AND code = s.side - 1)
           AS side,
       s.site_no,
       (SELECT word FROM words WHERE field = 'landmark' AND code = s.landmark)
           AS landmark,
       s.distance_mm, s.gauge AS needle_gauge,
       (SELECT word FROM words
        WHERE field = 'needle_geometry' AND code = s.geometry)
           AS needle_geometry,
       (SELECT name FROM devices d WHERE d.device_id = s.device_id) AS needle,
       (SELECT word FROM words
        WHERE field = 'adverse_event' AND code = s.adverse_event)
           AS adverse_event,
       s.pain_score, a.aliquot_no, a.volume_ml, a.syringe_ml,
       (SELECT word FROM words WHERE field = 'move' AND code = a.move) AS move,
       (SELECT word FROM words
        WHERE field = 'anticoagulant' AND code = a.anticoagulant)
           AS anticoagulant,
       a.anticoagulant_ml,
       (SELECT word FROM words
        WHERE field = 'pull_style' AND code = a.pull_style) AS pull_style,
       a.time_to_lab_min, a.source_id, a.line
FROM aliquots a
JOIN sites s ON s.site_id = a.site_id
JOIN cases c ON c.case_id = s.case_id
JOIN patients p ON p.patient_id = c.patient_id;

-- One row an assay, of an aliquot or of a pool: values, what their cells
-- said, and the countable dishes together. A dish is countable when it holds a
-- number; colonies and cells plated are summed over those.
CREATE VIEW results AS
SELECT r.assay_id, r.sample_id, r.sample_id >> 16 & 3 = 3 AS pooled,
       c.label AS "case",
       (SELECT word FROM words WHERE field = 'material' AND code = r.material)
           AS material,
       (SELECT name FROM method_versions v WHERE v.method_id = r.method_id)
           AS method_version,
       (SELECT label FROM pool_samples q WHERE q.sample_id = r.sample_id)
           AS pool,
       r.tnc, r.states & 15 AS tnc_state,
       r.mnc, r.states >> 4 & 15 AS mnc_state,
       r.viability, r.states >> 8 & 15 AS viability_state,
       r.hct, r.states >> 12 & 15 AS hct_state,
       r.rbc, r.states >> 16 & 15 AS rbc_state,
       r.platelets, r.states >> 20 & 15 AS platelets_state,
       r.cd34, r.states >> 24 & 15 AS cd34_state,
       r.cd271, r.states >> 28 & 15 AS cd271_state,
       r.cfu_f, r.states >> 32 & 15 AS cfu_f_state,
       r.cfu_f_e6, r.states >> 36 & 15 AS cfu_f_e6_state,
       iif(r.states >> 40 & 15, 0, coalesce(r.dish_1, 0))
       + iif(r.states >> 44 & 15, 0, coalesce(r.dish_2, 0))
       + iif(r.states >> 48 & 15, 0, coalesce(r.dish_3, 0))
       + iif(r.states >> 52 & 15, 0, coalesce(r.dish_4, 0))
       + iif(r.states >> 56 & 15, 0, coalesce(r.dish_5, 0))
       + iif(r.states >> 60 & 15, 0, coalesce(r.dish_6, 0)) AS colonies,
       r.cells_plated * (
       (r.states >> 40 & 15 = 0 AND r.dish_1 IS NOT NULL)
       + (r.states >> 44 & 15 = 0 AND r.dish_2 IS NOT NULL)
       + (r.states >> 48 & 15 = 0 AND r.dish_3 IS NOT NULL)
       + (r.states >> 52 & 15 = 0 AND r.dish_4 IS NOT NULL)
       + (r.states >> 56 & 15 = 0 AND r.dish_5 IS NOT NULL)
       + (r.states >> 60 & 15 = 0 AND r.dish_6 IS NOT NULL)) AS plated,
       r.states >> 40 = 0 AS all_countable,
       r.cells_plated, r.culture_days, r.colony_threshold,
       r.source_id, r.line
FROM assays r
JOIN cases c ON c.case_id = r.case_id;

-- One row a result of one aliquot, aspirate only, with what follows from it.
-- undiluting = (mL + anticoagulant mL) / mL, 1 where that is not known.
-- Blood admixture (Holdrinet et al. 1980): volume fraction of blood
-- v = red cells of the marrow / red cells of the blood, share of the nucleated
-- cells that came with blood f = v * white cells of the blood / TNC, both from
-- undiluted counts; NULL without a same-day blood count.
CREATE VIEW aliquot_results AS
WITH undiluted AS (
	SELECT r.*, d.patient, d.case_date, d.side, d.site_no, d.aliquot_no,
	       d.volume_ml, d.anticoagulant_ml, d.blood_wbc, d.blood_rbc,
	       coalesce((d.volume_ml + d.anticoagulant_ml)
	                / nullif(d.volume_ml, 0), 1.0) AS undiluting
	FROM results r
	JOIN draws d ON d.aliquot_id = r.sample_id
	WHERE r.material = 'aspirate'
)
SELECT assay_id, sample_id AS aliquot_id, patient, "case", case_date, side,
       site_no, aliquot_no, method_version, volume_ml, anticoagulant_ml,
       undiluting,
       iif(tnc_state, NULL, tnc * undiluting) AS tnc_e6_per_ml,
       iif(tnc_state, NULL, tnc * undiluting * volume_ml) AS tnc_e6,
       iif(mnc_state, NULL, mnc * undiluting) AS mnc_e6_per_ml,
       iif(viability_state, NULL, viability) AS viability_pct,
       iif(cd34_state, NULL, cd34 * undiluting) AS cd34_e3_per_ml,
       iif(cd271_state, NULL, cd271 * undiluting) AS cd271_per_ml,
       iif(all_countable, colonies, NULL) AS colonies,
       iif(all_countable, plated, NULL) AS plated,
       iif(all_countable AND plated > 0, colonies / plated * 1e6, NULL)
           AS cfu_f_per_e6,
       iif(all_countable AND plated > 0 AND NOT tnc_state,
           colonies / plated * 1e6 * tnc * undiluting, NULL)
           AS cfu_f_per_ml,
       iif(rbc_state, NULL, rbc * undiluting) / nullif(blood_rbc, 0)
           AS blood_volume_fraction,
       iif(rbc_state OR tnc_state, NULL,
           rbc * undiluting / nullif(blood_rbc, 0) * blood_wbc
           / nullif(tnc * undiluting, 0)) AS blood_cell_fraction
FROM undiluted;

-- One row a site: what was drawn through it, and its nucleated cells where
-- every aliquot has exactly one number for them.
CREATE VIEW site_results AS
SELECT s.site_id, d.patient, d."case", d.case_date, d.side, d.site_no,
       count(*) AS n_aliquots,
       iif(count(*) = count(d.volume_ml), sum(d.volume_ml), NULL) AS site_ml,
       iif(count(*) = sum(n.n_tnc = 1), sum(n.tnc_e6), NULL) AS tnc_e6
FROM sites s
JOIN aliquots a ON a.aliquot_id BETWEEN s.site_id << 8
                                    AND (s.site_id << 8) + 255
JOIN draws d ON d.aliquot_id = a.aliquot_id
LEFT JOIN (SELECT aliquot_id, count(tnc_e6) AS n_tnc, sum(tnc_e6) AS tnc_e6
           FROM aliquot_results GROUP BY aliquot_id) n
       ON n.aliquot_id = a.aliquot_id
GROUP BY s.site_id;

-- One row a case: the same over all of its sites.
CREATE VIEW case_results AS
SELECT patient, "case", case_date, count(*) AS n_sites,
       sum(n_aliquots) AS n_aliquots,
       iif(count(*) = count(site_ml), sum(site_ml), NULL) AS total_ml,
       iif(count(*) = count(tnc_e6), sum(tnc_e6), NULL) AS tnc_e6
FROM site_results
GROUP BY "case";
