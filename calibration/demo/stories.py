"""What the demo's files cannot carry, as acts of its people in order of time; the loader plays them as operations.

Records told here in full (``played.csv``) go the way of a technician's form: sent, approved, and a finding opened
where the as found was out of tolerance.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

from calibration.demo.histories import SWAPS, WAITING, History, Visit, ago
from calibration.demo.laws import FAMILIES
from calibration.demo.scenario import AS_OF, MAKERS
from calibration.demo.standards import BAD_FOUND, BAD_METER

Act = dict[str, Any]
PLAYED_LAST = ("LT-103A", "LT-203B", "LT-301C", "LT-321A")
"""Their last calibration is played, for what follows from it: a finding, or an amendment."""
MISTYPED, MEANT, TYPED = "LT-203B", 12.05, 12.50
PLANNER = {"M": "amarrowby", "O": "hwistrelm", "N": "vsarnekar"}
APPROVER = {"M": "sfenharrow", "O": "sfenharrow", "N": "piyerkand"}
ROUND_OF = {"M": "tquillane", "O": "jkelmorn", "N": "dombrani"}


def is_played(visit: Visit, history: History) -> bool:
    """Whether the record is sent by an operation instead of imported."""
    tag = visit.point.tag
    return visit is history.visits[-1] and (tag in PLAYED_LAST or tag in WAITING)


def played(histories: list[History]) -> list[Visit]:
    """The records that are played, the one typed wrongly together with its correction."""
    found = []
    for history in histories:
        last = history.visits[-1]
        if not is_played(last, history):
            continue
        if last.point.tag == MISTYPED:
            found += [
                _reading_at_middle(last, TYPED, last.key),
                _reading_at_middle(last, MEANT, f"{last.key} amended"),
            ]
        else:
            found.append(last)
    return found


def _reading_at_middle(visit: Visit, observed: float, key: str) -> Visit:
    rows = [
        replace(row, observed=observed) if (row.stage, row.number) == ("as found", 3) else row
        for row in visit.rows
    ]
    return replace(visit, key=key, rows=rows)


def swaps() -> list[Act]:
    """Played before the histories come in, which name the serial numbers of both transmitters."""
    return [
        _act(
            "swap", swap.on, PLANNER[_site(tag)], tag=tag, serial=swap.serial, goes=swap.goes, why=swap.why,
            maker=MAKERS[FAMILIES[_family(tag)].principle][0], model=MAKERS[FAMILIES[_family(tag)].principle][1],
        )
        for tag, swap in sorted(SWAPS.items(), key=lambda pair: pair[1].on)
    ]  # fmt: skip


def _family(tag: str) -> str:
    return "rope, insulating" if tag == "LT-205C" else "rod, conducting"


def _site(tag: str) -> str:
    return {"1": "M", "2": "O", "3": "N"}[tag[3]]


def acts(histories: list[History]) -> list[Act]:
    """Everything after the histories came in, in order."""
    told = [
        *_records(histories),
        *_findings(histories),
        *_register(),
        *_deferrals(),
        *_rounds(histories),
    ]
    return sorted(told, key=lambda act: act["day"])


def _act(do: str, day: dt.date, by: str, **more: Any) -> Act:
    return {"do": do, "day": day.isoformat(), "by": by, **more}


def _records(histories: list[History]) -> list[Act]:
    told = []
    for visit in played(histories):
        tag, site = visit.point.tag, visit.point.site
        if visit.key.endswith("amended"):
            first = visit.key.removesuffix(" amended")
            why = "The reading at 50 % going up was typed 12.50 mA; the sheet says 12.05 mA."
            told += [
                _act("amend record", ago(32), _user(visit.by), record=visit.key, amends=first, why=why),
                _act("approve record", ago(31), APPROVER[site], record=visit.key, note="Sheet seen."),
            ]  # fmt: skip
            continue
        told.append(_act("send record", visit.day, _user(visit.by), record=visit.key, tag=tag))
        if tag not in WAITING:
            told.append(_act("approve record", visit.approved_on, APPROVER[site], record=visit.key))
    return told


def _findings(histories: list[History]) -> list[Act]:
    last = {history.visits[-1].point.tag: history.visits[-1] for history in histories}
    struck, typed = last["LT-301C"], last["LT-203B"]
    lightning = (
        "Output stage shifted by lightning, as at LT-311B and LT-321A the same day: +0.6 % when full. "
        "Receipts were booked by LT-301A, which agreed with every dip since; no delivery was measured with this one."
    )
    slip = (
        "No failure: a slip of the hand, 12.50 typed for 12.05 mA. The amended record passes; nothing was "
        "measured wrongly."
    )
    return [
        _act("assess finding", struck.day + dt.timedelta(6), "piyerkand", record=struck.key, text=lightning),
        _act("agree finding", struck.day + dt.timedelta(8), "vsarnekar", record=struck.key),
        _act("assess finding", ago(30), "sfenharrow", record=typed.key, text=slip),
        _act("agree finding", ago(29), "hwistrelm", record=typed.key),
    ]  # fmt: skip


def _register() -> list[Act]:
    return [
        _act("change product", ago(21), "amarrowby", tank="T-112", product="soybean oil", celsius="25",
             why="A ship of soybean oil is expected; the olein went to the works and the tank was cleaned."),
        _act("change tolerance", ago(45), "hwistrelm", tag="LT-241A", tolerance="1.5", adjust="0.75",
             why="Soapstock clings to the displacer; process control needs no better than 1.5 %."),
        _act("change interval", ago(40), "hwistrelm", tag="LT-206A", months=18, grace=45,
             why="Six results in a row within a fifth of the tolerance."),
        _act("out of service", ago(12), "vsarnekar", tag="LT-321A",
             why="Reference electrode corroded through: no number is worth having until it is replaced."),
        _act("withdraw standard", BAD_FOUND, "sfenharrow", standard=BAD_METER, site="O",
             why="Laboratory found it 0.030 mA high at 20 mA; the results of seven months are being looked at."),
    ]  # fmt: skip


def _deferrals() -> list[Act]:
    return [
        _act("ask deferral", ago(10), "hwistrelm", tag="LT-222B", days=63,
             reason="The drum is opened in the boiler's stop; before that the displacer cannot be isolated."),
        _act("grant deferral", ago(7), "sfenharrow", tag="LT-222B",
             note="Drift so far leaves room; LT-222A is watched meanwhile."),
        _act("ask deferral", ago(3), "amarrowby", tag="LT-114B", days=35,
             reason="The tank stands half full until the ship of next month."),
    ]  # fmt: skip


def _rounds(histories: list[History]) -> list[Act]:
    """Per site a round of this week with what falls due, one of its stops in hand, and a job outside any round."""
    told = []
    for site, technician in ROUND_OF.items():
        tags = _soon(histories, site)
        told += [
            _act("plan round", AS_OF, PLANNER[site], site=site, name=f"Week of {AS_OF.isoformat()}",
                 technician=technician, until=(AS_OF + dt.timedelta(4)).isoformat(), tags=tags[1:]),
            _act("start job", AS_OF, technician, tag=tags[1]),
            _act("plan job", AS_OF, PLANNER[site], tag=tags[0], technician=technician, reason="interval", note=""),
        ]  # fmt: skip
    return told


def _soon(histories: list[History], site: str) -> list[str]:
    """Up to seven tags, overdue ones first; what is put off or waits for something else is left out."""
    busy = {*WAITING, "LT-222B", "LT-114B", "LT-112B", "LT-321A", "LT-302D"}
    due = sorted((h.visits[-1].point.next_due, h.visits[-1].point.tag) for h in histories)
    return [tag for day, tag in due if _site(tag) == site and tag not in busy][:7]


def _user(name: str) -> str:
    return name.replace(". ", "").lower()
