"""The nightly pass over a fleet, beside floors that do the least with the same rows.

G3a: a fleet from the database to stored trends and offered intervals. The floor reads the same
rows packed by the server, fits one ordinary line an end and point, and stores rates by COPY. G3a
core: its arithmetic alone, without a database. G3a verdict: the chance of passing on a day and the
time at which it falls to 95 %, beside that core. G3b: the same with a robust line for each end and a
forecast of each visit from those before it, beside a floor that does both with plain lines. G3c:
the whole pass beside the usual way, which reads, fits and saves one by one with statsmodels.
"""

from __future__ import annotations

import ctypes
import datetime as dt
import gc
from pathlib import Path

import numpy as np
import statsmodels.api as sm
from django.db import connection, transaction
from django.utils import timezone

from calibration.drift.models import Trend
from calibration.fleet import acts as nightly
from calibration.metrology.backtest import backtest, robust_lines
from calibration.metrology.blocks import blocks
from calibration.metrology.families import fit_families
from calibration.metrology.forecast import forecast
from calibration.metrology.histories import histories
from calibration.metrology.intervals import propose
from calibration.metrology.longest_interval import LOWER, UPPER
from calibration.metrology.wander import default_prior, outlook
from calibration.records.models import Calibration
from tests.bench import fleet
from tests.bench.pairs import Row, compare
from tests.bench.truths import TOLERANCE, TRUTHS, Fleet, U, simulate
from tests.bench.verdicts import KINDS, Plant, Story

FAMILIES, SAMPLE, VISITS = 400, 10, 10
PRINCIPLES = (
    "capacitance rod",
    "capacitance rope",
    "hydrostatic",
    "differential pressure",
    "guided wave",
    "ultrasonic",
)

# Half of the points drift steadily, half wander beside it; one in fifty takes a step half way.
HISTORIES = """
    UPDATE plant_transmitter SET principle = (%(principles)s::text[])[1 + id %% cardinality(%(principles)s::text[])];
    SELECT setseed(0.5);
    INSERT INTO calibration_calibration (site_id, point_id, transmitter_id, amend_reason, source, state, submission,
        content_sha256, submitted_at, done_on, performed_by_name, way, no_as_found_reason, note, tag, tank_name,
        product_name, serial, quantity, unit, lower, upper, signal, tolerance, tolerance_unit, tolerance_percent,
        adjust_limit_percent, decision_rule, adjusted, found_errors, found_largest, found_verdict, left_errors,
        left_largest, left_verdict, shows_failure, approved_by_name, approved_at, approval_note, return_reason,
        found_at_zero, found_at_span, left_at_zero, left_at_span, u_zero, u_span, u_zero_shared, u_span_shared)
    SELECT i.site_id, i.point_id, i.transmitter_id, '', 'imported', 'approved', gen_random_uuid(), '',
        now(), p.due_on - 360 * v.n, 'T. Quillane', 'wetted level by dip', '', '', p.tag, '', '', '', 'level',
        'm', p.lower, p.upper, p.signal, 1, '%%', 1, 0.5, 'simple acceptance', false, '{}', 0.4, 'pass', '{}',
        0.1, 'pass', false, 'S. Fenharrow', now(), '', '',
        v.zero, v.span, v.zero, v.span, 0.05, 0.06, 0.02, 0.02
    FROM plant_installation i JOIN plant_measuringpoint p ON p.id = i.point_id
    JOIN LATERAL (
        SELECT n, 0.06 * (%(visits)s - n) + 0.05 * e.z + (i.point_id %% 2) * 0.1 * sum(e.w) OVER (ORDER BY n DESC)
                + CASE WHEN i.point_id %% 50 = 0 AND n < 5 THEN 0.6 ELSE 0 END AS zero,
            0.09 * (%(visits)s - n) + 0.06 * e.s + (i.point_id %% 2) * 0.1 * sum(e.w) OVER (ORDER BY n DESC) AS span
        FROM generate_series(1, %(visits)s) n CROSS JOIN LATERAL (
            SELECT random_normal() AS z, random_normal() AS s, random_normal() AS w WHERE i.point_id > 0 AND n > 0) e
    ) v ON true
"""
READ = """
    SELECT string_agg(int8send(point_id) || int4send(done_on - DATE '2000-01-01')
        || float8send(found_at_zero) || float8send(found_at_span), '')
    FROM calibration_calibration WHERE state = 'approved'
"""
ROW = np.dtype([("point", ">i8"), ("day", ">i4"), ("zero", ">f8"), ("span", ">f8")])


