"""What an approver should look at twice before signing a record: a table of cases, each with its
sentence.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

from calibration.records.budget_page import least_tur, tur_is_low
from calibration.records.computed_readings import ThirdLevel, third_level
from calibration.records.failures import Stood, stood_of
from calibration.records.models import Calibration, Reading, StandardUse
from calibration.records.setup import METERS
from plant.quantities import number, percent

LATE_DAYS = 2
ODD_BANDS = {"failure low", "suspect low", "suspect high", "failure high"}


def unusual(
    record: Calibration, readings: list[Reading], uses: Sequence[StandardUse] = ()
) -> list[str]:
    """Sentences, gravest first; empty when nothing about the record is out of the ordinary."""
    shown = _Shown(record, readings, uses)
    return [sentence(shown) for applies, sentence in CASES if applies(shown)]


@dataclass(frozen=True)
class _Shown:
    """A record with what the sentences say of it."""

    record: Calibration
    readings: Sequence[Reading]
    uses: Sequence[StandardUse]

    def of_stage(self, stage: str, verdict: str = "") -> list[Reading]:
        return [
            r for r in self.readings if r.stage == stage and (not verdict or r.verdict == verdict)
        ]

    def is_judged(self, stage: str, verdict: str) -> bool:
        """The stage's verdict is this, and so is that of some of its readings."""
        record = self.record
        of_stage = record.found_verdict if stage == "as found" else record.left_verdict
        return of_stage == verdict and bool(self.of_stage(stage, verdict))

    @cached_property
    def odd_bands(self) -> list[str]:
        """But for the failure as it stood, which has a sentence of its own."""
        odd = (r for r in self.readings if r.band in ODD_BANDS)
        if self.stood is not None:
            odd = (r for r in odd if r.stage != "as it stands")
        return sorted({f"{r.observed:f} is {r.band}" for r in odd})

    @cached_property
    def stood(self) -> Stood | None:
        return stood_of(self.record, self.readings)

    @cached_property
    def not_judged(self) -> list[Reading]:
        return [r for r in self.readings if r.verdict == Reading.NOT_JUDGED]

    @property
    def lacks_meter(self) -> bool:
        """Nobody knows what read the output; a record that names no standard says so elsewhere."""
        is_read = any(r.observed is not None for r in self.readings)
        kinds = {use.standard.kind for use in self.uses}
        return bool(kinds) and is_read and not kinds & set(METERS)

    @property
    def is_beyond_limit(self) -> bool | None:
        """Whether as found asks for an adjustment; None where as found is missing."""
        error = self.record.found_furthest_from_zero
        return None if error is None else abs(error) > self.record.adjust_limit_percent

    @property
    def largest_against_limit(self) -> str:
        limit, error = self.record.adjust_limit_percent, self.record.found_furthest_from_zero
        return f"{percent(error, limit)} % of span against the adjust limit ±{number(limit, 2)} %"

    @property
    def days_late(self) -> int:
        entered_on = self.record.site.day_of(self.record.submitted_at)
        return (entered_on - self.record.done_on).days

    @cached_property
    def third(self) -> ThirdLevel | None:
        return third_level(self.record, self.readings)

    @property
    def is_off_the_line(self) -> bool:
        return self.third is not None and 0 < self.third.limit < abs(self.third.deviation)


def _out_of_tolerance(shown: _Shown, stage: str, then: str) -> str:
    outside, every = len(shown.of_stage(stage, "fail")), len(shown.of_stage(stage))
    return f"{stage.capitalize()}, {outside} of {every} readings are out of tolerance. {then}"


def _inconclusive(shown: _Shown, stage: str, then: str) -> str:
    count = len(shown.of_stage(stage, "inconclusive"))
    return (
        f"{stage.capitalize()}, {count} readings are inconclusive: the uncertainty straddles the "
        f"limit. {then}"
    )


