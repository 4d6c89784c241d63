"""What a changed product asks for: a recalibration wherever the reading follows the product, with
the computed shift.

A change is looked into once (``demanded_at``). While a point's record still waits for its approval,
which may settle the matter, the change stays open and is looked into again.
"""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.db.models import F, FilteredRelation, Q

from calibration.jobs.models import Job
from calibration.procedures.models import InputWay
from calibration.records.models import Calibration
from plant.ledger.writer import enter
from plant.level.probes import CONDUCTING
from plant.people.models import Person
from plant.people.permissions import require
from plant.points.models import MeasuringPoint
from plant.product_changes import acts as product_changes
from plant.product_changes.acts import contents_text
from plant.product_changes.models import ProductChange
from plant.product_changes.shifts import FLOATS, Outcome, outcome_of
from plant.products.models import Product
from plant.quantities import day_text, number, percent, quantity, with_unit
from plant.refusals import Refused
from plant.saving import constraint_messages
from plant.tanks.models import Tank
from plant.transmitters.models import Transmitter
from plant.transmitters.probe import Contents

log = logging.getLogger(__name__)

WITHOUT_PRODUCT = (InputWay.SIMULATED_OUTPUT, InputWay.CAPACITANCE)
"""A calibration by one of these tells nothing of how the product is read."""
OF_TOLERANCE = 0.1
"""A shift under this share of the tolerance asks for nothing."""


@dataclass(frozen=True)
class Shown:
    """A shift at a level: where, % of span, and the same in output and level."""

    where: str
    percent: float
    text: str


@dataclass(frozen=True)
class Effect:
    """What a change does to one point in service. ``since``: the day it was calibrated on what the
    tank holds now.
    """

    outcome: Outcome
    tolerance: float
    before: Contents
    after: Contents
    since: dt.date | None = None

    @property
    def point(self) -> MeasuringPoint:
        return self.outcome.point

    @property
    def asks(self) -> bool:
        """Whether a recalibration is asked for."""
        if self.since or not self.outcome.by:
            return False
        return bool(self.outcome.lacking) or self.share >= OF_TOLERANCE

    @property
    def share(self) -> float:
        """The largest shift in tolerances."""
        return self.outcome.largest / self.tolerance

    @property
    def state(self) -> tuple[str, str]:
        """Kind of mark and words, as a page shows it."""
        if self.since:
            return "done", f"calibrated on it since, {day_text(self.since)}"
        if not self.outcome.by:
            return "off", "does not follow the product"
        if self.outcome.lacking:
            return "doubt", "cannot be computed: check"
        if self.share < OF_TOLERANCE:
            return "ok", "under a tenth of the tolerance"
        if self.share <= 1:
            return "soon", "within the tolerance: check"
        return "over", "beyond the tolerance: check"

    @property
    def unmoved(self) -> str:
        """Why the product's permittivity and density do not enter its reading."""
        if self.outcome.device.principle in FLOATS:
            return "follows a float, whose draft moves by a few mm with density"
        return "times an echo from the surface"

    @property
    def shifts(self) -> list[Shown]:
        """The computed shifts as a page shows them; none where nothing can be computed or nothing
        matters.
        """
        return [
            Shown(
                "Full" if effect.share == 1 else f"At {100 * effect.share:.0f} %",
                effect.percent,
                shift_text(effect.output, effect.level, self.point),
            )
            for effect in self.outcome.effects
        ]

    @property
    def note(self) -> str:
        """For the job, in plain words."""
        what = _out_and_in(self.before, self.after)
        if self.outcome.lacking:
            return (
                f"{what}: the shift cannot be computed, the register lacks {self.outcome.lacking}. "
                "Check before the reading is relied on."
            )
        full = self.outcome.full
        if full is None:
            return ""
        if not self.asks:
            return (
                f"{what}: reads within a tenth of the tolerance of what it was calibrated on again."
            )
        size = number(abs(full.percent), 1 if abs(full.percent) >= 1 else 2)
        return (
            f"{what}: reads about {size} % of span {'high' if full.level > 0 else 'low'} when full "
            f"({shift_text(full.output, full.level, self.point)}), computed from "
            f"{_from(self.outcome)}; "
            "check before it is relied on."
        )


def shift_text(output: float, level: float, point: MeasuringPoint) -> str:
    """A shift in the output's unit and in mm of level: "+0.781 mA, +483 mm"."""
    unit = point.output.unit
    parts = (quantity(output, unit, signed=True), quantity(1000 * level, "mm", signed=True))
    return ", ".join(with_unit(part, name) for part, name in zip(parts, (unit, "mm"), strict=True))


