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
SELECT look_date, estimate, se, low, high, n_patients
FROM looks WHERE question_sha256 = ?1 AND data_state <> ?2
AND se > 0 ORDER BY look_id;

-- Files loaded since: rows of the chain after the state that was read.
--: look_last
SELECT l.look_date, l.estimate, l.se, l.low, l.high, l.n_rows, l.n_patients,
       (SELECT count(*) FROM audit a WHERE a.what = 'load'
        AND a.seq > (SELECT b.seq FROM audit b WHERE b.hash = l.data_state)),
       (SELECT count(*) FROM audit a WHERE a.what = 'supersede'
        AND a.seq > (SELECT b.seq FROM audit b WHERE b.hash = l.data_state))
FROM looks l WHERE l.question_sha256 = ?1 AND l.data_state <> ?2
ORDER BY l.look_id DESC LIMIT 1;

--: look_reworded
SELECT look_date FROM looks WHERE question = ?1 AND question_sha256 <> ?2
AND data_state <> ?3 ORDER BY look_id DESC LIMIT 1;

-- The newest reading of every question on other data than today's, newest
-- first, and how many there were.
--: looks_newest
SELECT l.question, l.question_sha256, l.look_date, l.low, l.high, l.n_patients,
       (SELECT count(*) FROM looks m
        WHERE m.question_sha256 = l.question_sha256 AND m.data_state <> ?1)
FROM looks l
WHERE l.look_id = (SELECT max(look_id) FROM looks m
                   WHERE m.question_sha256 = l.question_sha256
                   AND m.data_state <> ?1)
ORDER BY l.look_id DESC;

-- 731 days are two years.
--: new_patients
WITH firsts AS (SELECT min(case_date) AS day FROM cases
                WHERE case_date IS NOT NULL GROUP BY patient_id),
     span AS (SELECT min(case_date) AS a, max(case_date) AS b FROM cases)
SELECT coalesce(sum(day > b - 731), 0), coalesce(min(731, b - a + 1), 0)
FROM firsts, span;

--: sources_after
SELECT count(*) FROM sources WHERE loaded > ?1;

--: plan_seen
SELECT first_date FROM plans WHERE sha256 = ?1;
--: plan_add
INSERT INTO plans (name, sha256, plan, first_date) VALUES (?1, ?2, ?3, ?4);

-- Every effect of a reading (version 3).
--: look_effect_add
INSERT INTO look_effects (look_id, effect_no, label, estimate, se, low, high)
VALUES ((SELECT max(look_id) FROM looks), ?1, ?2, ?3, ?4, ?5, ?6);

-- Errors of one effect at earlier readings; of those before version 3, the
-- first effect's, whose information grew as the other's did.
--: effect_earlier
SELECT e.se FROM look_effects e JOIN looks l USING (look_id)
WHERE l.question_sha256 = ?1 AND l.data_state <> ?2 AND e.se > 0
AND (e.label = ?3 OR e.label = '')
ORDER BY l.look_id;

-- The same of a database before version 3.
--: first_earlier
SELECT se FROM looks WHERE question_sha256 = ?1 AND data_state <> ?2
AND se > 0 ORDER BY look_id;

--: effect_last
SELECT e.estimate, e.se, e.low, e.high
FROM look_effects e
WHERE e.look_id = (SELECT max(l.look_id) FROM looks l
                   WHERE l.question_sha256 = ?1 AND l.data_state <> ?2)
AND (e.label = ?3 OR (e.label = '' AND e.effect_no = 0 AND ?4 = 0))
ORDER BY e.label DESC LIMIT 1;

-- The same of a database before version 3.
--: first_last
SELECT estimate, se, low, high FROM looks
WHERE look_id = (SELECT max(look_id) FROM looks
                 WHERE question_sha256 = ?1 AND data_state <> ?2)
AND ?4 = 0;

-- Claims (version 3).
--: claim_seen
SELECT count(*) FROM claims c JOIN plans p USING (plan_id)
WHERE p.sha256 = ?1 AND c.name = ?2 AND c.data_state = ?3;
--: claim_add
INSERT INTO claims (plan_id, name, data_state, title, read_date,
                    question_sha256, verdict, n_meanings, n_patients, printed,
                    printed_low, printed_high, least, most, margin, here,
                    here_low, here_high)
VALUES ((SELECT plan_id FROM plans WHERE sha256 = ?1), ?2, ?3, ?4, ?5, ?6, ?7,
        ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18);

-- The newest row of every name, in the order they were read, with what was
-- loaded and drawn since.
--: claims_newest
SELECT c.name, c.title, c.read_date, c.verdict, c.n_meanings, c.n_patients,
       (SELECT count(*) FROM audit a WHERE a.what = 'load'
        AND a.seq > (SELECT b.seq FROM audit b WHERE b.hash = c.data_state)),
       (SELECT count(*) FROM audit a WHERE a.what = 'supersede'
        AND a.seq > (SELECT b.seq FROM audit b WHERE b.hash = c.data_state)),
       (SELECT count(*) FROM claims d WHERE d.name = c.name),
       c.printed, c.printed_low, c.printed_high, c.least, c.most, c.margin,
       c.here, c.here_low, c.here_high
FROM claims c
WHERE c.claim_id = (SELECT max(claim_id) FROM claims d WHERE d.name = c.name)
ORDER BY c.claim_id;
