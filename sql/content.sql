-- content.sql - every row of every table that a load writes, in one order:
-- the table's name, then its columns. What content.h takes its digests of.

SELECT 'words', * FROM words ORDER BY field, code;
SELECT 'sources', * FROM sources ORDER BY source_id;
SELECT 'source_bytes', * FROM source_bytes ORDER BY source_id;
SELECT 'operators', * FROM operators ORDER BY operator_id;
SELECT 'devices', * FROM devices ORDER BY device_id;
SELECT 'method_versions', * FROM method_versions ORDER BY method_id;
SELECT 'patients', * FROM patients ORDER BY patient_id;
SELECT 'cases', * FROM cases ORDER BY case_id;
SELECT 'sites', * FROM sites ORDER BY site_id;
SELECT 'aliquots', * FROM aliquots ORDER BY aliquot_id;
SELECT 'pool_samples', * FROM pool_samples ORDER BY sample_id;
SELECT 'pool_aliquots', * FROM pool_aliquots ORDER BY sample_id, aliquot_id;
SELECT 'sample_labels', * FROM sample_labels ORDER BY label, sample_id;
SELECT 'assays', * FROM assays ORDER BY assay_id;
SELECT 'profiles', * FROM profiles ORDER BY rowid;
SELECT 'findings', * FROM findings ORDER BY finding_id;
SELECT 'history', * FROM history ORDER BY history_id;