def _stood_failed(shown: _Shown) -> str:
    left = " It is left failed." if shown.record.left_verdict == "fail" else ""
    return f"{shown.stood}. Approving opens a finding.{left}"


def _low_tur(shown: _Shown) -> str:
    return (
        f"The test uncertainty ratio is {number(shown.record.tur, 1)} to 1, below the "
        f"{number(least_tur(shown.record), 1)} to 1 that the policy asks for."
    )


def _off_the_line(shown: _Shown) -> str:
    deviation, limit = shown.third or ThirdLevel(0, 0)
    return (
        f"As it stands it was {percent(deviation, shown.record.tolerance_percent)} % of span off "
        f"the line through the two levels, more than the {number(limit, 2)} % that the "
        "uncertainty of the readings allows: what was computed from that line is doubtful."
    )


Case = tuple[Callable[[_Shown], bool], Callable[[_Shown], str]]
CASES: tuple[Case, ...] = (
    (lambda s: s.stood is not None, _stood_failed),
    (
        lambda s: s.is_judged("as found", "fail"),
        lambda s: _out_of_tolerance(s, "as found", "Approving opens a finding."),
    ),
    (
        lambda s: s.is_judged("as found", "inconclusive"),
        lambda s: _inconclusive(
            s, "as found", "A better standard would decide; until then it is no pass."
        ),
    ),
    (
        lambda s: s.is_judged("as left", "fail"),
        lambda s: _out_of_tolerance(s, "as left", "It goes back to service like this."),
    ),
    (
        lambda s: s.is_judged("as left", "inconclusive"),
        lambda s: _inconclusive(
            s,
            "as left",
            "It is not shown that it goes back to service in tolerance; a better standard would "
            "decide.",
        ),
    ),
    (lambda s: tur_is_low(s.record), _low_tur),
    (
        lambda s: bool(s.odd_bands),
        lambda s: f"By NE 43 {', '.join(s.odd_bands)}: evidence of a failure rather than of drift.",
    ),
    (
        lambda s: not s.record.found_verdict,
        lambda s: f"As found is missing: {s.record.no_as_found_reason}",
    ),
    (
        lambda s: bool(s.of_stage("as found") and s.record.no_as_found_reason),
        lambda s: f"As found is incomplete: {s.record.no_as_found_reason}",
    ),
    (
        lambda s: not s.of_stage("as it stands"),
        lambda s: "It was not read as it stands before anything was moved.",
    ),
    (
        lambda s: bool(s.not_judged),
        lambda s: (
            f"As it stands no level was known ({s.not_judged[0].no_level_reason}): what was read "
            "there says nothing of its error."
        ),
    ),
    (
        lambda s: s.lacks_meter,
        lambda s: "No meter is among its standards: what read the output cannot be traced.",
    ),
    (
        lambda s: s.record.adjusted and s.is_beyond_limit is False,
        lambda s: f"Adjusted although the largest as-found error was {s.largest_against_limit}.",
    ),
    (
        lambda s: not s.record.adjusted and s.is_beyond_limit is True,
        lambda s: (
            f"Not adjusted although the largest as-found error was {s.largest_against_limit}."
        ),
    ),
    (
        lambda s: s.record.amends_id is not None,
        lambda s: f"It amends record {s.record.amends_id}: {s.record.amend_reason}",
    ),
    (
        lambda s: s.days_late >= LATE_DAYS,
        lambda s: f"Entered {s.days_late} days after it was done.",
    ),
    (
        lambda s: (s.record.found_hysteresis or 0) > s.record.tolerance_percent / 2,
        lambda s: (
            f"Hysteresis of {number(s.record.found_hysteresis, 2)} % of span as found, more than "
            "half the tolerance."
        ),
    ),
    (
        lambda s: any(r.origin == "computed" for r in s.readings),
        lambda s: "Some readings were computed, not read.",
    ),
    (lambda s: s.is_off_the_line, _off_the_line),
)
