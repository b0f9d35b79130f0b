-- audit.sql - the append-only chain; docs/audit.md says what a hash covers.

--: audit_last
SELECT seq, hash FROM audit ORDER BY seq DESC LIMIT 1;

--: audit_add
INSERT INTO audit (seq, at, uid, what, detail, previous, hash)
VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7);

--: audit_all
SELECT seq, at, uid, what, detail, previous, hash FROM audit ORDER BY seq;

-- The newest row that changed data: every hash before it stands behind it.
--: audit_data_state
SELECT hash FROM audit WHERE what IN ('create', 'migrate', 'load', 'supersede')
ORDER BY seq DESC LIMIT 1;
