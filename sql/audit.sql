-- audit.sql - the append-only chain; docs/audit.md says what a hash covers.

--: audit_last
SELECT seq, hash FROM audit ORDER BY seq DESC LIMIT 1;

--: audit_add
INSERT INTO audit (seq, at, uid, what, detail, previous, hash)
VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7);

--: audit_all
SELECT seq, at, uid, what, detail, previous, hash FROM audit ORDER BY seq;

-- The newest row that changed data: every hash before it stands behind it. A
-- change of version changes none.
--: audit_data_state
SELECT hash FROM audit WHERE what IN ('create', 'load', 'supersede')
ORDER BY seq DESC LIMIT 1;

-- What the chain's rows speak of, in the order they were written.
--: audit_sources
SELECT source_id, name, sha256, n_rows FROM sources ORDER BY source_id;
--: audit_plans
SELECT sha256, name, 0, 0 FROM plans ORDER BY plan_id;
--: audit_looks
SELECT question_sha256, question, n_rows, n_patients FROM looks
ORDER BY look_id;
--: audit_replaced
SELECT was_table, row_id, was, replaced_by, reason FROM history
WHERE replaced_by = ?1 ORDER BY history_id;
--: audit_claims
SELECT p.sha256, c.name || ': ' || c.verdict, c.n_meanings, c.n_patients
FROM claims c JOIN plans p USING (plan_id) ORDER BY c.claim_id;

-- What the newest act on the data noted of the tables. A change of version
-- that touches one of them must note them anew (docs/store.md).
--: audit_content
SELECT detail FROM audit WHERE what IN ('create', 'load')
ORDER BY seq DESC LIMIT 1;
