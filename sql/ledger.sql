-- ledger.sql - plans seen and questions read.

--: look_seen
SELECT count(*) FROM looks WHERE question_sha256 = ?1 AND data_state = ?2;
--: look_count
SELECT count(*) FROM looks WHERE question_sha256 = ?1;
--: look_add
INSERT INTO looks (question, question_sha256, data_state, look_date, estimate,
                   se, low, high, n_rows, n_patients)
VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10);
--: look_first
SELECT look_date FROM looks WHERE question_sha256 = ?1
ORDER BY look_id LIMIT 1;

--: look_earlier
SELECT se FROM looks WHERE question_sha256 = ?1 AND data_state <> ?2
AND se > 0 ORDER BY look_id;

--: sources_after
SELECT count(*) FROM sources WHERE loaded > ?1;

--: plan_seen
SELECT first_date FROM plans WHERE sha256 = ?1;
--: plan_add
INSERT INTO plans (name, sha256, plan, first_date) VALUES (?1, ?2, ?3, ?4);