# ---- acts ----
@transaction.atomic
def change_product(
    tank: Tank,
    *,
    product: Product | None,
    celsius: Decimal | None,
    on: dt.date,
    why: str,
    by: Person,
    at: dt.datetime,
) -> tuple[ProductChange, list[Job]]:
    """Tell the change of a tank's product, and ask for the recalibrations it needs, in one
    transaction.
    """
    change = product_changes.change_product(
        tank, product=product, celsius=celsius, on=on, why=why, by=by, at=at
    )
    return change, raise_for(change, by=by, at=at)


@transaction.atomic
def raise_for(change: ProductChange, *, by: Person | None, at: dt.datetime) -> list[Job]:
    """Raise a job at each point in service whose reading the change moves; ``by=None`` is Spanbook
    itself.

    A point's open job takes the note instead of a second one; one that an earlier change asked for
    is told too when the reading is right again. The ledger tells of every point of the tank.
    """
    if by:
        require(by, "plan", change.site_id)
    changes = ProductChange.objects.select_for_update(of=("self",))
    change = changes.select_related("tank__site", "product", "product_before").get(pk=change.pk)
    if change.demanded_at:
        return []
    later = ProductChange.objects.filter(tank=change.tank_id, id__gt=change.pk).first()
    if later:
        return _settled(change, {"jobs": 0, "settled by": str(later)}, by=by, at=at)
    effects = _effects(change)
    jobs, told, waits = _raise_jobs(change, effects, today=change.tank.site.day_of(at))
    told = {"jobs": len(jobs), **told}
    if not waits:
        _settled(change, told, by=by, at=at)
    elif jobs:
        enter("ask recalibration", on=change, by=by, details=told)
    return jobs


def _settled(
    change: ProductChange, told: dict[str, object], *, by: Person | None, at: dt.datetime
) -> list[Job]:
    change.demanded_at = at
    change.save(update_fields=["demanded_at"])
    enter("ask recalibration", on=change, by=by, details=told)
    return []


def _effects(change: ProductChange) -> list[Effect]:
    return effects_of(
        change.tank,
        before=Contents(change.product_before, change.celsius_before),
        after=Contents(change.product, change.celsius),
        on=change.on,
        lock=True,
    )


def _raise_jobs(
    change: ProductChange, effects: list[Effect], *, today: dt.date
) -> tuple[list[Job], dict[str, object], bool]:
    """The jobs raised or told, what the ledger tells of each point, and whether a record is
    awaited.
    """
    rows = Job.objects.filter(point__in=[effect.point.pk for effect in effects])
    done = set(rows.filter(product_change=change).values_list("point", flat=True))
    # A job that was sent is not locked: its approval holds it while it asks for the point, which is
    # held here.
    sent = set(rows.filter(state=Job.State.SUBMITTED).values_list("point", flat=True))
    open_jobs = {job.point_id: job for job in rows.open().select_for_update()}
    jobs: list[Job] = []
    told: dict[str, object] = {}
    waits = False
    for effect in effects:
        pk, tag, job = effect.point.pk, effect.point.tag, open_jobs.get(effect.point.pk)
        if not effect.asks:
            told[tag] = _why_not(effect)
            if job and job.product_change_id and effect.outcome.full:
                _take_note(job, effect, change)
        elif pk in sent:
            waits = True  # its approval may settle it; nothing can be added to a job that is done
        elif pk not in done:
            jobs.append(_raised(effect, change, job, today=today))
            told[tag] = f"job {jobs[-1].pk}: {_shift(effect)}"
    return jobs, told, waits


def raise_waiting(*, at: dt.datetime, most: int = 500) -> int:
    """Look into the changes that nobody looked into yet, at most so many; the jobs raised. None
    holds up another.
    """
    raised = 0
    for change in ProductChange.objects.filter(demanded_at=None).order_by("id")[:most]:
        try:
            raised += len(raise_for(change, by=None, at=at))
        except Refused as refusal:  # somebody opened a job this moment: the next look finds it
            log.info("product change %s waits: %s", change.pk, refusal)
        except Exception:
            log.exception("product change %s could not be looked into", change.pk)
    return raised


