-- load.sql - what loading a file reads and writes. Parameters of a record's
-- add and put statements stand in one order: its key, its facts in the order
-- of the tables in lib/data/load_facts.c, source, line.

-- Keys are made by the loader from rows it has just made, and every number
-- goes through one function that binds only finite ones: foreign keys and
-- CHECKs are tested again by tests/check_store.c, not on every row.
--: load_on
PRAGMA foreign_keys = OFF;
PRAGMA ignore_check_constraints = ON;
--: load_off
PRAGMA ignore_check_constraints = OFF;
PRAGMA foreign_keys = ON;

--: find_source
SELECT source_id FROM sources WHERE sha256 = ?1;
--: same_size
SELECT count(*) FROM sources WHERE n_bytes = ?1;
--: add_source
INSERT INTO sources (source_id, name, sha256, n_bytes, n_rows, map, loaded)
VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7);
--: add_source_bytes
INSERT INTO source_bytes (source_id, zstd) VALUES (?1, ?2);
--: add_finding
INSERT INTO findings (source_id, code, level, line, position, found, expected)
VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7);
--: add_profile
INSERT INTO profiles (source_id, method_id, field, n_values, counts)
VALUES (?1, ?2, ?3, ?4, ?5);
--: other_maps
SELECT name FROM sources WHERE map IS NOT ?1 ORDER BY source_id DESC LIMIT 1;

--: next_ids
SELECT (SELECT coalesce(max(patient_id), 0) FROM patients),
       (SELECT coalesce(max(case_id), 0) FROM cases),
       (SELECT coalesce(max(source_id), 0) FROM sources),
       (SELECT coalesce(max(history_id), 0) FROM history);
--: names
SELECT 0, operator_id, code FROM operators
UNION ALL SELECT 1, device_id, name FROM devices
UNION ALL SELECT 2, method_id, name FROM method_versions
ORDER BY 1, 2;
--: add_operator
INSERT INTO operators (operator_id, code) VALUES (?1, ?2);
--: add_device
INSERT INTO devices (device_id, name) VALUES (?1, ?2);
--: add_method
INSERT INTO method_versions (method_id, name) VALUES (?1, ?2);

--: find_patient
SELECT patient_id, source_id, line, sex, birth_year, label
FROM patients WHERE label = ?1;
--: patient_by_id
SELECT patient_id, source_id, line, sex, birth_year, label
FROM patients WHERE patient_id = ?1;
--: find_case
SELECT case_id, source_id, line, case_date, age_y, bmi, operator_id, blood_wbc,
       blood_rbc, blood_hct, patient_id
FROM cases WHERE label = ?1;
--: find_sites
SELECT site_id, source_id, line, landmark, distance_mm, gauge, geometry,
       device_id, adverse_event, pain_score
FROM sites WHERE site_id BETWEEN ?1 << 10 AND (?1 << 10) + 1023
ORDER BY site_id;
--: find_numbers
SELECT aliquot_id, volume_ml FROM aliquots
WHERE aliquot_id BETWEEN ?1 << 18 AND (?1 << 18) + 262143
ORDER BY aliquot_id;

--: add_patient
INSERT INTO patients (patient_id, label, sex, birth_year, source_id, line)
VALUES (?, ?, ?, ?, ?, ?)
--: add_case
INSERT INTO cases (case_id, label, patient_id, case_date, age_y, bmi,
                   operator_id, blood_wbc, blood_rbc, blood_hct, source_id,
                   line)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
--: add_site
INSERT INTO sites (site_id, landmark, distance_mm, gauge, geometry, device_id,
                   adverse_event, pain_score, source_id, line)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
--: add_aliquot
INSERT INTO aliquots (aliquot_id, volume_ml, syringe_ml, move, anticoagulant,
                      anticoagulant_ml, pull_style, time_to_lab_min, source_id,
                      line)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
--: add_assay
INSERT INTO assays (assay_id, states, tnc, mnc, viability, hct, rbc,
                    platelets, cd34, cd271, cfu_f, cfu_f_e6, dish_1, dish_2,
                    dish_3, dish_4, dish_5, dish_6, cells_plated, culture_days,
                    colony_threshold, source_id, line)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)

--: put_patient
UPDATE patients SET sex = ?2, birth_year = ?3, source_id = ?4, line = ?5
WHERE patient_id = ?1;
--: put_case
UPDATE cases SET case_date = ?2, age_y = ?3, bmi = ?4, operator_id = ?5,
                 blood_wbc = ?6, blood_rbc = ?7, blood_hct = ?8,
                 source_id = ?9, line = ?10
WHERE case_id = ?1;
--: put_site
UPDATE sites SET landmark = ?2, distance_mm = ?3, gauge = ?4, geometry = ?5,
                 device_id = ?6, adverse_event = ?7, pain_score = ?8,
                 source_id = ?9, line = ?10
WHERE site_id = ?1;
--: put_aliquot
UPDATE aliquots SET volume_ml = ?2, syringe_ml = ?3, move = ?4,
                    anticoagulant = ?5, anticoagulant_ml = ?6, pull_style = ?7,
                    time_to_lab_min = ?8, source_id = ?9, line = ?10
WHERE aliquot_id = ?1;
--: put_assay
UPDATE assays SET states = ?2, tnc = ?3, mnc = ?4, viability = ?5, hct = ?6,
                  rbc = ?7, platelets = ?8, cd34 = ?9, cd271 = ?10,
                  cfu_f = ?11, cfu_f_e6 = ?12, dish_1 = ?13, dish_2 = ?14,
                  dish_3 = ?15, dish_4 = ?16, dish_5 = ?17, dish_6 = ?18,
                  cells_plated = ?19, culture_days = ?20,
                  colony_threshold = ?21, source_id = ?22, line = ?23
