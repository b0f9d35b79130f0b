-- triggers.sql - what was written once stays. A file's owner can still replace
-- the whole file: the chain of hashes in `audit` is what shows it.

CREATE TRIGGER audit_keeps_rows BEFORE DELETE ON audit
BEGIN SELECT RAISE(ABORT, 'audit rows cannot be removed'); END;
CREATE TRIGGER audit_keeps_words BEFORE UPDATE ON audit
BEGIN SELECT RAISE(ABORT, 'audit rows cannot be changed'); END;
CREATE TRIGGER audit_in_order BEFORE INSERT ON audit
WHEN new.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM audit)
BEGIN SELECT RAISE(ABORT, 'audit rows come one after the other'); END;

CREATE TRIGGER history_keeps_rows BEFORE DELETE ON history
BEGIN SELECT RAISE(ABORT, 'history rows cannot be removed'); END;
CREATE TRIGGER history_keeps_words BEFORE UPDATE ON history
BEGIN SELECT RAISE(ABORT, 'history rows cannot be changed'); END;

CREATE TRIGGER looks_keep_rows BEFORE DELETE ON looks
BEGIN SELECT RAISE(ABORT, 'looks cannot be removed'); END;
CREATE TRIGGER looks_keep_words BEFORE UPDATE ON looks
BEGIN SELECT RAISE(ABORT, 'looks cannot be changed'); END;

CREATE TRIGGER plans_keep_rows BEFORE DELETE ON plans
BEGIN SELECT RAISE(ABORT, 'plans cannot be removed'); END;
CREATE TRIGGER plans_keep_words BEFORE UPDATE ON plans
BEGIN SELECT RAISE(ABORT, 'plans cannot be changed'); END;

CREATE TRIGGER sources_keep_rows BEFORE DELETE ON sources
BEGIN SELECT RAISE(ABORT, 'sources cannot be removed'); END;
CREATE TRIGGER sources_keep_words BEFORE UPDATE ON sources
BEGIN SELECT RAISE(ABORT, 'sources cannot be changed'); END;
CREATE TRIGGER source_bytes_keep_rows BEFORE DELETE ON source_bytes
BEGIN SELECT RAISE(ABORT, 'source bytes cannot be removed'); END;
CREATE TRIGGER source_bytes_keep_words BEFORE UPDATE ON source_bytes
BEGIN SELECT RAISE(ABORT, 'source bytes cannot be changed'); END;
