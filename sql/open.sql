-- open.sql - what is said to every database before it is used.

--: defend
PRAGMA cell_size_check = ON;
PRAGMA mmap_size = 0;
PRAGMA temp_store = MEMORY;
PRAGMA foreign_keys = ON;
PRAGMA synchronous = FULL;
PRAGMA secure_delete = OFF;
PRAGMA cache_size = -200000;

--: journal
PRAGMA page_size = 16384;
PRAGMA journal_mode = WAL;

--: rollback_journal
PRAGMA page_size = 16384;
PRAGMA journal_mode = DELETE;

--: objects
SELECT type, name, tbl_name, coalesce(sql, '') FROM sqlite_schema
ORDER BY type, name;

-- 1885631095 is 'pdrw' read as a big-endian number.
--: stamp
PRAGMA application_id = 1885631095;
PRAGMA user_version = 3;

--: begin_write
BEGIN IMMEDIATE;
--: begin_read
BEGIN DEFERRED;
--: commit
COMMIT;
--: rollback
ROLLBACK;

--: application_id
PRAGMA application_id;
--: user_version
PRAGMA user_version;
--: count_objects
SELECT count(*) FROM sqlite_schema;
--: lost_parents
SELECT count(*) FROM pragma_foreign_key_check;
--: page_bytes
SELECT page_count * page_size FROM pragma_page_count, pragma_page_size;
--: count_sources
SELECT count(*) FROM sources;

--: one_file
PRAGMA journal_mode = DELETE;
--: whole_check
PRAGMA integrity_check(1);
--: check
PRAGMA quick_check(1);
