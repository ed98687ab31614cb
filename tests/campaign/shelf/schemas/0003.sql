BEGIN TRANSACTION;
CREATE TABLE analyses (
	entry VARCHAR(64) NOT NULL, 
	content VARCHAR(64) NOT NULL, 
	made_by VARCHAR(64) NOT NULL, 
	findings TEXT NOT NULL, 
	PRIMARY KEY (entry), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
CREATE TABLE entries (
	entry VARCHAR(64) NOT NULL, 
	content VARCHAR(64) NOT NULL, 
	source TEXT NOT NULL, 
	added_at VARCHAR(32) NOT NULL, 
	changed_at VARCHAR(32) NOT NULL, 
	PRIMARY KEY (entry)
);
INSERT INTO "entries" VALUES('two-jars','6d7cbc7399acacf1c3e7a0a72b16ac158648117d7816fc2ba5699913dbc79bb8','two-jars','2026-06-01T12:00:00+00:00','2026-06-01T12:00:00+00:00');
CREATE TABLE files (
	entry VARCHAR(64) NOT NULL, 
	path VARCHAR(512) NOT NULL, 
	sha256 VARCHAR(64) NOT NULL, 
	size BIGINT NOT NULL, 
	PRIMARY KEY (entry, path), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
INSERT INTO "files" VALUES('two-jars','mic.txt','5b39391b9e3125682a162e1aa2889c10c537dfa27dfbf3f6761bb0297d40504d',67);
INSERT INTO "files" VALUES('two-jars','recordings/a.wav','6e55ea88527e391d2fc89d6a52dce4c9dc6de801d8041b1c26a4aaaf97ac2496',261842);
INSERT INTO "files" VALUES('two-jars','recordings/b.flac','c17030ae54a7b10ed5daad79a69951547f775934d8ff2405a19848b4c53658f4',17939);
INSERT INTO "files" VALUES('two-jars','recordings/c.wav','4cdc10a5260c44b356526a5ceae39cb7f4e0ad28c7371ab25ad745f0d56f802e',48080);
CREATE TABLE modes (
	entry VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	take TEXT, 
	mode_number INTEGER, 
	circumferential_order INTEGER, 
	frequency_hz FLOAT, 
	frequency_hz_u FLOAT, 
	loss_factor FLOAT, 
	loss_factor_u FLOAT, 
	prominence_db FLOAT, 
	free_frequency_hz FLOAT, 
	free_frequency_hz_u FLOAT, 
	free_loss_factor FLOAT, 
	free_loss_factor_u FLOAT, 
	PRIMARY KEY (entry, place), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
CREATE TABLE readings (
	entry VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	take TEXT, 
	specimen TEXT, 
	kind TEXT, 
	material TEXT, 
	recipe TEXT, 
	profile TEXT, 
	session TEXT, 
	seating INTEGER, 
	level_db FLOAT, 
	level_db_u FLOAT, 
	lower_limit_hz FLOAT, 
	lower_limit_hz_u FLOAT, 
	upper_limit_hz FLOAT, 
	upper_limit_hz_u FLOAT, 
	unevenness_db FLOAT, 
	unevenness_db_u FLOAT, 
	unevenness_common_db FLOAT, 
	unevenness_common_db_u FLOAT, 
	breakup_hz FLOAT, 
	breakup_hz_u FLOAT, 
	breakup_loss_factor FLOAT, 
	breakup_loss_factor_u FLOAT, 
	breakup_prominence_db FLOAT, 
	breakup_prominence_db_u FLOAT, 
	tallest_peak_hz FLOAT, 
	tallest_peak_hz_u FLOAT, 
	tallest_peak_db FLOAT, 
	tallest_peak_db_u FLOAT, 
	piston_limit_hz FLOAT, 
	piston_limit_hz_u FLOAT, 
	thd_peak_percent FLOAT, 
	thd_peak_percent_u FLOAT, 
	thd_peak_hz FLOAT, 
	thd_peak_hz_u FLOAT, 
	piston_thd_peak_percent FLOAT, 
	piston_thd_peak_percent_u FLOAT, 
	piston_thd_peak_hz FLOAT, 
	piston_thd_peak_hz_u FLOAT, 
	input_thd_peak_percent FLOAT, 
	input_thd_peak_percent_u FLOAT, 
	input_thd_peak_hz FLOAT, 
	input_thd_peak_hz_u FLOAT, 
	buzz_peak_percent FLOAT, 
	buzz_peak_percent_u FLOAT, 
	buzz_peak_hz FLOAT, 
	buzz_peak_hz_u FLOAT, 
	decay_5_percent_ms FLOAT, 
	decay_5_percent_ms_u FLOAT, 
	decay_2_percent_ms FLOAT, 
	decay_2_percent_ms_u FLOAT, 
	decay_bandlimit_ms FLOAT, 
	decay_bandlimit_ms_u FLOAT, 
	delay_ms FLOAT, 
	delay_ms_u FLOAT, 
	snr_db FLOAT, 
	snr_db_u FLOAT, 
	clock_ppm FLOAT, 
	clock_ppm_u FLOAT, 
	quality VARCHAR(8), 
	PRIMARY KEY (entry, place), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
CREATE TABLE rows_campaign (
	entry VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	campaign TEXT NOT NULL, 
	title TEXT NOT NULL, 
	question TEXT, 
	band_low_hz FLOAT, 
	band_high_hz FLOAT, 
	licence TEXT, 
	notes TEXT, 
	extra_columns JSON NOT NULL, 
	PRIMARY KEY (entry, place), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
INSERT INTO "rows_campaign" VALUES('two-jars',0,'two-jars','Two jars',NULL,300.0,6000.0,NULL,NULL,'{}');
CREATE TABLE rows_coupons (
	entry VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	specimen TEXT NOT NULL, 
	coupon TEXT NOT NULL, 
	length_mm FLOAT, 
	width_mm FLOAT, 
	thickness_mm FLOAT NOT NULL, 
	diameter_mm FLOAT, 
	orientation TEXT NOT NULL, 
	extra_columns JSON NOT NULL, 
	PRIMARY KEY (entry, place), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
INSERT INTO "rows_coupons" VALUES('two-jars',0,'fir-stick','stick',100.0,10.0,3.0,NULL,'upright','{}');
CREATE TABLE rows_history (
	entry VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	specimen TEXT NOT NULL, 
	date TEXT NOT NULL, 
	event TEXT NOT NULL, 
	details TEXT, 
	extra_columns JSON NOT NULL, 
	PRIMARY KEY (entry, place), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
INSERT INTO "rows_history" VALUES('two-jars',0,'fir-1','2026-05-01','printed',NULL,'{}');
INSERT INTO "rows_history" VALUES('two-jars',1,'fir-1','2026-05-02','annealed',NULL,'{}');
CREATE TABLE rows_materials (
	entry VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	material TEXT NOT NULL, 
	name TEXT NOT NULL, 
	polymer TEXT, 
	density_kg_m3 FLOAT, 
	poisson FLOAT, 
	heat_deflection_c FLOAT, 
	notes TEXT, 
	extra_columns JSON NOT NULL, 
	PRIMARY KEY (entry, place), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
INSERT INTO "rows_materials" VALUES('two-jars',0,'fir','Fir',NULL,1200.0,0.36,NULL,NULL,'{"colour": "green"}');
INSERT INTO "rows_materials" VALUES('two-jars',1,'oak','Oak',NULL,1050.0,0.36,NULL,NULL,'{"colour": "brown"}');
CREATE TABLE rows_overhangs (
	entry VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	material TEXT NOT NULL, 
	recipe TEXT, 
	coupon TEXT, 
	clean_to_deg FLOAT, 
	failed_at_deg FLOAT, 
	failed_height_mm FLOAT, 
	notes TEXT, 
	extra_columns JSON NOT NULL, 
	PRIMARY KEY (entry, place), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
INSERT INTO "rows_overhangs" VALUES('two-jars',0,'fir','walls',NULL,48.0,NULL,NULL,NULL,'{}');
CREATE TABLE rows_profiles (
	entry VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	profile TEXT NOT NULL, 
	shape TEXT NOT NULL, 
	neck_radius_mm FLOAT NOT NULL, 
	rim_radius_mm FLOAT NOT NULL, 
	depth_mm FLOAT NOT NULL, 
	bow_mm FLOAT NOT NULL, 
	wall_mm FLOAT NOT NULL, 
	wall_rule TEXT, 
	cap TEXT, 
	notes TEXT, 
	extra_columns JSON NOT NULL, 
	PRIMARY KEY (entry, place), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
INSERT INTO "rows_profiles" VALUES('two-jars',0,'st80','straight',14.0,40.0,28.0,0.0,0.8,NULL,NULL,NULL,'{}');
INSERT INTO "rows_profiles" VALUES('two-jars',1,'cv80','convex',14.0,40.0,28.0,2.5,0.8,NULL,NULL,NULL,'{}');
CREATE TABLE rows_recipes (
	entry VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	recipe TEXT NOT NULL, 
	layer_mm FLOAT, 
	line_width_mm FLOAT, 
	lines FLOAT, 
	nozzle_c FLOAT, 
	bed_c FLOAT, 
	speed_mm_s FLOAT, 
	orientation TEXT, 
	dried TEXT, 
	notes TEXT, 
	extra_columns JSON NOT NULL, 
	PRIMARY KEY (entry, place), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
INSERT INTO "rows_recipes" VALUES('two-jars',0,'walls',0.2,NULL,NULL,NULL,NULL,NULL,'neck-down',NULL,NULL,'{}');
CREATE TABLE rows_rigs (
	entry VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	rig TEXT NOT NULL, 
	mounting TEXT NOT NULL, 
	microphone_distance_mm FLOAT NOT NULL, 
	microphone_calibration TEXT, 
	suspension_stiffness_n_mm FLOAT, 
	suspension_resistance_ns_m FLOAT, 
	force_factor_tm FLOAT, 
	moving_mass_g FLOAT, 
	neck_stiffness_n_um FLOAT, 
	coil_mass_g FLOAT, 
	coil_resistance_ohm FLOAT, 
	coil_inductance_mh FLOAT, 
	full_scale_pa FLOAT, 
	drive_full_scale_v FLOAT, 
	notes TEXT, 
	extra_columns JSON NOT NULL, 
	PRIMARY KEY (entry, place), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
INSERT INTO "rows_rigs" VALUES('two-jars',0,'bench','free',120.0,'mic.txt',NULL,NULL,NULL,NULL,NULL,3.0,NULL,0.13,20.0,3.5,NULL,'{}');
CREATE TABLE rows_sessions (
	entry VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	session TEXT NOT NULL, 
	rig TEXT NOT NULL, 
	date TEXT NOT NULL, 
	full_scale_pa FLOAT, 
	drive_full_scale_v FLOAT, 
	temperature_c FLOAT, 
	humidity_pct FLOAT, 
	notes TEXT, 
	extra_columns JSON NOT NULL, 
	PRIMARY KEY (entry, place), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
INSERT INTO "rows_sessions" VALUES('two-jars',0,'s1','bench','2026-05-04',24.0,NULL,21.5,NULL,NULL,'{}');
INSERT INTO "rows_sessions" VALUES('two-jars',1,'s2','bench','2026-05-05',NULL,NULL,NULL,NULL,NULL,'{}');
CREATE TABLE rows_specimens (
	entry VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	specimen TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	material TEXT, 
	recipe TEXT, 
	profile TEXT, 
	mass_g FLOAT, 
	mass_with_coil_g FLOAT, 
	mass_u_g FLOAT, 
	coil_mass_g FLOAT, 
	coil_resistance_ohm FLOAT, 
	coil_inductance_mh FLOAT, 
	wall_neck_mm FLOAT, 
	wall_rim_mm FLOAT, 
	rim_radius_mm FLOAT, 
	printed_on TEXT, 
	batch TEXT, 
	notes TEXT, 
	extra_columns JSON NOT NULL, 
	PRIMARY KEY (entry, place), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
INSERT INTO "rows_specimens" VALUES('two-jars',0,'fir-1','cone','fir','walls','st80',7.5,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'{}');
INSERT INTO "rows_specimens" VALUES('two-jars',1,'oak-1','cone','oak','walls','cv80',NULL,9.5,NULL,3.2,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'{}');
INSERT INTO "rows_specimens" VALUES('two-jars',2,'oak-2','cone','oak','walls','cv80',NULL,9.5,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'{}');
INSERT INTO "rows_specimens" VALUES('two-jars',3,'fir-stick','coupon','fir','walls',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'{}');
CREATE TABLE rows_sweeps (
	entry VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	sweep TEXT NOT NULL, 
	signal TEXT, 
	start_hz FLOAT, 
	stop_hz FLOAT, 
	duration_s FLOAT, 
	lead_in_s FLOAT, 
	tail_s FLOAT, 
	fade_in_s FLOAT, 
	fade_out_s FLOAT, 
	level_dbfs FLOAT, 
	sample_rate_hz INTEGER, 
	extra_columns JSON NOT NULL, 
	PRIMARY KEY (entry, place), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
INSERT INTO "rows_sweeps" VALUES('two-jars',0,'short',NULL,100.0,16000.0,0.6,0.1,0.2,NULL,NULL,NULL,48000,'{}');
CREATE TABLE rows_takes (
	entry VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	take TEXT NOT NULL, 
	specimen TEXT NOT NULL, 
	session TEXT, 
	rig TEXT, 
	sweep TEXT, 
	seating INTEGER NOT NULL, 
	recording TEXT NOT NULL, 
	recording_is TEXT, 
	microphone_channel INTEGER, 
	reference_channel INTEGER, 
	current_channel INTEGER, 
	drive_gain_db FLOAT, 
	rotation_deg FLOAT, 
	taken_at TEXT, 
	notes TEXT, 
	extra_columns JSON NOT NULL, 
	PRIMARY KEY (entry, place), 
	FOREIGN KEY(entry) REFERENCES entries (entry) ON DELETE CASCADE
);
INSERT INTO "rows_takes" VALUES('two-jars',0,'a','fir-1','s1',NULL,'short',1,'recordings/a.wav','sweep',2,1,NULL,NULL,NULL,NULL,NULL,'{}');
INSERT INTO "rows_takes" VALUES('two-jars',1,'b','oak-1','s2',NULL,'short',1,'recordings/b.flac',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'{}');
INSERT INTO "rows_takes" VALUES('two-jars',2,'c','fir-stick',NULL,'bench',NULL,1,'recordings/c.wav','tap',1,NULL,NULL,NULL,NULL,NULL,NULL,'{}');
CREATE TABLE shelf_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT shelf_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "shelf_version" VALUES('0003');
CREATE INDEX ix_files_sha256 ON files (sha256);
CREATE INDEX ix_readings_take ON readings (entry, take);
CREATE INDEX ix_rows_specimens_specimen ON rows_specimens (entry, specimen);
CREATE INDEX ix_rows_sessions_session ON rows_sessions (entry, session);
CREATE INDEX ix_rows_materials_material ON rows_materials (entry, material);
CREATE INDEX ix_rows_history_specimen ON rows_history (entry, specimen);
COMMIT;
