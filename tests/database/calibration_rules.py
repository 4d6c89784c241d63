"""Every named rule of calibration's tables, and a statement that breaks it and no other."""

from __future__ import annotations

from tests.database.rows import copy_of, elsewhere, truncations

_WORK = "UPDATE calibration_fieldwork SET"
_SIGNED, _SET_ASIDE = "WHERE state = 'signed'", "WHERE state = 'set aside'"
_FINDING = "UPDATE calibration_finding SET"
_POLICY = "UPDATE calibration_policy SET"
_EARLIER = "(SELECT id FROM calibration_calibration WHERE state = 'approved')"
_ANY_PERSON = "(SELECT min(id) FROM plant_person)"
_POINT = elsewhere("plant_measuringpoint")
_NEW = {"submission": "gen_random_uuid()", "job_id": "NULL"}


def _record(like: str = "submitted", **changes: str) -> str:
    """Another record like the first one in that state, without a job."""
    alike = f"state = '{like}' AND amends_id IS NULL"
    return copy_of("calibration_calibration", where=alike, **_NEW, **changes)


def _without_level(**changes: str) -> str:
    """Another reading as it stands, at no known level."""
    facts = {
        "stage": "'as it stands'",
        "sequence": "99",
        **dict.fromkeys(("applied", "expected", "error_percent"), "NULL"),
        "no_level_reason": "'storm'",
        "verdict": "'not judged'",
    }
    return copy_of("calibration_reading", where=f"record_id <> {_EARLIER}", **facts | changes)


def _standard(name: str) -> str:
    return f"(SELECT id FROM calibration_referencestandard WHERE name = '{name}')"


def _certificate(name: str) -> str:
    return f"(SELECT id FROM calibration_standardcertificate WHERE standard_id = {_standard(name)})"


def _use_of(name: str, **changes: str) -> str:
    """A standard named in the record that is still being entered."""
    of_name = {"standard_id": _standard(name), "certificate_id": _certificate(name)}
    late = f"record_id <> {_EARLIER}"
    return copy_of("calibration_standarduse", where=late, **{**of_name, **changes})


