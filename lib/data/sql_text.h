/*
 * sql_text.h - the texts of sql/, one string a file or a named statement in
 * it. sql/embed.sh makes the strings at build time (sql_text.c).
 */
#ifndef PERDRAW_DATA_SQL_TEXT_H
#define PERDRAW_DATA_SQL_TEXT_H

/* schema.sql, words.sql, triggers.sql, views.sql: version 1 */
extern const char pd_sql_schema[], pd_sql_words[], pd_sql_triggers[],
    pd_sql_views[];

/* open.sql */
extern const char pd_sql_defend[], pd_sql_journal[], pd_sql_rollback_journal[],
    pd_sql_objects[], pd_sql_stamp[], pd_sql_begin_write[], pd_sql_begin_read[],
    pd_sql_commit[], pd_sql_rollback[], pd_sql_check[],
    pd_sql_application_id[], pd_sql_user_version[], pd_sql_count_objects[],
    pd_sql_lost_parents[], pd_sql_page_bytes[], pd_sql_count_sources[], pd_sql_one_file[],
    pd_sql_whole_check[];

/* audit.sql */
extern const char pd_sql_audit_last[], pd_sql_audit_add[],
    pd_sql_audit_all[], pd_sql_audit_data_state[],
    pd_sql_audit_sources[], pd_sql_audit_plans[], pd_sql_audit_looks[],
    pd_sql_audit_claims[], pd_sql_audit_replaced[], pd_sql_audit_content[];

/* content.sql */
extern const char pd_sql_content[];

/* ledger.sql */
extern const char pd_sql_look_seen[], pd_sql_look_count[], pd_sql_look_add[],
    pd_sql_look_first[], pd_sql_look_earlier[], pd_sql_look_last[],
    pd_sql_look_reworded[], pd_sql_looks_newest[], pd_sql_new_patients[],
    pd_sql_sources_after[], pd_sql_plan_seen[], pd_sql_plan_add[],
    pd_sql_look_effect_add[], pd_sql_effect_earlier[], pd_sql_first_earlier[],
    pd_sql_effect_last[], pd_sql_first_last[],
    pd_sql_claim_seen[], pd_sql_claim_add[], pd_sql_claims_newest[];

/* load.sql */
extern const char pd_sql_find_source[], pd_sql_same_size[],
    pd_sql_add_source[], pd_sql_add_source_bytes[], pd_sql_add_finding[],
    pd_sql_add_profile[], pd_sql_other_maps[], pd_sql_next_ids[],
    pd_sql_names[], pd_sql_add_operator[], pd_sql_add_device[],
    pd_sql_add_method[], pd_sql_find_patient[], pd_sql_find_case[],
    pd_sql_patient_by_id[], pd_sql_find_sites[], pd_sql_find_numbers[],
    pd_sql_add_patient[], pd_sql_add_case[], pd_sql_add_site[],
    pd_sql_add_aliquot[], pd_sql_add_assay[], pd_sql_put_patient[],
    pd_sql_put_case[], pd_sql_put_site[], pd_sql_put_aliquot[],
    pd_sql_put_assay[], pd_sql_get_aliquot[], pd_sql_get_assay[],
    pd_sql_keep_patient[], pd_sql_keep_case[], pd_sql_keep_site[],
    pd_sql_keep_aliquot[], pd_sql_keep_assay[], pd_sql_history_since[],
    pd_sql_members[], pd_sql_find_pool[], pd_sql_find_label[],
    pd_sql_add_label[],
    pd_sql_next_pool[], pd_sql_add_pool[], pd_sql_add_member[],
    pd_sql_pool_members[], pd_sql_outgrown_pools[], pd_sql_load_on[],
    pd_sql_load_off[], pd_sql_source_name[];

/* rules.sql */
extern const char pd_sql_old_profiles[],
    pd_sql_slips[], pd_sql_aliquot_line[], pd_sql_site_line[];

/* migrate_NNN.sql: one string a file */
extern const char pd_sql_migrate_002[], pd_sql_migrate_003[];

/* read.sql */
extern const char pd_sql_read_counts[], pd_sql_read_sources[],
    pd_sql_read_findings[], pd_sql_read_words[], pd_sql_read_names[],
    pd_sql_read_patients[], pd_sql_read_cases[], pd_sql_read_sites[],
    pd_sql_read_aliquots[], pd_sql_read_assays[], pd_sql_read_colonies[],
    pd_sql_read_dishes[],
    pd_sql_read_shares[],
    pd_sql_read_members[], pd_sql_read_harm[], pd_sql_read_bytes[],
    pd_sql_cover_patients[], pd_sql_cover_cases[], pd_sql_cover_sites[],
    pd_sql_cover_aliquots[], pd_sql_cover_assays[], pd_sql_cover_cultures[],
    pd_sql_year_patients[],
    pd_sql_year_cases[], pd_sql_year_sites[], pd_sql_year_aliquots[],
    pd_sql_year_assays[], pd_sql_release_assays[], pd_sql_release_labels[],
    pd_sql_release_left[];

#endif
