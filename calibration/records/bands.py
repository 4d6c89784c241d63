"""What the output of a reading says of the instrument by NE 43, whatever the level."""

from __future__ import annotations

from calibration.records.entry import ReadingEntry, ReadingWithoutLevel
from calibration.records.models import Reading
from calibration.records.models.readings import FAILURES
from plant.level.signals import SIGNALS, band_of


def band_of_reading(reading: ReadingEntry | ReadingWithoutLevel, signal: str) -> str:
    """``signal``: the point's key. Of a reading without an output nothing can be said."""
    if reading.observed is None:
        return "measuring"
    return band_of(float(reading.observed), SIGNALS[signal]).value


def in_failure_band(reading: ReadingEntry | ReadingWithoutLevel, signal: str) -> bool:
    """Whether its output is one that NE 43 keeps for a failure."""
    return band_of_reading(reading, signal) in FAILURES


def judged_without_level(entry: ReadingWithoutLevel, signal: str) -> Reading:
    """A failure is one at any level; any other output says nothing of an error, and is not
    judged.
    """
    band = band_of_reading(entry, signal)
    return Reading(
        stage=entry.stage,
        run=entry.run,
        sequence=entry.sequence,
        observed=entry.observed,
        observed_indication=entry.indication,
        no_level_reason=entry.why,
        band=band,
        verdict="fail" if band in FAILURES else Reading.NOT_JUDGED,
        read_at=entry.read_at,
    )
