"""What a changed product does to each reading of its tank: the computed shifts, and what they ask
for. Reads only.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import F, FilteredRelation, Q

from calibration.procedures.models import InputWay
from calibration.records.models import Calibration
from plant.level.probes import CONDUCTING
from plant.points.models import MeasuringPoint
from plant.product_changes.acts import contents_text
from plant.product_changes.models import ProductChange
from plant.product_changes.shifts import FLOATS, Outcome, outcome_of
from plant.quantities import day_text, number, percent, quantity, with_unit
from plant.tanks.models import Tank
from plant.transmitters.models import Transmitter
from plant.transmitters.probe import Contents

# A calibration by one of these shows nothing of how the product is read.
WITHOUT_PRODUCT = (InputWay.SIMULATED_OUTPUT, InputWay.CAPACITANCE)
OF_TOLERANCE = 0.1  # a shift under this share of the tolerance asks for nothing


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
    tolerance: float  # the limit nearest to zero, % of span
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
        """Kind of mark and words, as a page shows it: the first of these that holds."""
        calibrated = f"calibrated on it since, {day_text(self.since)}"
        states = (
            (self.since is not None, "done", calibrated),
            (not self.outcome.by, "off", "does not follow the product"),
            (bool(self.outcome.lacking), "doubt", "cannot be computed: check"),
            (self.share < OF_TOLERANCE, "ok", "under a tenth of the tolerance"),
            (self.share <= 1, "soon", "within the tolerance: check"),
        )
        shown = ((mark, words) for holds, mark, words in states if holds)
        return next(shown, ("over", "beyond the tolerance: check"))

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
            f"{_from(self.outcome)}; check before it is relied on."
        )


def shift_text(output: float, level: float, point: MeasuringPoint) -> str:
    """A shift in the output's unit and in mm of level: "+0.781 mA, +483 mm"."""
    unit = point.output.unit
    parts = (quantity(output, unit, signed=True), quantity(1000 * level, "mm", signed=True))
    return ", ".join(with_unit(part, name) for part, name in zip(parts, (unit, "mm"), strict=True))


def effects_of(
    tank: Tank, *, before: Contents, after: Contents, on: dt.date, lock: bool = False
) -> list[Effect]:
    """What ``after`` in place of ``before`` since ``on`` does to each point of the tank in service,
    in order of tag.

    Each shift counts from what the point was calibrated on, which several changes in a row may have
    left behind; a transmitter that was not calibrated yet is taken as set up for what the tank held
    when it was installed.
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
        set_up = max(filter(None, (day, point.placed_on)))  # type: ignore[attr-defined]
        held = _held_on(set_up, earlier, now=before)
        outcome = outcome_of(point, device, before=held, after=after)
        since = day if day and day > on and outcome.by else None
        effects.append(Effect(outcome, point.error_limits.nearest, held, after, since))
    return effects


def _held_on(day: dt.date, changes: Sequence[ProductChange], *, now: Contents) -> Contents:
    """What the tank held on a day, from its changes in order of their dates."""
    first = next((change for change in changes if change.on > day), None)
    return Contents(first.product_before, first.celsius_before) if first else now


def _points(tank: Tank, *, lock: bool) -> list[tuple[MeasuringPoint, Transmitter]]:
    """Those in service at which a transmitter is installed."""
    rows = MeasuringPoint.objects.in_service().filter(tank=tank)
    if lock:
        # In one order, so that two changes wait for each other; jobs are opened under this lock.
        list(rows.select_for_update(no_key=True).order_by("pk").values_list("pk"))
    present = FilteredRelation("installations", condition=Q(installations__removed_on=None))
    rows = rows.annotate(
        present=present, device_id=F("present__transmitter"), placed_on=F("present__installed_on")
    )
    points = list(rows.exclude(device_id=None).order_by("tag_key"))
    devices = Transmitter.objects.in_bulk([point.device_id for point in points])
    for point in points:
        point.tank = tank
    return [(point, devices[point.device_id]) for point in points]


def _calibrated_on(points: Iterable[int]) -> dict[int, dt.date]:
    """The last day of a calibration of each point that shows how its product is read."""
    rows = Calibration.objects.standing().filter(point__in=points).exclude(way__in=WITHOUT_PRODUCT)
    rows = rows.order_by("point", "-done_on").distinct("point")
    return dict(rows.values_list("point", "done_on"))


# ---- in words ----
def _out_and_in(before: Contents, after: Contents) -> str:
    if before.product == after.product:
        now = contents_text(after.product, after.celsius)
        return f"{_capital(now)} instead of {contents_text(before.product, before.celsius)}"
    names = [c.product.name if c.product else "what was there" for c in (before, after)]
    return f"{_capital(names[0])} out, {names[1] if after.product else 'no product recorded'} in"


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


def shift_in_words(effect: Effect) -> str:
    full = effect.outcome.full
    if full is None:
        return f"not computed, the register lacks {effect.outcome.lacking}"
    return f"{percent(full.percent, effect.tolerance)} % of span when full"


def why_nothing_is_asked(effect: Effect) -> str:
    if effect.since:
        return f"calibrated since, on {effect.since.isoformat()}"
    if not effect.outcome.by:
        return f"{effect.outcome.device.principle}: {effect.unmoved}"
    return f"{shift_in_words(effect)}, under a tenth of its tolerance: nothing asked"