LOOPED = 400  # instruments fitted one by one
MOST_MIB = 300.0


def run(scale: int | None) -> list[Row]:
    points = scale or 20_000
    return [*_whole(points), _arithmetic(points), _verdicts(points)]


def _whole(points: int) -> list[Row]:
    fleet.fill(points, day=dt.date(2026, 11, 2), records=0)
    facts = {"visits": VISITS, "principles": list(PRINCIPLES)}
    with transaction.atomic(), connection.cursor() as cursor:
        for statement in HISTORIES.split(";\n"):
            cursor.execute(statement, facts)
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE bench_lines (point_id bigint, rates float8[])")
    nightly.run(clock=timezone.now, nightly=True)
    with connection.cursor() as cursor:  # as a book is the day after
        cursor.execute("VACUUM ANALYZE calibration_calibration")
    made = simulate(TRUTHS["half and half"], 2 * points, VISITS, np.random.default_rng(1))

    history = histories(made.years, made.found, made.left, made.adjusted, U)
    prior = default_prior(TOLERANCE)

    def with_all_checked() -> None:
        _product()  # which foretells for some members of each family
        backtest(history, prior)
        robust_lines(made.years, made.found)

    def with_checks() -> None:
        _floor()
        _plain_checks(made.years, made.found)

    rows = [
        compare(
            "G3a",
            f"{VISITS} results each: read, judge both ends, propose, store",
            rows=points,
            floor=_floor,
            product=_product,
            at_most=2.5,
            pairs=5,
            warm=1,
        ),
        compare(
            "G3b",
            "the same, with robust lines and every visit forecast",
            rows=points,
            floor=with_checks,
            product=with_all_checked,
            at_most=2.5,
            pairs=5,
            warm=1,
        ),
        compare(
            "G3c whole",
            f"the pass, beside the usual way for {LOOPED} points (at most 1/20 a point)",
            rows=points,
            floor=lambda: _usual_way(LOOPED),
            product=_product,
            at_most=0.05 * points / LOOPED,
            pairs=3,
            warm=1,
        ),
        _memory(points),
    ]
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE bench_lines")
    fleet.empty()
    return rows


def _product() -> None:
    """Every chunk of a whole pass, changed or not; a repeat, so that most offers stand as they
    are.
    """
    for ids in nightly.chunks(None):
        nightly.renew(ids, at=timezone.now())
    if not Trend.objects.exists():
        raise RuntimeError("nothing was stored")


def _memory(points: int) -> Row:
    """What the pass adds at its peak to what the process held before."""
    gc.collect()
    ctypes.CDLL("libc.so.6").malloc_trim(
        0
    )  # what earlier passes left is not held against this one, nor for it
    Path("/proc/self/clear_refs").write_text("5")  # the peak counts from here
    before = _resident("VmRSS")
    _product()
    added = _resident("VmHWM") - before
    return Row(
        "G3a MiB",
        "memory that the pass adds at its peak, beside what it may (both in MiB)",
        points,
        MOST_MIB,
        added,
        added / MOST_MIB,
        (added / MOST_MIB,) * 2,
        1.0,
    )


def _resident(which: str) -> float:
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(which + ":")) / 1024


def _usual_way(count: int) -> None:
    """Instrument by instrument: its records by the ORM, a statsmodels line an end, trend saved."""
    for trend in Trend.objects.order_by("point_id")[:count]:
        records = Calibration.objects.standing().filter(point=trend.point_id).order_by("done_on")
        rows = list(records.values_list("done_on", "found_at_zero", "found_at_span"))
        years = np.array([(day - rows[0][0]).days / 365.25 for day, *_ in rows])
        for end, column in (("zero", 1), ("span", 2)):
            line = _line(years, np.array([row[column] for row in rows]))
            for name, value in zip(("rate", "rate_low", "rate_high"), line[1:4], strict=True):
                setattr(trend, f"{end}_{name}", float(value))
        with transaction.atomic():
            trend.save()
            transaction.set_rollback(True)


