-- migrate_003.sql - version 3: every effect of a reading is kept, and claims
-- with what was made of them. The chain may note a claim; its rows stay as
-- they are, hashes included.

-- label: what the effect compares, '' for a reading made before version 3, of
-- which only the first effect was kept. Its information is 1 / se^2.
CREATE TABLE look_effects (
	look_id INTEGER NOT NULL REFERENCES looks,
	effect_no INTEGER NOT NULL CHECK (effect_no >= 0),
	label TEXT NOT NULL,
	estimate REAL CHECK (estimate BETWEEN -1e300 AND 1e300),
	se REAL CHECK (se BETWEEN -1e300 AND 1e300),
	low REAL CHECK (low BETWEEN -1e300 AND 1e300),
	high REAL CHECK (high BETWEEN -1e300 AND 1e300),
	PRIMARY KEY (look_id, effect_no)
) STRICT, WITHOUT ROWID;
INSERT INTO look_effects
SELECT look_id, 0, '', estimate, se, low, high FROM looks;

CREATE TRIGGER look_effects_keep_rows BEFORE DELETE ON look_effects
BEGIN SELECT RAISE(ABORT, 'looks cannot be removed'); END;
CREATE TRIGGER look_effects_keep_words BEFORE UPDATE ON look_effects
BEGIN SELECT RAISE(ABORT, 'looks cannot be changed'); END;

-- A claim file (its text stands in plans) as it was read on one state of the
-- data. Ratios as printed, NULL where there is none; the newest row of a name
-- is the one that stands. printed: of the first of n_meanings things the print
-- can mean; least, most: of all of them. here: in this clinic's own draws.
CREATE TABLE claims (
	claim_id INTEGER PRIMARY KEY,
	name TEXT NOT NULL,
	plan_id INTEGER NOT NULL REFERENCES plans,
	title TEXT NOT NULL,
	read_date TEXT NOT NULL,
	data_state TEXT NOT NULL,
	question_sha256 TEXT NOT NULL,
	n_meanings INTEGER NOT NULL,
	printed REAL CHECK (printed BETWEEN 0 AND 1e300),
	printed_low REAL CHECK (printed_low BETWEEN 0 AND 1e300),
	printed_high REAL CHECK (printed_high BETWEEN 0 AND 1e300),
	least REAL CHECK (least BETWEEN 0 AND 1e300),
	most REAL CHECK (most BETWEEN 0 AND 1e300),
	margin REAL CHECK (margin BETWEEN 0 AND 1),
	here REAL CHECK (here BETWEEN 0 AND 1e300),
	here_low REAL CHECK (here_low BETWEEN 0 AND 1e300),
	here_high REAL CHECK (here_high BETWEEN 0 AND 1e300),
	n_patients INTEGER NOT NULL,
	verdict TEXT NOT NULL
		CHECK (verdict IN ('better', 'worse', 'no difference',
		                   'not settled', 'no answer', 'not asked')),
	UNIQUE (plan_id, name, data_state)
) STRICT;

CREATE TRIGGER claims_keep_rows BEFORE DELETE ON claims
BEGIN SELECT RAISE(ABORT, 'claims cannot be removed'); END;
CREATE TRIGGER claims_keep_words BEFORE UPDATE ON claims
BEGIN SELECT RAISE(ABORT, 'claims cannot be changed'); END;

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
		                'plan', 'look', 'release', 'claim')),
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