def _raised(effect: Effect, change: ProductChange, job: Job | None, *, today: dt.date) -> Job:
    if job is None:
        job = Job(site_id=change.site_id, point=effect.point, due_on=today)
    if job.state == Job.State.PLANNED:
        # The stronger cause: a stop taken out of its round then stays open, and it is due at once.
        job.why, job.due_on = Job.Why.PRODUCT_CHANGE, min(job.due_on, today)
    _take_note(job, effect, change)
    return job


def _take_note(job: Job, effect: Effect, change: ProductChange) -> None:
    full = effect.outcome.full
    job.product_change, job.shift_percent = change, full.percent if full else None
    job.note = "\n".join(part for part in (job.note, effect.note) if part)
    with constraint_messages():
        job.save()


# ---- what it does where ----
def effects_of(
    tank: Tank, *, before: Contents, after: Contents, on: dt.date, lock: bool = False
) -> list[Effect]:
    """What ``after`` in place of ``before`` since ``on`` does to each point of the tank in service,
    in order of tag.

    Each shift counts from what the point was calibrated on, which several changes in a row may have
    left behind; a transmitter that was not calibrated yet is taken as set up for what the tank held
    when it was hung.
    """
    points = _points(tank, lock=lock)
    calibrated = _calibrated_on([point.pk for point, _ in points])
    earlier = list(
        ProductChange.objects.filter(tank=tank, on__lte=on)
        .select_related("product_before")
        .order_by("on", "id")
    )
    effects = []
    for point, device in points:
        day = calibrated.get(point.pk)
        set_up = max(filter(None, (day, point.hung_on)))  # type: ignore[attr-defined]
        first = next((c for c in earlier if c.on > set_up), None)
        held = Contents(first.product_before, first.celsius_before) if first else before
        outcome = outcome_of(point, device, before=held, after=after)
        since = day if day and day > on and outcome.by else None
        effects.append(Effect(outcome, point.limits.percent, held, after, since))
    return effects


def _points(tank: Tank, *, lock: bool) -> list[tuple[MeasuringPoint, Transmitter]]:
    """Those in service at which a transmitter hangs."""
    rows = MeasuringPoint.objects.in_service().filter(tank=tank)
    if lock:  # in one order, so that two changes wait for each other; and jobs are opened under the same lock
        list(rows.select_for_update(no_key=True).order_by("pk").values_list("pk"))
    present = FilteredRelation("installations", condition=Q(installations__removed_on=None))
    rows = rows.annotate(
        present=present, device_id=F("present__transmitter"), hung_on=F("present__installed_on")
    )
    points = list(rows.exclude(device_id=None).order_by("tag_key"))
    devices = Transmitter.objects.in_bulk([point.device_id for point in points])
    for point in points:
        point.tank = tank
    return [(point, devices[point.device_id]) for point in points]


def _calibrated_on(points: Iterable[int]) -> dict[int, dt.date]:
    """The last day on which each point was calibrated in a way that its product tells in."""
    rows = Calibration.objects.standing().filter(point__in=points).exclude(way__in=WITHOUT_PRODUCT)
    rows = rows.order_by("point", "-done_on").distinct("point")
    return dict(rows.values_list("point", "done_on"))


# ---- in words ----
def _out_and_in(before: Contents, after: Contents) -> str:
    if before.product == after.product:
        now = contents_text(after.product, after.celsius)
        return f"{_capital(now)} instead of {contents_text(before.product, before.celsius)}"
    names = [c.product.name if c.product else "what stood there" for c in (before, after)]
    return f"{_capital(names[0])} out, {names[1] if after.product else 'no product told'} in"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _from(outcome: Outcome) -> str:
    digits, unit = (3, "") if outcome.by == "permittivity" else (1, "kg/m³")
    values = [
        "that of a conducting liquid"
        if value == CONDUCTING
        else with_unit(number(value, digits), unit).strip()
        for value in (outcome.before, outcome.after)
    ]
    return f"{outcome.by} {values[0]} then and {values[1]} now"


def _shift(effect: Effect) -> str:
    full = effect.outcome.full
    if full is None:
        return f"not computed, the register lacks {effect.outcome.lacking}"
    return f"{percent(full.percent, effect.tolerance)} % of span when full"


def _why_not(effect: Effect) -> str:
    if effect.since:
        return f"calibrated since, on {effect.since.isoformat()}"
    if not effect.outcome.by:
        return f"{effect.outcome.device.principle}: {effect.unmoved}"
    return f"{_shift(effect)}, under a tenth of its tolerance: nothing asked"
