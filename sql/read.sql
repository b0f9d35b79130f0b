-- read.sql - what reports and frames are made from. Every read that spans
-- several statements runs in one transaction.

--: read_counts
SELECT (SELECT count(*) FROM patients), (SELECT count(*) FROM cases),
       (SELECT count(*) FROM sites), (SELECT count(*) FROM aliquots),
       (SELECT count(*) FROM assays), (SELECT count(*) FROM sources),
       (SELECT count(*) FROM findings WHERE level = 'warning'),
       (SELECT coalesce(date(min(case_date) * 86400, 'unixepoch'), '')
        FROM cases),
       (SELECT coalesce(date(max(case_date) * 86400, 'unixepoch'), '')
        FROM cases);
--: read_sources
SELECT name, sha256, n_rows FROM sources ORDER BY source_id;
--: read_findings
SELECT s.name, f.code, f.level, f.line, f.position, f.found, f.expected
FROM findings f JOIN sources s ON s.source_id = f.source_id
WHERE ?1 IS NULL OR s.name = ?1 OR s.sha256 = ?1
ORDER BY f.source_id, f.line, f.position, f.finding_id;
--: read_bytes
SELECT b.zstd FROM source_bytes b JOIN sources s ON s.source_id = b.source_id
WHERE s.sha256 = ?1;

--: read_words
SELECT field, word FROM words ORDER BY field, code;
--: read_names
SELECT 0, operator_id, code FROM operators
UNION ALL SELECT 1, device_id, name FROM devices
UNION ALL SELECT 2, method_id, name FROM method_versions
ORDER BY 1, 2;
--: read_patients
SELECT patient_id, label, sex, birth_year FROM patients ORDER BY patient_id;
--: read_cases
SELECT case_id, label, patient_id, case_date, age_y, bmi, operator_id,
       blood_wbc, blood_rbc, blood_hct
FROM cases ORDER BY case_id;
--: read_sites
SELECT site_id, landmark, distance_mm, gauge, geometry, device_id,
       adverse_event, pain_score
FROM sites ORDER BY site_id;
--: read_aliquots
SELECT aliquot_id, volume_ml, syringe_ml, move, anticoagulant,
       anticoagulant_ml, pull_style, time_to_lab_min
FROM aliquots ORDER BY aliquot_id;
-- One result field by its place (0 tnc), TNC, and the red cells.
--: read_assays
SELECT assay_id, states,
       CASE ?1 WHEN 0 THEN tnc WHEN 1 THEN mnc WHEN 2 THEN viability
       WHEN 3 THEN hct WHEN 4 THEN rbc WHEN 5 THEN platelets
       WHEN 6 THEN cd34 WHEN 7 THEN cd271 END, tnc
FROM assays ORDER BY assay_id;
--: read_colonies
SELECT assay_id, states, cfu_f, tnc, cfu_f_e6, cells_plated, dish_1, dish_2,
       dish_3, dish_4, dish_5, dish_6
FROM assays ORDER BY assay_id;
-- Dishes of every culture, in the order of method versions and time.
--: read_dishes
SELECT v.name, c.case_date, a.states, a.dish_1, a.dish_2, a.dish_3, a.dish_4,
       a.dish_5, a.dish_6
FROM assays a JOIN cases c ON c.case_id = a.assay_id >> 32
JOIN method_versions v ON v.method_id = a.method_id
WHERE a.states >> 40 <> 0
   OR coalesce(a.dish_1, a.dish_2, a.dish_3, a.dish_4, a.dish_5, a.dish_6)
      IS NOT NULL
ORDER BY v.name, c.case_date, a.assay_id;
-- Red and nucleated cells beside the case's same-day blood count.
--: read_shares
SELECT a.assay_id, a.states, a.rbc, a.tnc, c.blood_wbc, c.blood_rbc
FROM assays a JOIN cases c ON c.case_id = a.assay_id >> 32 ORDER BY a.assay_id;
--: read_members
SELECT sample_id, aliquot_id FROM pool_aliquots ORDER BY sample_id, aliquot_id;
--: read_harm
SELECT count(*), coalesce(sum(worst > 0), 0) FROM (
	SELECT max(adverse_event) AS worst FROM sites
	WHERE adverse_event IS NOT NULL GROUP BY case_id);

