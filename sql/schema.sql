-- schema.sql - the tables of a clinic's database, version 1; what became
-- another one since stands in migrate_NNN.sql.
--
-- Keys carry their parents. A site's key holds its case, side and number, an
-- aliquot's key its site and pull number, an assay's key its sample, material
-- and method version:
--
--   site_id    = case_id  * 2^10 + side * 2^8 + site_no
--   aliquot_id = site_id  * 2^8  + aliquot_no           (a kind of sample_id)
--   sample_id of a pool = case_id * 2^18 + 3 * 2^16 + pool number
--   assay_id   = sample_id * 2^14 + material * 2^13 + method_id
--
-- side: 0 not stated, 1 left, 2 right, 3 only in the key of a pool.
-- So the natural key is the row's own key: it is unique without a second
-- index, a case's rows lie together in order, and a parent is a shift away
-- (the generated columns). Words are stored as codes of the table `words`.
--
-- Result fields hold the number measured or the stated limit. What the cell
-- said is four bits a field in `states`, field k at bits 4k..4k+3, in the order
-- of the columns tnc .. dish_6: 0 measured (blank where the value is NULL),
-- 1 below the value, 2 above the value, 3 too many to count, 4 failed,
-- 5 not ordered, 6 not detected.

CREATE TABLE words (
	field TEXT NOT NULL,
	code INTEGER NOT NULL CHECK (code >= 0),
	word TEXT NOT NULL,
	PRIMARY KEY (field, code)
) STRICT, WITHOUT ROWID;

CREATE TABLE sources (
	source_id INTEGER PRIMARY KEY,
	name TEXT NOT NULL,
	sha256 TEXT NOT NULL UNIQUE CHECK (length(sha256) = 64),
	n_bytes INTEGER NOT NULL,
	n_rows INTEGER NOT NULL,
	map TEXT,
	loaded TEXT NOT NULL
) STRICT;

CREATE TABLE source_bytes (
	source_id INTEGER PRIMARY KEY REFERENCES sources,
	zstd BLOB NOT NULL
) STRICT;

