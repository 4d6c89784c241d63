"""What can wait for a person, by role; the most urgent kind first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from calibration.deferrals.models import Deferral
from calibration.drift.models import JumpQuestion
from calibration.findings.models import Finding
from calibration.intervals.models import Proposal
from calibration.jobs.models import Job
from calibration.records.models import Calibration
from calibration.reminders.models import ReminderScan
from calibration.status.models import ReasonClosing
from calibration.tablet.models import FieldWork
from calibration.waiting import questions as ask
from calibration.waiting.questions import Question, by_others, of_mine, rows, since_last_visit
from plant.people.roles import Role


@dataclass(frozen=True)
class Kind:
    """One kind of thing that waits.

    mark: shape and colour, a key of plant.templatetags.marks.STATES. page: the list of all of them,
    "" where the person may open none. label, day, pk: paths from a row to what it is called by, to
    its day (or ""), and to the number in ``url``, the address of one.
    """

    text: str
    mark: str
    question: Question
    page: str
    label: str
    url: str
    day: str = ""
    pk: str = "pk"
    order: tuple[str, ...] = ("pk",)
    once: bool = False  # several rows may be of one, who counts once


def _point(text: str, mark: str, question: Question, state: str) -> Kind:
    order = ("condition", "next_due", "pk")
    return Kind(text, mark, question, f"/due/?state={state}", "tag", "/points/{}/", order=order)


def _finding(text: str, question: Question, page: str, mark: str = "open") -> Kind:
    order = ("opened_at",)
    return Kind(text, mark, question, page, "point__tag", "/findings/{}/", "opened_at", order=order)


def _deferral(text: str, question: Question, url: str, pk: str) -> Kind:
    return Kind(
        text, "deferred", question, "/deferrals/", "point__tag", url, "until", pk, ("asked_at",)
    )


def _job(text: str, mark: str, question: Question) -> Kind:
    order = ("planned_on", "stop_number", "pk")
    return Kind(
        text, mark, question, "/jobs/", "point__tag", "/jobs/{}/", "planned_on", order=order
    )


def _work(text: str, mark: str, question: Question, page: str = "/set-aside/") -> Kind:
    url, order = "/set-aside/{}/", ("signed_at",)
    return Kind(text, mark, question, page, "job__point__tag", url, "signed_at", order=order)


def _standard(text: str, question: Question) -> Kind:
    return Kind(text, "soon", question, "/standards/", "name", "/standards/{}/", order=("name",))


def _proposal(text: str, question: Question, page: str) -> Kind:
    order = ("-made_at",)
    return Kind(text, "plan", question, page, "point__tag", "/proposals/{}/", order=order)


def _record(text: str, mark: str, question: Question, page: str) -> Kind:
    order = ("submitted_at",)
    return Kind(text, mark, question, page, "tag", "/records/{}/", "done_on", order=order)


def _account(text: str, mark: str, question: Question, day: str = "") -> Kind:
    order = ("person__name", "person_id")
    return Kind(
        text,
        mark,
        question,
        "/people/",
        "person__name",
        "/people/{}/",
        day,
        "person_id",
        order,
        once=True,
    )


OPEN_FINDINGS = rows(Finding, closed_at=None)
TO_ASSESS = rows(Finding, closed_at=None, assessed_at=None)
ASSESSED = rows(Finding, closed_at=None, assessed_at__isnull=False)
ASKED = rows(Deferral, granted=None)
SET_ASIDE = rows(FieldWork, state=FieldWork.State.SET_ASIDE)
SIGNED = rows(FieldWork, state=FieldWork.State.SIGNED)
SUBMITTED = rows(Calibration, state=Calibration.State.SUBMITTED)
AMENDMENTS = rows(Calibration, amends__isnull=False)
AGREED = rows(Proposal, state=Proposal.State.AGREED)

PLANNER = (
    _point("not calibrated", "untested", ask.in_state("not calibrated"), "not+calibrated"),
    _point("in doubt", "question", ask.in_state("in doubt"), "in+doubt"),
    _point("of these, nobody has the job", "plan", ask.points_without_a_job, "without+a+job"),
    _finding("findings open", OPEN_FINDINGS, "/findings/"),
    _deferral("deferrals asked", ASKED, "/points/{}/", "point_id"),
    _work("tablet records set aside", "back", SET_ASIDE),
    _work("signed, still on a tablet", "sent", SIGNED, "/set-aside/?state=signed"),
    _standard("standards lapsed or lapsing", ask.lapsing),
    Kind(
        "jumps to explain",
        "doubt",
        rows(JumpQuestion, cause=""),
        "/steps/",
        "point__tag",
        "/steps/{}/",
        order=("-raised_at",),
    ),
    _proposal("intervals proposed", rows(Proposal, state=Proposal.State.OPEN), "/proposals/"),
)
TECHNICIAN = (
    _job("jobs returned", "back", of_mine(rows(Job, state=Job.State.RETURNED), "technician")),
    _job("jobs for today", "hand", ask.jobs_today),
    _work(
        "signed, still on a tablet", "sent", of_mine(SIGNED, "person"), "/set-aside/?state=signed"
    ),
    _work("own tablet records set aside", "back", of_mine(SET_ASIDE, "person")),
    _standard("own kit lapsed or lapsing", of_mine(ask.lapsing, "holder")),
)
APPROVER = (
    _record(
        "records to approve",
        "sent",
        by_others(SUBMITTED, "performed_by"),
        "/records/?state=submitted",
    ),
    _deferral("deferrals to decide", by_others(ASKED, "asked_by"), "/deferrals/{}/decide/", "pk"),
    _finding("findings to assess", TO_ASSESS, "/findings/?state=unassessed"),
    _finding("findings to agree", by_others(ASSESSED, "assessed_by"), "/findings/?state=assessed"),
    _proposal(
        "longer intervals to agree", by_others(AGREED, "agreed_by"), "/proposals/?waits=approver"
    ),
    _work("tablet records to settle", "back", SET_ASIDE),
)
AUDITOR = (
    _point("in doubt", "question", ask.in_state("in doubt"), "in+doubt"),
    _point("overdue", "over", ask.overdue, "overdue"),
    _finding(
        "findings opened", since_last_visit(rows(Finding), "opened_at"), "/findings/?state=all"
    ),
    _finding(
        "findings closed",
        since_last_visit(rows(Finding), "closed_at"),
        "/findings/?state=closed",
        "done",
    ),
    Kind(
        "reasons closed by an approver",
        "question",
        since_last_visit(rows(ReasonClosing), "closed_at"),
        "/ledger/?act=close+reason",
        "point__tag",
        "/history/points/{}/",
        "closed_at",
        "point_id",
        ("closed_at",),
    ),
    _deferral(
        "deferrals granted",
        since_last_visit(rows(Deferral, granted=True), "decided_at"),
        "/points/{}/",
        "point_id",
    ),
    _record("records amended", "back", since_last_visit(AMENDMENTS, "submitted_at"), "/records/"),
)
ADMINISTRATOR = (
    Kind("mails that cannot be sent", "bad", ask.unsent_mails, "", "person__name", "", "made_at"),
    Kind(
        "reminders on hold",
        "soon",
        rows(ReminderScan, held=True, released_at=None),
        "",
        "site__name",
        "",
        "day",
    ),
    _account("roles that end within 30 days", "soon", ask.ending_roles, "ends_on"),
    _account("accounts never used", "plan", ask.never_signed_in),
)
KINDS: Mapping[str, tuple[Kind, ...]] = {
    Role.PLANNER: PLANNER,
    Role.TECHNICIAN: TECHNICIAN,
    Role.APPROVER: APPROVER,
    Role.AUDITOR: AUDITOR,
    Role.ADMINISTRATOR: ADMINISTRATOR,
}