-- Filled cells of each column, in the order of the vocabulary, and of how many.
--: cover_patients
SELECT count(*), count(sex), count(birth_year) FROM patients;
--: cover_cases
SELECT count(*), count(case_date), count(age_y), count(bmi),
       count(operator_id), count(blood_wbc), count(blood_rbc),
       count(blood_hct)
FROM cases;
--: cover_sites
SELECT count(*), count(landmark), count(distance_mm), count(gauge),
       count(geometry), count(device_id), count(adverse_event),
       count(pain_score)
FROM sites;
--: cover_aliquots
SELECT count(*), count(volume_ml), count(syringe_ml), count(move),
       count(anticoagulant), count(anticoagulant_ml), count(pull_style),
       count(time_to_lab_min)
FROM aliquots;
-- A result is filled when its cell said anything, a limit or `failed` too.
--: cover_assays
SELECT count(*),
       sum(tnc IS NOT NULL OR states & 15 > 0),
       sum(mnc IS NOT NULL OR states >> 4 & 15 > 0),
       sum(viability IS NOT NULL OR states >> 8 & 15 > 0),
       sum(hct IS NOT NULL OR states >> 12 & 15 > 0),
       sum(rbc IS NOT NULL OR states >> 16 & 15 > 0),
       sum(platelets IS NOT NULL OR states >> 20 & 15 > 0),
       sum(cd34 IS NOT NULL OR states >> 24 & 15 > 0),
       sum(cd271 IS NOT NULL OR states >> 28 & 15 > 0),
       sum(cfu_f IS NOT NULL OR states >> 32 & 15 > 0),
       sum(cfu_f_e6 IS NOT NULL OR states >> 36 & 15 > 0),
       sum(dish_1 IS NOT NULL OR states >> 40 & 15 > 0),
       sum(dish_2 IS NOT NULL OR states >> 44 & 15 > 0),
       sum(dish_3 IS NOT NULL OR states >> 48 & 15 > 0),
       sum(dish_4 IS NOT NULL OR states >> 52 & 15 > 0),
       sum(dish_5 IS NOT NULL OR states >> 56 & 15 > 0),
       sum(dish_6 IS NOT NULL OR states >> 60 & 15 > 0),
       count(cells_plated), count(culture_days), count(colony_threshold),
       sum(method_id > 0)
FROM assays;

-- Results of a CFU-F culture: a rate or a dish that says anything but `not
-- ordered` (fields 8 to 15, four bits each); and those with its conditions.
--: cover_cultures
SELECT count(*), count(cells_plated), count(culture_days),
       count(colony_threshold)
FROM assays
WHERE cfu_f IS NOT NULL OR states >> 32 & 15 NOT IN (0, 5)
   OR cfu_f_e6 IS NOT NULL OR states >> 36 & 15 NOT IN (0, 5)
   OR dish_1 IS NOT NULL OR states >> 40 & 15 NOT IN (0, 5)
   OR dish_2 IS NOT NULL OR states >> 44 & 15 NOT IN (0, 5)
   OR dish_3 IS NOT NULL OR states >> 48 & 15 NOT IN (0, 5)
   OR dish_4 IS NOT NULL OR states >> 52 & 15 NOT IN (0, 5)
   OR dish_5 IS NOT NULL OR states >> 56 & 15 NOT IN (0, 5)
   OR dish_6 IS NOT NULL OR states >> 60 & 15 NOT IN (0, 5);

-- The same by year of the case. sites.case_id and assays.case_id are parents
-- kept in the keys; an aliquot's case is its site's.
--: year_patients
SELECT CAST(strftime('%Y', day * 86400, 'unixepoch') AS INTEGER) AS year,
       count(*), count(sex), count(birth_year) FROM patients JOIN (SELECT patient_id, min(case_date) AS day FROM cases
               GROUP BY patient_id) USING (patient_id)