def _floor() -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(READ)
        rows = np.frombuffer(cursor.fetchone()[0], dtype=ROW)
        rows = rows[np.lexsort((rows["day"], rows["point"]))]
        x = rows["day"].astype(float).reshape(-1, VISITS).T
        x -= x.mean(axis=0)
        sxx = (x * x).sum(axis=0)
        columns = []
        for end in ("zero", "span"):
            y = rows[end].astype(float).reshape(-1, VISITS).T
            y -= y.mean(axis=0)
            slope = (x * y).sum(axis=0) / sxx
            rest = y - slope * x
            columns += [slope, np.sqrt((rest * rest).sum(axis=0) / (VISITS - 2) / sxx)]
        cursor.execute("TRUNCATE bench_lines")
        with cursor.copy("COPY bench_lines FROM STDIN") as copy:
            copy.set_types(["int8", "float8[]"])
            for pk, *rates in zip(
                rows["point"][::VISITS].tolist(), *(c.tolist() for c in columns), strict=True
            ):
                copy.write_row((pk, rates))


def _plain_checks(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The floor's two checks: medians of slopes, and each visit against the line before it."""
    first, second = np.triu_indices(len(x), 1)
    slopes = np.median((y[second] - y[first]) / (x[second] - x[first]), axis=0)
    n = np.arange(1, len(x) + 1)[:, None]
    sx, sy, sxx, sxy = (np.cumsum(part, axis=0) for part in (x, y, x * x, x * y))
    spread = sxx - sx * sx / n
    slope = (sxy - sx * sy / n)[1:-1] / spread[1:-1]
    off = y[2:] - (sy[1:-1] / n[1:-1] + slope * (x[2:] - sx[1:-1] / n[1:-1]))
    return slopes, off


def _line(years: np.ndarray, values: np.ndarray) -> tuple[float, ...]:
    """Intercept, slope and its interval, and the band of a reading a year later."""
    line = sm.OLS(values, sm.add_constant(years)).fit()
    ahead = line.get_prediction([[1.0, years[-1] + 1]]).conf_int(obs=True, alpha=0.05)
    return (*line.params, *line.conf_int()[1], *ahead[0])


def _arithmetic(n: int) -> Row:
    made = simulate(TRUTHS["half and half"], n, VISITS, np.random.default_rng(1))
    family = np.arange(n) % FAMILIES
    return compare(
        "G3a core",
        f"{VISITS} visits each: drift, band, crossing, interval; no database",
        rows=n,
        floor=lambda: plain_lines(made),
        product=lambda: judge(made, family),
        at_most=10,
        pairs=5,
        warm=1,
    )


def _verdicts(n: int) -> Row:
    made = simulate(TRUTHS["half and half"], n, VISITS, np.random.default_rng(1))
    family = np.arange(n) % FAMILIES
    story = Story(Plant(KINDS["smooth"], n, np.random.default_rng(1)))
    for _ in range(VISITS):
        story.visit(np.ones(n))
    of = story.passing(story.outlooks())

    def chances() -> None:
        of.chance(1.0)
        of.first_below(0.95, LOWER, UPPER)

    return compare(
        "G3a verdict",
        "chance of passing on a day, and when it falls to 95 %, beside the core",
        rows=n,
        floor=lambda: judge(made, family),
        product=chances,
        at_most=3,
        pairs=5,
        warm=1,
    )


def plain_lines(fleet: Fleet) -> tuple[np.ndarray, np.ndarray]:
    """The floor: one least-squares line through the as founds, slope and its standard error."""
    x = fleet.years - fleet.years.mean(axis=0)
    y = fleet.found - fleet.found.mean(axis=0)
    sxx = (x * x).sum(axis=0)
    slope = (x * y).sum(axis=0) / sxx
    rest = y - slope * x
    return slope, np.sqrt((rest * rest).sum(axis=0) / (len(x) - 2) / sxx)


def judge(fleet: Fleet, family: np.ndarray) -> np.ndarray:
    """The families from a tenth of the fleet, then every instrument, block by block."""
    history = histories(fleet.years, fleet.found, fleet.left, fleet.adjusted, U)
    some = slice(0, max(len(history) // SAMPLE, min(len(history), 10 * FAMILIES)))
    prior = fit_families(history.columns(some), family[some], TOLERANCE, iterations=15)
    years = np.empty(len(history))
    for part in blocks(len(history)):
        of = outlook(history.columns(part), prior.of(family[part]))
        forecast(of, TOLERANCE, U)
        years[part] = propose(of, TOLERANCE, U).years
    return years
