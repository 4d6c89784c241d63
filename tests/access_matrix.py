"""Every address × method × role: what it answers. Written by hand, not made from the permission
table it checks.

A row: url name, method, how to fill its arguments (see ``tests/test_access.py``), and the expected
status for each of planner, technician, approver, auditor, administrator, and for an outsider who
holds every role at another site. An address missing here fails the suite. 302: sends on to another
page; 404: as if it did not exist.
"""

from __future__ import annotations

from typing import NamedTuple


class Row(NamedTuple):
    name: str
    method: str
    thing: str  # which row of the plant fills pk: point, tank, product, … ; "" for none
    planner: int
    technician: int
    approver: int
    auditor: int
    administrator: int
    outsider: int


ROWS: list[Row] = [
    # The first page, by role; an administrator, who sees no plant, has it here
    Row("calibration:home", "GET", "", 302, 302, 302, 302, 200, 302),
    # Intervals
    Row("calibration:interval", "GET", "point", 200, 403, 200, 403, 404, 404),
    Row("calibration:interval", "POST", "point", 422, 403, 422, 403, 404, 404),
    # Proposals: whoever sees the register reads the reasons; planner and approver decide.
    Row("calibration:proposals", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:proposal", "GET", "proposal", 200, 200, 200, 200, 404, 404),
    Row("calibration:proposals_accept", "GET", "", 200, 403, 200, 403, 403, 200),
    Row("calibration:proposals_accept", "POST", "", 422, 403, 422, 403, 403, 422),
    Row("calibration:proposal_decline", "POST", "proposal", 422, 403, 422, 403, 404, 404),
    Row("calibration:proposal_accept", "POST", "proposal", 302, 403, 302, 403, 404, 404),
    # Policies: read by all who see the register, changed by an approver
    Row("calibration:policies", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:policy_edit", "GET", "duty", 200, 200, 200, 200, 404, 404),
    Row("calibration:policy_edit", "POST", "duty", 403, 403, 422, 403, 404, 404),
    Row("calibration:point_policy", "GET", "point", 200, 200, 200, 200, 404, 404),
    Row("calibration:point_policy", "POST", "point", 403, 403, 422, 403, 404, 404),
    Row("calibration:point_policy_drop", "POST", "point", 403, 403, 422, 403, 404, 404),
    # Register: measuring points
    Row("plant:points", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("plant:points_csv", "GET", "", 200, 403, 200, 200, 403, 200),
    Row("plant:points_xlsx", "GET", "", 200, 403, 200, 200, 403, 200),
    Row("plant:point_new", "GET", "", 200, 403, 403, 403, 403, 200),
    Row("plant:point_new", "POST", "", 422, 403, 403, 403, 403, 422),
    Row("plant:point_edit", "GET", "point", 200, 403, 403, 403, 404, 404),
    Row("plant:point_edit", "POST", "point", 422, 403, 403, 403, 404, 404),
    Row("plant:point_service", "GET", "point", 200, 403, 403, 403, 404, 404),
    Row("plant:point_service", "POST", "point", 422, 403, 403, 403, 404, 404),
    Row("plant:install", "GET", "point", 200, 403, 200, 403, 404, 404),
    Row("plant:install", "POST", "point", 422, 403, 422, 403, 404, 404),
    Row("plant:remove", "POST", "point", 422, 403, 422, 403, 404, 404),
    # Register: tanks, products, transmitters
    Row("plant:tanks", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("plant:tank", "GET", "tank", 200, 200, 200, 200, 404, 404),
    Row("plant:tank_new", "GET", "", 200, 403, 403, 403, 403, 200),
    Row("plant:tank_new", "POST", "", 422, 403, 403, 403, 403, 422),
    Row("plant:tank_edit", "GET", "tank", 200, 403, 403, 403, 404, 404),
    Row("plant:tank_edit", "POST", "tank", 422, 403, 403, 403, 404, 404),
    Row("calibration:product_change", "GET", "tank", 200, 200, 200, 200, 404, 404),
    Row("calibration:product_change", "POST", "tank", 422, 403, 403, 403, 404, 404),
    Row("plant:products", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("plant:product_new", "GET", "", 200, 403, 403, 403, 403, 200),
    Row("plant:product_new", "POST", "", 422, 403, 403, 403, 403, 422),
    Row("plant:product_edit", "GET", "product", 200, 403, 403, 403, 404, 404),
    Row("plant:product_edit", "POST", "product", 422, 403, 403, 403, 404, 404),
    Row("plant:transmitters", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("plant:transmitter_new", "GET", "", 200, 403, 403, 403, 403, 200),
    Row("plant:transmitter_new", "POST", "", 422, 403, 403, 403, 403, 422),
    Row("plant:transmitter_edit", "GET", "transmitter", 200, 403, 403, 403, 404, 404),
    Row("plant:transmitter_edit", "POST", "transmitter", 422, 403, 403, 403, 404, 404),
    # Sites, areas, people
    Row("plant:sites", "GET", "", 200, 200, 200, 200, 200, 200),
    Row("plant:site_new", "GET", "", 403, 403, 403, 403, 200, 200),
    Row("plant:site_new", "POST", "", 403, 403, 403, 403, 422, 422),
    Row("plant:site_edit", "GET", "site", 200, 403, 403, 403, 200, 404),
    Row("plant:site_edit", "POST", "site", 422, 403, 403, 403, 422, 404),
    Row("plant:area_edit", "GET", "area", 200, 403, 403, 403, 404, 404),
    Row("plant:area_edit", "POST", "area", 422, 403, 403, 403, 404, 404),
    Row("plant:people", "GET", "", 403, 403, 403, 403, 200, 200),
    Row("plant:person_new", "GET", "", 403, 403, 403, 403, 200, 200),
    Row("plant:person_new", "POST", "", 403, 403, 403, 403, 422, 422),
    Row("plant:person", "GET", "person", 403, 403, 403, 403, 200, 404),
    Row("plant:person", "POST", "person", 403, 403, 403, 403, 422, 404),
    Row("plant:appoint", "POST", "person", 403, 403, 403, 403, 422, 404),
    Row("plant:person_password", "POST", "person", 403, 403, 403, 403, 422, 404),
    Row("plant:person_close", "POST", "person", 403, 403, 403, 403, 422, 404),
    Row("plant:appointment_end", "POST", "appointment", 403, 403, 403, 403, 302, 404),
    # Jobs, the calibration form, records
    Row("calibration:jobs", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:job", "GET", "job", 200, 200, 200, 200, 404, 404),
    Row("calibration:job_hand_over", "GET", "job", 200, 403, 403, 403, 404, 404),
    Row("calibration:job_hand_over", "POST", "job", 422, 403, 403, 403, 404, 404),
    # A job that nothing known asks for is the planner's to cancel.
    Row("calibration:job_cancel", "GET", "job", 200, 403, 403, 403, 404, 404),
    Row("calibration:job_cancel", "POST", "job", 422, 403, 403, 403, 404, 404),
    # A reason of a status is closed by an approver alone.
    Row("calibration:reason_close", "GET", "reason", 403, 403, 200, 403, 404, 404),
    Row("calibration:reason_close", "POST", "reason", 403, 403, 422, 403, 404, 404),
    Row("calibration:job_new", "POST", "point", 403, 302, 403, 403, 404, 404),
    Row("calibration:calibrate", "GET", "job", 403, 200, 403, 403, 404, 404),
    Row("calibration:calibrate", "POST", "job", 403, 422, 403, 403, 404, 404),
    Row("calibration:records", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:record", "GET", "record", 200, 200, 200, 200, 404, 404),
    Row("calibration:approve", "GET", "waiting", 403, 403, 200, 403, 404, 404),
    Row("calibration:approve", "POST", "waiting", 403, 403, 422, 403, 404, 404),
    Row("calibration:return", "POST", "waiting", 403, 403, 422, 403, 404, 404),
    Row("calibration:amend", "GET", "record", 200, 200, 403, 403, 404, 404),
    Row("calibration:amend", "POST", "record", 422, 422, 403, 403, 404, 404),
    # Due list, deferrals, rounds, outbox
    Row("calibration:due", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:defer", "GET", "point", 200, 200, 403, 403, 404, 404),
    Row("calibration:defer", "POST", "point", 422, 422, 403, 403, 404, 404),
    Row("calibration:deferrals", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:deferral_decide", "GET", "deferral", 403, 403, 200, 403, 404, 404),
    Row("calibration:deferral_decide", "POST", "deferral", 403, 403, 422, 403, 404, 404),
    Row("calibration:rounds", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:round_new", "GET", "", 200, 403, 403, 403, 403, 200),
    Row("calibration:round_new", "POST", "", 422, 403, 403, 403, 403, 422),
    Row("calibration:round", "GET", "round", 200, 200, 200, 200, 404, 404),
    Row("calibration:round_edit", "GET", "round", 200, 403, 403, 403, 404, 404),
    Row("calibration:round_edit", "POST", "round", 422, 403, 403, 403, 404, 404),
    Row("calibration:round_add", "POST", "round", 422, 403, 403, 403, 404, 404),
    Row("calibration:stop_move", "POST", "stop", 302, 403, 403, 403, 404, 404),
    Row("calibration:stop_remove", "POST", "stop", 302, 403, 403, 403, 404, 404),
    # The mail of the tests is the technician's; a site's planners and approvers see it too.
    Row("calibration:outbox", "GET", "", 200, 200, 200, 200, 200, 200),
    Row("calibration:mail", "GET", "digest", 200, 200, 200, 404, 404, 404),
    Row("calibration:reminders_release", "POST", "held", 302, 403, 403, 403, 404, 404),
    # In the plant: what tablets ask. The works of the tests are the technician's.
    Row("calibration:field_pack", "GET", "", 403, 200, 403, 403, 403, 200),
    Row("calibration:field_sign", "POST", "", 403, 422, 403, 403, 403, 422),
    Row("calibration:field_work", "POST", "work", 422, 422, 422, 422, 422, 422),
    Row("calibration:field_photo", "GET", "photo", 404, 404, 404, 404, 404, 404),
    Row("calibration:field_photo", "PUT", "photo", 403, 422, 403, 403, 403, 403),
    Row("calibration:set_asides", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:set_aside", "GET", "set aside", 200, 200, 200, 200, 404, 404),
    Row("calibration:set_aside", "POST", "set aside", 422, 403, 422, 403, 404, 404),
    # Findings, procedures
    Row("calibration:findings", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:finding", "GET", "finding", 200, 200, 200, 200, 404, 404),
    Row("calibration:finding_assess", "POST", "finding", 403, 403, 422, 403, 404, 404),
    Row("calibration:finding_agree", "POST", "finding", 422, 403, 422, 403, 404, 404),
    Row("calibration:steps", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:step", "GET", "step", 200, 200, 200, 200, 404, 404),
    Row("calibration:step", "POST", "step", 422, 422, 422, 403, 404, 404),
    Row("calibration:fleet_again", "POST", "", 302, 403, 403, 403, 403, 302),
    Row("calibration:procedures", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:procedure", "GET", "procedure", 200, 200, 200, 200, 403, 200),
    # Reference standards
    Row("calibration:standards", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:standard", "GET", "standard", 200, 200, 200, 200, 404, 404),
    Row("calibration:standard_new", "GET", "", 200, 200, 403, 403, 403, 200),
    Row("calibration:standard_new", "POST", "", 422, 422, 403, 403, 403, 422),
    Row("calibration:standard_edit", "GET", "standard", 200, 200, 403, 403, 404, 404),
    Row("calibration:standard_edit", "POST", "standard", 422, 422, 403, 403, 404, 404),
    Row("calibration:standard_withdraw", "GET", "standard", 403, 403, 200, 403, 404, 404),
    Row("calibration:standard_withdraw", "POST", "standard", 403, 403, 422, 403, 404, 404),
    Row("calibration:certificate_new", "GET", "standard", 200, 200, 403, 403, 404, 404),
    Row("calibration:certificate_new", "POST", "standard", 422, 422, 403, 403, 404, 404),
    Row("calibration:certificate_withdraw", "GET", "certificate", 403, 403, 200, 403, 404, 404),
    Row("calibration:certificate_withdraw", "POST", "certificate", 403, 403, 422, 403, 404, 404),
    # The certificate of the tests has no file, so that even those who may see it get 404.
    Row("calibration:certificate_file", "GET", "certificate", 404, 404, 404, 404, 404, 404),
    # Points, transmitters, their histories, the ledger
    Row("calibration:point", "GET", "point", 200, 200, 200, 200, 404, 404),
    Row("calibration:transmitter", "GET", "transmitter", 200, 200, 200, 200, 404, 404),
    Row("calibration:history", "GET", "point", 200, 200, 200, 200, 404, 404),
    Row("calibration:history_csv", "GET", "point", 200, 200, 200, 200, 404, 404),
    Row("calibration:history_transmitter", "GET", "transmitter", 200, 200, 200, 200, 404, 404),
    Row("calibration:history_transmitter_csv", "GET", "transmitter", 200, 200, 200, 200, 404, 404),
    Row("calibration:ledger", "GET", "", 200, 403, 200, 200, 403, 200),
    Row("calibration:ledger_csv", "GET", "", 200, 403, 200, 200, 403, 200),
    Row("calibration:ledger_entry", "GET", "entry", 200, 403, 200, 200, 403, 404),
    # A procedure's next version
    Row("calibration:procedure_edit", "GET", "procedure", 403, 403, 200, 403, 403, 200),
    Row("calibration:procedure_edit", "POST", "procedure", 403, 403, 422, 403, 403, 422),
    Row("calibration:wording", "GET", "procedure", 403, 403, 200, 403, 403, 200),
    Row("calibration:wording", "POST", "procedure", 403, 403, 422, 403, 403, 422),
    Row("calibration:procedure_new", "GET", "", 403, 403, 200, 403, 403, 200),
    Row("calibration:procedure_new", "POST", "", 403, 403, 422, 403, 403, 422),
    # Delivered ones: taken in once, by an approver; the procedure of the tests differs, and a
    # person wrote it.
    Row("calibration:procedures_delivered", "GET", "", 403, 403, 200, 403, 403, 200),
    Row("calibration:procedures_delivered", "POST", "", 403, 403, 302, 403, 403, 302),
    Row("calibration:procedure_renew", "GET", "procedure", 403, 403, 200, 403, 403, 200),
    Row("calibration:procedure_renew", "POST", "procedure", 403, 403, 422, 403, 403, 422),
    # A site's own wording
    Row("calibration:wording_change", "GET", "wording", 403, 403, 200, 403, 404, 404),
    Row("calibration:wording_change", "POST", "wording", 403, 403, 422, 403, 404, 404),
    Row("calibration:wording_drop", "POST", "wording", 403, 403, 302, 403, 404, 404),
    # Labels and where their square codes lead
    Row("calibration:label", "GET", "point", 200, 200, 200, 200, 404, 404),
    Row("calibration:round_labels", "GET", "round", 200, 200, 200, 200, 404, 404),
    Row("calibration:find", "GET", "code", 302, 302, 302, 302, 404, 404),
    # Families: numbers of the whole book, names of one's own sites
    Row("calibration:families", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:family", "GET", "family", 200, 200, 200, 200, 403, 200),
    # Imports
    Row("calibration:imports", "GET", "", 200, 403, 200, 200, 403, 200),
    Row("calibration:import_new", "GET", "", 200, 403, 403, 403, 403, 200),
    Row("calibration:import_new", "POST", "", 422, 403, 403, 403, 403, 422),
    Row("calibration:import", "GET", "import", 200, 403, 200, 200, 403, 404),
    Row("calibration:import_apply", "POST", "import", 422, 403, 403, 403, 403, 404),
    Row("calibration:import_withdraw", "POST", "import", 302, 403, 403, 403, 403, 404),
    Row("calibration:import_problems_csv", "GET", "import", 200, 403, 200, 200, 403, 404),
    Row("calibration:template", "GET", "template", 200, 403, 200, 200, 403, 200),
]

# Addresses whose last part is a word, not a number.
KINDS: dict[str, dict[str, str]] = {
    "procedure": {"key": "cap-tank"},
    "template": {"kind": "register", "fmt": "csv"},
    "code": {"site": "M", "tag": "LT-101A"},
    "work": {"submission": "6c1d1f0a-3a52-4c5e-9b0e-0d6f3f1c2a11"},
    "photo": {"submission": "6c1d1f0a-3a52-4c5e-9b0e-0d6f3f1c2a11", "sha256": "0" * 64},
}

# Asked by a tablet, which cannot be sent to a page: signed out they answer 401.
FOR_DEVICES = {
    "calibration:field_pack",
    "calibration:field_sign",
    "calibration:field_work",
    "calibration:field_photo",
}

# Served without signing in (the health page, the sign-in itself) or to whoever is signed in.
OPEN_TO_ALL = {
    "health",
    "sign-in",
    "sign-out",
    "password_change",
    "password_change_done",
    "calibration:field_who",
} | {
    "calibration:field",
    "calibration:field_worker",
}