CALIBRATION_RULES = {
    # records
    "record_state_is_known": _record(state="'lost'"),
    "record_has_the_limits_of_its_sides": _record(tolerance_down="1", tolerance_sides="'at most'"),
    "a_shape_has_nine_positions": _record(shape="'{0.1, 0.2}'"),
    "typed_record_has_its_performer_and_procedure": _record(procedure_version_id="NULL"),
    "as_found_or_the_reason_why_not": _record(found_verdict="''"),
    "as_left_verdict_is_known": _record(left_verdict="''"),
    "approval_has_person_and_time_or_neither": _record("approved", approved_by_name="''"),
    "nobody_approves_their_own_work": _record("approved", approved_by_id="performed_by_id"),
    "a_return_has_person_time_and_reason": _record(return_reason="'smudged'"),
    "an_amendment_has_a_reason": _record(amend_reason="'wrong standard'"),
    "one_amendment_per_record": copy_of(
        "calibration_calibration", where="amends_id IS NOT NULL", **_NEW
    ),
    "one_record_per_job": copy_of("calibration_calibration", submission="gen_random_uuid()"),
    "record_stays_as_sent": "UPDATE calibration_calibration SET note = 'another'",
    "calibration_calibration_point_id_of_its_site": _record(point_id=_POINT),
    "calibration_calibration_transmitter_id_of_its_site": _record(
        transmitter_id=elsewhere("plant_transmitter")
    ),
    # what belongs to a record
    "reading_observed_something": copy_of(
        "calibration_reading", where=f"record_id <> {_EARLIER}", sequence="99", observed="NULL"
    ),
    "reading_has_a_level_or_as_it_stands_the_reason_why_not": _without_level(stage="'as found'"),
    "without_a_level_only_a_failure_is_judged": _without_level(verdict="'pass'"),
    "reading_stage_is_known": copy_of(
        "calibration_reading", where=f"record_id <> {_EARLIER}", stage="'as dreamt'"
    ),
    "one_reading_per_place_in_the_run": copy_of(
        "calibration_reading", where=f"record_id <> {_EARLIER}"
    ),
    "calibration_reading_stays": "UPDATE calibration_reading SET observed = 4",
    "calibration_reading_with_record": copy_of(
        "calibration_reading", record_id=_EARLIER, sequence="99"
    ),
    "one_adjustment_per_number": copy_of("calibration_adjustment"),
    "calibration_adjustment_stays": "DELETE FROM calibration_adjustment",
    "calibration_adjustment_with_record": copy_of("calibration_adjustment", record_id=_EARLIER),
    "a_step_is_taken_once_in_a_record": copy_of("calibration_steptaken"),
    "step_was_done_or_left_out_with_a_reason": copy_of(
        "calibration_steptaken", number="2", done_at="NULL"
    ),
    "calibration_steptaken_stays": "UPDATE calibration_steptaken SET note = 'another'",
    "calibration_steptaken_with_record": copy_of("calibration_steptaken", record_id=_EARLIER),
    "a_standard_is_named_once_in_a_record": _use_of("MM-01"),
    "standard_covers_the_day": _use_of("MM-03"),
    "certificate_of_that_standard": _use_of("MM-03", certificate_id=_certificate("MM-02")),
    "calibration_standarduse_stays": "DELETE FROM calibration_standarduse",
    "calibration_standarduse_with_record": _use_of("MM-02", record_id=_EARLIER),
    # standards and certificates
    "standard_name_unique_in_its_site": copy_of("calibration_referencestandard"),
    "standard_withdrawal_has_a_reason": (
        "UPDATE calibration_referencestandard SET withdrawn_on = '2026-11-02'"
    ),
    "certificate_number_unique_per_standard": copy_of("calibration_standardcertificate"),
    "certificate_valid_after_issue": (
        "UPDATE calibration_standardcertificate SET valid_until = issued_on - 1"
    ),
    "uncertainty_and_k_come_together": (
        "UPDATE calibration_standardcertificate SET expanded_uncertainty = 0.1"
    ),
    "certificate_withdrawal_has_a_reason": (
        "UPDATE calibration_standardcertificate SET withdrawn_on = '2026-11-02'"
    ),
    # procedures
    "procedure_version_number_unique": copy_of("calibration_procedureversion"),
    "procedure_covers_a_part": copy_of(
        "calibration_procedureversion", number="99", covers_output="false", covers_primary="false"
    ),
    "way_reaches_the_primary_element": copy_of(
        "calibration_procedureversion", number="99", way="'simulated output'"
    ),
    "published_version_stays": "UPDATE calibration_procedureversion SET reason = 'another'",
    "procedure_step_number_unique": copy_of(
        "calibration_procedurestep", where="text = 'Draft step.'"
    ),
    "step_kind_is_known": (
        "UPDATE calibration_procedurestep SET kind = 'sing' WHERE text = 'Draft step.'"
    ),
    "published_steps_stay": "UPDATE calibration_procedurestep SET text = 'another'",
    "one_wording_per_site_step_and_device": copy_of("calibration_sitewording"),
    # jobs and rounds
    "job_state_is_known": "UPDATE calibration_job SET state = 'lost'",
    "a_stop_has_round_and_number_or_neither": "UPDATE calibration_job SET stop_number = NULL",
    "one_open_job_per_point": copy_of("calibration_job", where="state = 'submitted'"),
    "one_job_per_stop_of_a_round": copy_of(
        "calibration_job", where="round_id IS NOT NULL", state="'cancelled'"
    ),
    "round_ends_after_it_starts": "UPDATE calibration_round SET ends_on = starts_on - 1",
    "calibration_job_point_id_of_its_site": (
        f"UPDATE calibration_job SET point_id = {_POINT} WHERE state = 'approved'"
    ),
    "calibration_job_product_change_id_of_its_site": (
        f"UPDATE calibration_job SET product_change_id = {elsewhere('plant_productchange')}"
    ),
    "calibration_job_round_id_of_its_site": (
        f"UPDATE calibration_job SET round_id = {elsewhere('calibration_round')}, stop_number = 9 "
        "WHERE state = 'approved'"
    ),
    # works from the plant
    "field_work_state_is_known": f"{_WORK} state = 'lost' {_SET_ASIDE}",
    "field_work_has_content_once_received": f"{_WORK} received_at = now() {_SIGNED}",
    "stored_field_work_has_its_record": f"{_WORK} state = 'stored' {_SET_ASIDE}",
    "field_work_set_aside_says_why": f"{_WORK} troubles = '[]' {_SET_ASIDE}",
    "settled_field_work_has_person_time_and_reason": f"{_WORK} settled_at = now() {_SET_ASIDE}",
    "field_work_settled_without_record_was_settled_by_somebody": (
        f"{_WORK} state = 'settled' {_SET_ASIDE}"
    ),
    "field_work_stays_as_signed": f"{_WORK} content = '{{ }}' {_SET_ASIDE}",
    "calibration_fieldwork_job_id_of_its_site": copy_of(
        "calibration_fieldwork",
        submission="gen_random_uuid()",
        job_id=elsewhere("calibration_job"),
    ),
    "a_photo_is_stored_once_per_work": copy_of("calibration_fieldphoto"),
    "calibration_fieldphoto_only_added": "DELETE FROM calibration_fieldphoto",
    # status
    "a_reason_is_closed_once": copy_of("calibration_reasonclosing"),
    "a_closing_says_why": copy_of("calibration_reasonclosing", of="99", why="''"),
    "closed_kind_is_known": copy_of("calibration_reasonclosing", of="99", kind="'demand'"),
    "calibration_reasonclosing_point_id_of_its_site": copy_of(
        "calibration_reasonclosing", of="99", point_id=_POINT
    ),
    "calibration_reasonclosing_only_added": "DELETE FROM calibration_reasonclosing",
    # findings, and jumps in the drift
    "an_assessment_has_text_person_and_time": (f"{_FINDING} assessment = 'no harm'"),
    "a_closed_finding_is_assessed_and_agreed": f"{_FINDING} closed_at = now()",
    "assessment_is_agreed_by_another_person": (
        f"{_FINDING} assessment = 'no harm', assessed_at = now(), "
        f"closed_at = now(), assessed_by_id = {_ANY_PERSON}, agreed_by_id = {_ANY_PERSON}"
    ),
    "calibration_finding_point_id_of_its_site": f"{_FINDING} point_id = {_POINT}",
    "one_step_a_record_and_end": copy_of("calibration_stepquestion"),
    "step_end_is_known": "UPDATE calibration_stepquestion SET \"end\" = 'both'",
    "an_answer_has_cause_person_and_time": "UPDATE calibration_stepquestion SET cause = 'surge'",
    "calibration_stepquestion_point_id_of_its_site": (
        f"UPDATE calibration_stepquestion SET point_id = {_POINT}"
    ),
    # policies, proposals, deferrals
    "policy_is_of_a_duty_or_a_point": f"{_POLICY} duty = ''",
    "one_policy_a_duty_and_site": copy_of("calibration_policy", where="point_id IS NULL"),
    "guard_band_from_0_to_2_U": f"{_POLICY} guard_share = 2.01",
    "risk_below_half": f"{_POLICY} risk_percent = 50",
    "target_from_50_to_99_9": f"{_POLICY} target_percent = 49.9",
    "least_chance_from_50_to_99": f"{_POLICY} least_chance_percent = 49.9",
    "parts_within_a_year": f"{_POLICY} parts_within_days = 367",
    "shortest_below_longest_interval": f"{_POLICY} shortest_months = longest_months",
    "policy_steps_make_sense": f"{_POLICY} lengthen = 0.9",
    "calibration_policy_point_id_of_its_site": (
        f"{_POLICY} duty = '', point_id = {_POINT} WHERE point_id IS NULL"
    ),
    "a_proposal_changes_the_interval": "UPDATE calibration_proposal SET months = months_now",
    "a_decision_has_person_and_time": "UPDATE calibration_proposal SET state = 'accepted'",
    "a_declined_proposal_has_a_reason": (
        "UPDATE calibration_proposal SET state = 'declined', decided_at = now(), "
        f"decided_by_id = {_ANY_PERSON}"
    ),
    "one_waiting_proposal_a_point": copy_of("calibration_proposal", state="'agreed'"),
    "calibration_proposal_point_id_of_its_site": (
        f"UPDATE calibration_proposal SET point_id = {_POINT}"
    ),
    "deferral_ends_after_the_due_date": "UPDATE calibration_deferral SET until = due_on",
    "deferral_has_a_reason": "UPDATE calibration_deferral SET reason = ''",
    "deferral_decision_has_person_and_time_or_neither": (
        "UPDATE calibration_deferral SET granted = true"
    ),
    "deferral_is_decided_by_another_person": (
        "UPDATE calibration_deferral SET granted = true, decided_at = now(), "
        "decided_by_id = asked_by_id"
    ),
    "one_open_deferral_request_per_point": copy_of("calibration_deferral"),
    "calibration_deferral_point_id_of_its_site": (
        f"UPDATE calibration_deferral SET point_id = {_POINT}"
    ),
    # reminders
    "one_reminder_scan_per_site_and_day": copy_of("calibration_reminderscan"),
    "release_has_person_and_time_or_neither": (
        "UPDATE calibration_reminderscan SET released_at = now()"
    ),
    "one_digest_per_person_site_and_day": copy_of("calibration_digest", message_id="'<2@x>'"),
    "digest_is_sent_or_left_out": (
        "UPDATE calibration_digest SET sent_at = now(), left_out = 'wants no mail'"
    ),
    "a_reminder_is_made_once": copy_of("calibration_reminder"),
} | truncations(
    "calibration_adjustment",
    "calibration_calibration",
    "calibration_deferral",
    "calibration_fieldphoto",
    "calibration_fieldwork",
    "calibration_finding",
    "calibration_job",
    "calibration_policy",
    "calibration_procedure",
    "calibration_procedurestep",
    "calibration_procedureversion",
    "calibration_proposal",
    "calibration_reading",
    "calibration_reasonclosing",
    "calibration_referencestandard",
    "calibration_round",
    "calibration_sitewording",
    "calibration_standardcertificate",
    "calibration_standarduse",
    "calibration_stepquestion",
)