WHERE assay_id = ?1;

--: get_aliquot
SELECT aliquot_id, source_id, line, volume_ml, syringe_ml, move, anticoagulant,
       anticoagulant_ml, pull_style, time_to_lab_min
FROM aliquots WHERE aliquot_id = ?1;
--: get_assay
SELECT assay_id, source_id, line, states, tnc, mnc, viability, hct, rbc,
       platelets, cd34, cd271, cfu_f, cfu_f_e6, dish_1, dish_2, dish_3, dish_4,
       dish_5, dish_6, cells_plated, culture_days, colony_threshold
FROM assays WHERE assay_id = ?1;

--: keep_patient
INSERT INTO history (was_table, row_id, was, replaced_by, reason)
SELECT 'patients', patient_id,
       json_object('sex', sex, 'birth_year', birth_year,
                   'source_id', source_id, 'line', line), ?2, ?3
FROM patients WHERE patient_id = ?1;
--: keep_case
INSERT INTO history (was_table, row_id, was, replaced_by, reason)
SELECT 'cases', case_id,
       json_object('case_date', case_date, 'age_y', age_y, 'bmi', bmi,
                   'operator_id', operator_id, 'blood_wbc', blood_wbc,
                   'blood_rbc', blood_rbc, 'blood_hct', blood_hct,
                   'source_id', source_id, 'line', line), ?2, ?3
FROM cases WHERE case_id = ?1;
--: keep_site
INSERT INTO history (was_table, row_id, was, replaced_by, reason)
SELECT 'sites', site_id,
       json_object('landmark', landmark, 'distance_mm', distance_mm,
                   'gauge', gauge, 'geometry', geometry,
                   'device_id', device_id, 'adverse_event', adverse_event,
                   'pain_score', pain_score, 'source_id', source_id,
                   'line', line), ?2, ?3
FROM sites WHERE site_id = ?1;
--: keep_aliquot
INSERT INTO history (was_table, row_id, was, replaced_by, reason)
SELECT 'aliquots', aliquot_id,
       json_object('volume_ml', volume_ml, 'syringe_ml', syringe_ml,
                   'move', move, 'anticoagulant', anticoagulant,
                   'anticoagulant_ml', anticoagulant_ml,
                   'pull_style', pull_style,
                   'time_to_lab_min', time_to_lab_min,
                   'source_id', source_id, 'line', line), ?2, ?3
FROM aliquots WHERE aliquot_id = ?1;
--: keep_assay
INSERT INTO history (was_table, row_id, was, replaced_by, reason)
SELECT 'assays', assay_id,
       json_object('states', states, 'tnc', tnc, 'mnc', mnc,
                   'viability', viability, 'hct', hct, 'rbc', rbc,
                   'platelets', platelets, 'cd34', cd34, 'cd271', cd271,
                   'cfu_f', cfu_f, 'cfu_f_e6', cfu_f_e6, 'dish_1', dish_1,
                   'dish_2', dish_2, 'dish_3', dish_3, 'dish_4', dish_4,
                   'dish_5', dish_5, 'dish_6', dish_6,
                   'cells_plated', cells_plated,
                   'culture_days', culture_days,
                   'colony_threshold', colony_threshold,
                   'source_id', source_id, 'line', line), ?2, ?3
FROM assays WHERE assay_id = ?1;
--: history_since
SELECT was_table, row_id, was, replaced_by, reason FROM history
WHERE history_id > ?1 ORDER BY history_id;

--: members
SELECT aliquot_id FROM aliquots WHERE aliquot_id BETWEEN ?1 AND ?2
ORDER BY aliquot_id;
--: find_pool
SELECT sample_id FROM pool_samples
WHERE sample_id BETWEEN (?1 << 18) + 196608 AND (?1 << 18) + 262143
  AND label = ?2;
-- Samples of that label, in one case or (0) in any; two are one too many.
--: find_label
SELECT sample_id FROM sample_labels
WHERE label = ?2 AND (?1 = 0 OR sample_id >> 18 = ?1)
ORDER BY sample_id LIMIT 2;
--: add_label
INSERT OR IGNORE INTO sample_labels (label, sample_id, source_id, line)
VALUES (?1, ?2, ?3, ?4);
--: next_pool
SELECT coalesce(max(sample_id), (?1 << 18) + 196608) + 1 FROM pool_samples
WHERE sample_id BETWEEN (?1 << 18) + 196608 AND (?1 << 18) + 262143;
--: add_pool
INSERT INTO pool_samples (sample_id, label, members, source_id, line)
VALUES (?1, ?2, ?3, ?4, ?5);
--: add_member
INSERT INTO pool_aliquots (sample_id, aliquot_id) VALUES (?1, ?2);
--: pool_members
SELECT aliquot_id FROM pool_aliquots WHERE sample_id = ?1 ORDER BY aliquot_id;
-- Pools of whole cases that have fewer members than the case now has draws.
--: outgrown_pools
SELECT p.label, c.label
FROM pool_samples p JOIN cases c ON c.case_id = p.case_id
WHERE p.members = 'case' AND p.source_id <> ?1
  AND EXISTS (SELECT 1 FROM aliquots a
              WHERE a.aliquot_id BETWEEN p.case_id << 18
                                     AND (p.case_id << 18) + 196607
                AND a.source_id = ?1)
ORDER BY p.sample_id;
--: source_name
SELECT name FROM sources WHERE source_id = ?1;
