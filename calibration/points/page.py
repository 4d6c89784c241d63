"""What the pages of a point and of a transmitter show beside their lines."""

from __future__ import annotations

import datetime as dt
from typing import Any

from calibration.drift.chances import chance_text
from calibration.drift.reads import PointTrend
from calibration.intervals.models import Proposal
from plant.people.models import Person
from plant.people.permissions import may
from plant.points.models import MeasuringPoint
from plant.points.status import IN_DOUBT, NO_TRANSMITTER, NOT_CALIBRATED
from plant.product_changes.acts import contents_text
from plant.refusals import Refused
from plant.tanks.geometry import geometry_of
from plant.transmitters.models import Transmitter
from plant.transmitters.probe import CAPACITANCE, Lacking, probe_figures

SHOWN = 12


def open_matters(point: MeasuringPoint) -> dict[str, Any]:
    """What waits for somebody at this point, and its latest jobs and deferrals."""
    return {
        "jobs": list(point.jobs.select_related("technician", "round").order_by("-id")[:10]),
        "deferrals": list(point.deferrals.select_related("asked_by", "decided_by")[:10]),
        "finding": point.findings.filter(closed_at=None).first(),
        "proposal": Proposal.objects.filter(point=point, state__in=Proposal.WAITING).first(),
        "steps": list(point.jumps.open().select_related("record")[:SHOWN]),
    }


# What follows from what is known, where it is not the calendar that speaks.
CONSEQUENCES = {
    NO_TRANSMITTER: "There is no reading here.",
    NOT_CALIBRATED: "Nothing speaks for this reading yet. Calibrate it before it is relied on.",
    IN_DOUBT: "Something known speaks against this reading. Calibrate it before it is relied on.",
}


def consequence(point: MeasuringPoint, trend: PointTrend, *, today: dt.date) -> str:
    """What the status means for whoever reads the level, in one or two sentences."""
    chances = ""
    now = chance_text(trend, today)
    if now and point.condition not in (NO_TRANSMITTER, NOT_CALIBRATED):
        chances = f"Found today it would pass with {now}"
        if point.next_due > today:
            chances += f", on the due date with {chance_text(trend, point.next_due)}"
        chances += "."
    return " ".join(part for part in (CONSEQUENCES.get(point.condition), chances) if part)


def probe_of(device: Transmitter, point: MeasuringPoint) -> dict[str, Any]:
    """What a capacitance probe should measure where it is installed, or which datum is
    missing for that.
    """
    if device.principle not in CAPACITANCE:
        return {}
    try:
        probe = probe_figures(device, point, geometry_of(point.tank))
    except Lacking as lacking:
        return {"probe_lacks": str(lacking)}
    except Refused as refusal:
        return {"probe_lacks": f"dimensions of the tank that hold ({refusal})"}
    return {
        "probe": probe,
        "probe_holds": contents_text(probe.liquid.product, probe.liquid.celsius),
    }


def rights(person: Person, site_id: int) -> dict[str, bool]:
    """What this person may do here, for the buttons."""
    acts = {
        "may_calibrate": "calibrate",
        "may_plan": "plan",
        "may_edit": "edit register",
        "may_set_interval": "set interval",
        "may_defer": "defer",
        "may_change_policy": "change policy",
        "may_close": "approve",
    }
    return {name: may(person, act, site_id) for name, act in acts.items()}
