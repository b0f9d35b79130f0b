-- migrate_002.sql - version 2: the chain may note a release, which is a
-- disclosure. The rows of the chain stay as they are, hashes included.

DROP TRIGGER audit_keeps_rows;
DROP TRIGGER audit_keeps_words;
DROP TRIGGER audit_in_order;

CREATE TABLE audit_before (
	seq INTEGER, at TEXT, uid INTEGER, what TEXT, detail TEXT,
	previous TEXT, hash TEXT
) STRICT;
INSERT INTO audit_before SELECT * FROM audit ORDER BY seq;
DROP TABLE audit;
CREATE TABLE audit (
	seq INTEGER PRIMARY KEY,
	at TEXT NOT NULL,
	uid INTEGER NOT NULL,
	what TEXT NOT NULL
		CHECK (what IN ('create', 'migrate', 'load', 'supersede',
		                'plan', 'look', 'release')),
	detail TEXT NOT NULL,
	previous TEXT NOT NULL,
	hash TEXT NOT NULL
) STRICT;
INSERT INTO audit SELECT * FROM audit_before ORDER BY seq;
DROP TABLE audit_before;

CREATE TRIGGER audit_keeps_rows BEFORE DELETE ON audit
BEGIN SELECT RAISE(ABORT, 'audit rows cannot be removed'); END;
CREATE TRIGGER audit_keeps_words BEFORE UPDATE ON audit
BEGIN SELECT RAISE(ABORT, 'audit rows cannot be changed'); END;
CREATE TRIGGER audit_in_order BEFORE INSERT ON audit
WHEN new.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM audit)
BEGIN SELECT RAISE(ABORT, 'audit rows come one after the other'); END;