CREATE TABLE operators (
	operator_id INTEGER PRIMARY KEY,
	code TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE devices (
	device_id INTEGER PRIMARY KEY,
	name TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE method_versions (
	method_id INTEGER PRIMARY KEY CHECK (method_id BETWEEN 0 AND 8191),
	name TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE patients (
	patient_id INTEGER PRIMARY KEY,
	label TEXT NOT NULL UNIQUE,
	sex INTEGER,
	birth_year INTEGER,
	source_id INTEGER NOT NULL REFERENCES sources,
	line INTEGER NOT NULL
) STRICT;

CREATE TABLE cases (
	case_id INTEGER PRIMARY KEY CHECK (case_id BETWEEN 1 AND 2147483647),
	label TEXT NOT NULL UNIQUE,
	patient_id INTEGER NOT NULL REFERENCES patients,
	case_date INTEGER,
	age_y REAL CHECK (age_y BETWEEN -1e300 AND 1e300),
	bmi REAL CHECK (bmi BETWEEN -1e300 AND 1e300),
	operator_id INTEGER REFERENCES operators,
	blood_wbc REAL CHECK (blood_wbc BETWEEN -1e300 AND 1e300),
	blood_rbc REAL CHECK (blood_rbc BETWEEN -1e300 AND 1e300),
	blood_hct REAL CHECK (blood_hct BETWEEN -1e300 AND 1e300),
	source_id INTEGER NOT NULL REFERENCES sources,
	line INTEGER NOT NULL
) STRICT;
CREATE INDEX cases_of_patient ON cases (patient_id);

CREATE TABLE sites (
	site_id INTEGER PRIMARY KEY,
	case_id INTEGER NOT NULL AS (site_id >> 10) REFERENCES cases,
	side INTEGER NOT NULL AS (site_id >> 8 & 3) CHECK (side < 3),
	site_no INTEGER NOT NULL AS (site_id & 255) CHECK (site_no > 0),
	landmark INTEGER,
	distance_mm REAL CHECK (distance_mm BETWEEN -1e300 AND 1e300),
	gauge INTEGER,
	geometry INTEGER,
	device_id INTEGER REFERENCES devices,
	adverse_event INTEGER,
	pain_score REAL CHECK (pain_score BETWEEN -1e300 AND 1e300),
	source_id INTEGER NOT NULL REFERENCES sources,
	line INTEGER NOT NULL
) STRICT;

CREATE TABLE aliquots (
	aliquot_id INTEGER PRIMARY KEY,
	site_id INTEGER NOT NULL AS (aliquot_id >> 8) REFERENCES sites,
	aliquot_no INTEGER NOT NULL AS (aliquot_id & 255)
		CHECK (aliquot_no > 0),
	volume_ml REAL CHECK (volume_ml BETWEEN -1e300 AND 1e300),
	syringe_ml REAL CHECK (syringe_ml BETWEEN -1e300 AND 1e300),
	move INTEGER,
	anticoagulant INTEGER,
	anticoagulant_ml REAL
		CHECK (anticoagulant_ml BETWEEN -1e300 AND 1e300),
	pull_style INTEGER,
	time_to_lab_min REAL
		CHECK (time_to_lab_min BETWEEN -1e300 AND 1e300),
	source_id INTEGER NOT NULL REFERENCES sources,
	line INTEGER NOT NULL
) STRICT;

-- A sample made of several draws; its members as they were when it was loaded.
CREATE TABLE pool_samples (
	sample_id INTEGER PRIMARY KEY,
	case_id INTEGER NOT NULL AS (sample_id >> 18) REFERENCES cases,
	label TEXT NOT NULL,
	members TEXT NOT NULL,
	source_id INTEGER NOT NULL REFERENCES sources,
	line INTEGER NOT NULL,
	CHECK (sample_id >> 16 & 3 = 3)
) STRICT;

CREATE TABLE pool_aliquots (
	sample_id INTEGER NOT NULL REFERENCES pool_samples,
	aliquot_id INTEGER NOT NULL REFERENCES aliquots,
	PRIMARY KEY (sample_id, aliquot_id)
) STRICT, WITHOUT ROWID;

-- The lab's labels of samples. A label may be used again in another case.
CREATE TABLE sample_labels (
	label TEXT NOT NULL,
	sample_id INTEGER NOT NULL,
	source_id INTEGER NOT NULL REFERENCES sources,
	line INTEGER NOT NULL,
	PRIMARY KEY (label, sample_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE assays (
	assay_id INTEGER PRIMARY KEY,
	sample_id INTEGER NOT NULL AS (assay_id >> 14),
	case_id INTEGER NOT NULL AS (assay_id >> 32) REFERENCES cases,
	material INTEGER NOT NULL AS (assay_id >> 13 & 1),
	method_id INTEGER NOT NULL AS (assay_id & 8191)
		REFERENCES method_versions,
	states INTEGER NOT NULL,
	tnc REAL CHECK (tnc BETWEEN -1e300 AND 1e300),
	mnc REAL CHECK (mnc BETWEEN -1e300 AND 1e300),
	viability REAL CHECK (viability BETWEEN -1e300 AND 1e300),
	hct REAL CHECK (hct BETWEEN -1e300 AND 1e300),
	rbc REAL CHECK (rbc BETWEEN -1e300 AND 1e300),
	platelets REAL CHECK (platelets BETWEEN -1e300 AND 1e300),
	cd34 REAL CHECK (cd34 BETWEEN -1e300 AND 1e300),
	cd271 REAL CHECK (cd271 BETWEEN -1e300 AND 1e300),
	cfu_f REAL CHECK (cfu_f BETWEEN -1e300 AND 1e300),
	cfu_f_e6 REAL CHECK (cfu_f_e6 BETWEEN -1e300 AND 1e300),
	dish_1 REAL CHECK (dish_1 BETWEEN -1e300 AND 1e300),
	dish_2 REAL CHECK (dish_2 BETWEEN -1e300 AND 1e300),
	dish_3 REAL CHECK (dish_3 BETWEEN -1e300 AND 1e300),
	dish_4 REAL CHECK (dish_4 BETWEEN -1e300 AND 1e300),
	dish_5 REAL CHECK (dish_5 BETWEEN -1e300 AND 1e300),
	dish_6 REAL CHECK (dish_6 BETWEEN -1e300 AND 1e300),
	cells_plated REAL CHECK (cells_plated BETWEEN -1e300 AND 1e300),
	culture_days REAL CHECK (culture_days BETWEEN -1e300 AND 1e300),
	colony_threshold REAL
		CHECK (colony_threshold BETWEEN -1e300 AND 1e300),
	source_id INTEGER NOT NULL REFERENCES sources,
	line INTEGER NOT NULL
) STRICT;

-- How a field's values were spread in one source and method version: counts
-- of positive values by quarter octave, so that a clinic's median is known
-- without reading every row again.
CREATE TABLE profiles (
	source_id INTEGER NOT NULL REFERENCES sources,
	method_id INTEGER NOT NULL REFERENCES method_versions,
	field TEXT NOT NULL,
	n_values INTEGER NOT NULL,
	counts BLOB NOT NULL,
	PRIMARY KEY (source_id, method_id, field)
) STRICT;

CREATE TABLE findings (
	finding_id INTEGER PRIMARY KEY,
	source_id INTEGER NOT NULL REFERENCES sources,
	code TEXT NOT NULL,
	level TEXT NOT NULL CHECK (level IN ('note', 'warning', 'error')),
	line INTEGER NOT NULL,
	position INTEGER NOT NULL,
	found TEXT NOT NULL,
	expected TEXT NOT NULL
) STRICT;

CREATE TABLE plans (
	plan_id INTEGER PRIMARY KEY,
	name TEXT NOT NULL,
	sha256 TEXT NOT NULL UNIQUE CHECK (length(sha256) = 64),
	plan TEXT NOT NULL,
	first_date TEXT NOT NULL
) STRICT;

-- data_state: the audit hash of the newest load when the question was read.
CREATE TABLE looks (
	look_id INTEGER PRIMARY KEY,
	question TEXT NOT NULL,
	question_sha256 TEXT NOT NULL,
	data_state TEXT NOT NULL,
	look_date TEXT NOT NULL,
	estimate REAL CHECK (estimate BETWEEN -1e300 AND 1e300),
	se REAL CHECK (se BETWEEN -1e300 AND 1e300),
	low REAL CHECK (low BETWEEN -1e300 AND 1e300),
	high REAL CHECK (high BETWEEN -1e300 AND 1e300),
	n_rows INTEGER NOT NULL,
	n_patients INTEGER NOT NULL,
	UNIQUE (question_sha256, data_state)
) STRICT;

-- Rows as they were before a correction or an addition replaced them.
CREATE TABLE history (
	history_id INTEGER PRIMARY KEY,
	was_table TEXT NOT NULL,
	row_id INTEGER NOT NULL,
	was TEXT NOT NULL,
	replaced_by INTEGER NOT NULL REFERENCES sources (source_id),
	reason TEXT NOT NULL
) STRICT;

-- Each row's hash covers the row and the hash before it (docs/audit.md).
CREATE TABLE audit (
	seq INTEGER PRIMARY KEY,
	at TEXT NOT NULL,
	uid INTEGER NOT NULL,
	what TEXT NOT NULL
		CHECK (what IN ('create', 'migrate', 'load', 'supersede',
		                'plan', 'look')),
	detail TEXT NOT NULL,
	previous TEXT NOT NULL,
	hash TEXT NOT NULL
) STRICT;