WHERE day IS NOT NULL GROUP BY year ORDER BY year;
--: year_cases
SELECT CAST(strftime('%Y', day * 86400, 'unixepoch') AS INTEGER) AS year,
       count(*), count(case_date), count(age_y), count(bmi),
       count(operator_id), count(blood_wbc), count(blood_rbc),
       count(blood_hct)
FROM (SELECT *, case_date AS day FROM cases)
WHERE day IS NOT NULL GROUP BY year ORDER BY year;
--: year_sites
SELECT CAST(strftime('%Y', day * 86400, 'unixepoch') AS INTEGER) AS year,
       count(*), count(landmark), count(distance_mm), count(gauge),
       count(geometry), count(device_id), count(adverse_event),
       count(pain_score)
FROM sites JOIN (SELECT case_id, case_date AS day FROM cases)
     USING (case_id)
WHERE day IS NOT NULL GROUP BY year ORDER BY year;
--: year_aliquots
SELECT CAST(strftime('%Y', day * 86400, 'unixepoch') AS INTEGER) AS year,
       count(*), count(volume_ml), count(syringe_ml), count(move),
       count(anticoagulant), count(anticoagulant_ml), count(pull_style),
       count(time_to_lab_min)
FROM aliquots JOIN (SELECT case_id, case_date AS day FROM cases) c
     ON c.case_id = site_id >> 10
WHERE day IS NOT NULL GROUP BY year ORDER BY year;
--: year_assays
SELECT CAST(strftime('%Y', day * 86400, 'unixepoch') AS INTEGER) AS year,
       count(*),
       sum(tnc IS NOT NULL OR states & 15 > 0),
       sum(mnc IS NOT NULL OR states >> 4 & 15 > 0),
       sum(viability IS NOT NULL OR states >> 8 & 15 > 0),
       sum(hct IS NOT NULL OR states >> 12 & 15 > 0),
       sum(rbc IS NOT NULL OR states >> 16 & 15 > 0),
       sum(platelets IS NOT NULL OR states >> 20 & 15 > 0),
       sum(cd34 IS NOT NULL OR states >> 24 & 15 > 0),
       sum(cd271 IS NOT NULL OR states >> 28 & 15 > 0),
       sum(cfu_f IS NOT NULL OR states >> 32 & 15 > 0),
       sum(cfu_f_e6 IS NOT NULL OR states >> 36 & 15 > 0),
       sum(dish_1 IS NOT NULL OR states >> 40 & 15 > 0),
       sum(dish_2 IS NOT NULL OR states >> 44 & 15 > 0),
       sum(dish_3 IS NOT NULL OR states >> 48 & 15 > 0),
       sum(dish_4 IS NOT NULL OR states >> 52 & 15 > 0),
       sum(dish_5 IS NOT NULL OR states >> 56 & 15 > 0),
       sum(dish_6 IS NOT NULL OR states >> 60 & 15 > 0),
       count(cells_plated), count(culture_days), count(colony_threshold),
       sum(method_id > 0)
FROM assays JOIN (SELECT case_id, case_date AS day FROM cases)
     USING (case_id)
WHERE day IS NOT NULL GROUP BY year ORDER BY year;

-- Everything of every result, for others to read (release_read.c).
--: release_assays
SELECT assay_id, states, tnc, mnc, viability, hct, rbc, platelets, cd34, cd271,
       cfu_f, cfu_f_e6, dish_1, dish_2, dish_3, dish_4, dish_5, dish_6,
       cells_plated, culture_days, colony_threshold, source_id
FROM assays ORDER BY assay_id;
--: release_labels
SELECT sample_id, label FROM sample_labels
UNION SELECT sample_id, label FROM pool_samples ORDER BY 1, 2;
-- What stays in the clinic: how many of each.
--: release_left
SELECT (SELECT count(*) FROM sample_labels),
       (SELECT count(*) FROM pool_samples),
       (SELECT count(*) FROM findings), (SELECT count(*) FROM looks),
       (SELECT count(*) FROM plans), (SELECT count(*) FROM history);
