"""Every address × method × role: what it answers. Written by hand, not made from the permission table it checks.

A row: url name, method, how to fill its arguments (see ``tests/test_access.py``), and the expected status for each
of planner, technician, approver, auditor, administrator, and for an outsider who holds every role at another site.
An address missing here fails the suite. 302: sends on to another page; 404: as if it did not exist.
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
    # Jobs, the calibration form, records
    Row("calibration:jobs", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:job", "GET", "job", 200, 200, 200, 200, 404, 404),
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
    # Findings, procedures
    Row("calibration:findings", "GET", "", 200, 200, 200, 200, 403, 200),
    Row("calibration:finding", "GET", "finding", 200, 200, 200, 200, 404, 404),
    Row("calibration:finding_assess", "POST", "finding", 403, 403, 422, 403, 404, 404),
    Row("calibration:finding_agree", "POST", "finding", 422, 403, 422, 403, 404, 404),
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
]

# Addresses whose last part is a word, not a number.
KINDS: dict[str, dict[str, str]] = {
    "procedure": {"key": "cap-tank"},
    "template": {"kind": "register", "fmt": "csv"},
}

# Served without signing in (the health page, the sign-in itself) or to whoever is signed in.
OPEN_TO_ALL = {"health", "sign-in", "sign-out", "password_change", "password_change_done"}
