-- rules.sql - rules that look at more than one row.

-- The clinic's spread before this source, a line a method and field.
--: old_profiles
SELECT p.method_id, v.name, p.field, p.counts
FROM profiles p JOIN method_versions v ON v.method_id = p.method_id
ORDER BY p.source_id, p.method_id, p.field;

-- Rows of a source whose field (by its place, 0 tnc) is far from the middle.
--: slips
SELECT line, value FROM (
	SELECT line, states,
	       CASE ?2 WHEN 0 THEN tnc WHEN 1 THEN mnc WHEN 2 THEN viability
	       WHEN 3 THEN hct WHEN 4 THEN rbc WHEN 5 THEN platelets
	       WHEN 6 THEN cd34 WHEN 7 THEN cd271 WHEN 8 THEN cfu_f
	       WHEN 9 THEN cfu_f_e6 END AS value
	FROM assays WHERE source_id = ?1)
WHERE states >> (4 * ?2) & 15 = 0 AND value > 0
  AND (value < ?3 OR value > ?4)
ORDER BY line LIMIT 1000;

--: aliquot_line
SELECT line FROM aliquots WHERE aliquot_id = ?1;
--: site_line
SELECT line FROM sites WHERE site_id = ?1;
