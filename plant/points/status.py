"""The status of a measuring point: one word with its reasons, the same wherever a state is named.

The database derives what is known of a point (``condition`` and ``reasons``) and keeps it with the
point; the calendar speaks where nothing is known against the reading. Here are the words.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from plant.quantities import day_text, probability_text

SOON_DAYS, LATER_DAYS = 30, 90

# What is known of a point, the worst first. Where nothing is, the calendar says how it stands.
NO_TRANSMITTER, NOT_CALIBRATED, IN_DOUBT, BY_CALENDAR = 0, 1, 2, 3
CONDITIONS: Final = {
    NO_TRANSMITTER: ("empty", "no transmitter"),
    NOT_CALIBRATED: ("untested", "not calibrated"),
    IN_DOUBT: ("question", "in doubt"),
}


@dataclass(frozen=True)
class Reason:
    """Something known of a point: ``text`` says what, ``closed_by`` what ends it.

    key: what it is and of what, such as ``failed 812``. is_note: it is shown, but does not decide
    the status. closing: where an approver may close it by a signed word, as its address says it.
    """

    key: str
    text: str
    closed_by: str
    is_note: bool = False
    url: str = ""
    closing: str = ""


@dataclass(frozen=True)
class Status:
    """How a point stands on a day: ``kind`` picks shape and colour, ``text`` is what a person
    reads. ``beside``: deferred, out of service, or what the calendar says; never instead of what is
    known.
    """

    kind: str  # empty, untested, question, over, soon, ok, off
    text: str
    beside: str = ""
    reasons: Sequence[Reason] = ()

    @property
    def is_known(self) -> bool:
        """Something known decides it, not the calendar."""
        return any(not reason.is_note for reason in self.reasons)


def status_on(
    day: dt.date,
    *,
    condition: int,
    next_due: dt.date,
    deferred: bool,
    out_of_service_on: dt.date | None,
    reasons: Sequence[Mapping[str, Any]] = (),
) -> Status:
    """The status of a point on ``day`` (site's calendar)."""
    known = CONDITIONS.get(condition)
    calendar = _by_calendar(next_due, on=day)
    said = [reason_of(reason) for reason in reasons]
    if out_of_service_on:
        beside = known[1] if known else ""
        return Status("off", f"out of service since {day_text(out_of_service_on)}", beside, said)
    put_off = f"deferred until {day_text(next_due)}" if deferred else ""
    if not known:
        return Status(*calendar, put_off, said)
    is_late = next_due < day and condition != NO_TRANSMITTER
    return Status(*known, put_off or (calendar[1] if is_late else ""), said)


def _by_calendar(next_due: dt.date, *, on: dt.date) -> tuple[str, str]:
    days = (next_due - on).days
    if days < 0:
        return "over", f"overdue {-days} d"
    if days == 0:
        return "soon", "due today"
    if days <= SOON_DAYS:
        return "soon", f"due in {days} d"
    return "ok", f"in date, {days} d left"


# ---- reasons ----
def reason_of(stored: Mapping[str, Any]) -> Reason:
    """A stored reason in words."""
    kind = str(stored["kind"])
    text, closed_by = REASONS[kind](stored)
    return Reason(
        key=f"{kind} {stored['of']}" if stored.get("of") else kind,
        text=text,
        closed_by=closed_by,
        is_note=stored["level"] == BY_CALENDAR,
        url=PAGES[kind].format(**stored) if kind in PAGES else "",
        closing=f"{kind}/{stored['of']}" if kind in CLOSABLE and stored.get("of") else "",
    )


def _day(stored: Mapping[str, Any], name: str = "on") -> str:
    value = stored.get(name)
    return day_text(dt.date.fromisoformat(value)) if value else "an unknown day"


PARTS = {"output": "the output", "primary": "the primary element"}
A_CALIBRATION = "an approved calibration of output and primary element"


def _nothing_installed(stored: Mapping[str, Any]) -> tuple[str, str]:
    since = f" since {_day(stored)}" if stored.get("on") else ""
    return f"Nothing is installed{since}.", "an installation"


def _never(stored: Mapping[str, Any]) -> tuple[str, str]:
    return f"{stored['serial']} has no approved calibration here.", A_CALIBRATION


def _installed(stored: Mapping[str, Any]) -> tuple[str, str]:
    text = f"{stored['serial']} was installed on {_day(stored)} and not calibrated since."
    return text, A_CALIBRATION


def _ranged(stored: Mapping[str, Any]) -> tuple[str, str]:
    text = f"The range was changed on {_day(stored)}; no calibration at this range since."
    return text, A_CALIBRATION


def _part(stored: Mapping[str, Any]) -> tuple[str, str]:
    part = PARTS[stored["part"]]
    return f"Calibrated only in part: {part} is missing.", f"an approved calibration of {part}"


def _demand(stored: Mapping[str, Any]) -> tuple[str, str]:
    text = f"Recalibration asked for: {stored['why']}."
    if stored.get("state") == "approved":
        return f"{text} It was done only in part.", A_CALIBRATION
    return text, "the job's approved record, or an approver who cancels it with the reason"


def _product(stored: Mapping[str, Any]) -> tuple[str, str]:
    text = f"The product changed on {_day(stored)}; its effect is not settled yet."
    return text, "the settling of the change"


def _failed(stored: Mapping[str, Any]) -> tuple[str, str]:
    text = f"Failed on {_day(stored)}, and not put right since."
    return text, "a passed calibration of the same parts"


def _standard(stored: Mapping[str, Any]) -> tuple[str, str]:
    text = f"{stored['standard']}, used on {_day(stored)}, was withdrawn for that day."
    return text, "a calibration with another standard"


def _chance(stored: Mapping[str, Any]) -> tuple[str, str]:
    floor = probability_text(float(stored["floor"]) / 100)
    text = f"By its drift the chance of passing fell below {floor} on {_day(stored)}."
    return text, "an approved calibration"


def _procedure(stored: Mapping[str, Any]) -> tuple[str, str]:
    text = f"Its procedure is not one for a {stored['principle']} transmitter."
    return text, "another procedure for this point"


REASONS: Final = {
    "no transmitter": _nothing_installed,
    "never calibrated": _never,
    "installed": _installed,
    "range": _ranged,
    "part": _part,
    "demand": _demand,
    "product": _product,
    "failed": _failed,
    "standard": _standard,
    "chance": _chance,
    "procedure": _procedure,
}
CLOSABLE: Final = ("failed", "standard", "chance")
PAGES: Final = {
    "demand": "/jobs/{of}/",
    "failed": "/records/{of}/",
    "standard": "/records/{of}/",
}
