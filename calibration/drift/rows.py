"""The rows that the database packs for a drift: each described once, for SQL and for NumPy."""

from __future__ import annotations

from calibration.arrays import Cell, row_sql, row_type
from calibration.families.keys import INSTALLED, KEY, LIQUID_MATTERS
from calibration.metrology.shapes import POSITIONS
from calibration.policies.models import Policy
from plant.level.signals import FOUR_TO_TWENTY, SIGNALS, Signal
from plant.level.tolerance import equivalent_tolerance
from plant.points.models import MeasuringPoint

# What a drift needs of a record. The database packs it into the column drift_row when the record
# is stored, in an index by itself: sending fifteen columns of a wide row takes four times as long.
# The migration holds the same expression as text; tests/calibration/drift/test_results.py compares.
ADJUSTED, FAILED, FOUND_OUT, SIMULATED = 1, 2, 4, 8
FLAGS = f"""adjusted::int + {FAILED} * shows_failure::int
    + {FOUND_OUT} * (found_verdict = 'fail')::int + {SIMULATED} * (way = 'simulated output')::int"""
RECORD = (
    Cell("point", "i8", "point_id"),
    Cell("record", "i8", "id"),
    Cell("amends", "i8", "coalesce(amends_id, 0)"),
    Cell("transmitter", "i8", "transmitter_id"),
    Cell("job", "i8", "coalesce(job_id, 0)"),
    Cell("day", "i4", "done_on - DATE '2000-01-01'"),
    Cell("flags", "i4", FLAGS),
    Cell("found_zero", "f8", "coalesce(found_at_zero, 'NaN')"),
    Cell("found_span", "f8", "coalesce(found_at_span, 'NaN')"),
    Cell("left_zero", "f8", "coalesce(left_at_zero, 'NaN')"),
    Cell("left_span", "f8", "coalesce(left_at_span, 'NaN')"),
    Cell("u_zero", "f8", "coalesce(u_zero, 'NaN')"),
    Cell("u_span", "f8", "coalesce(u_span, 'NaN')"),
    Cell("shared_zero", "f8", "coalesce(u_zero_shared, 0)"),
    Cell("shared_span", "f8", "coalesce(u_span_shared, 0)"),
    *(
        Cell(f"shape_{n}", "f4", f"coalesce(shape[{n + 1}], 'NaN')::float4")
        for n in range(POSITIONS)
    ),
)
ROW = row_type(RECORD)
# A failure or a repair starts a segment of its own. A jump with a cause other than a repair, or
# still without one, begins a new level; a bad reading, or what looks like one, is set aside;
# "drift" counts like any other.
REPAIR, LEVEL, ASIDE, COUNTED = 1, 2, 3, 4
MEANS = f"""CASE
    WHEN cause = 'repair' THEN {REPAIR}
    WHEN cause = 'drift' THEN {COUNTED}
    WHEN cause = 'bad reading' OR cause = '' AND kind = 'bad reading' THEN {ASIDE}
    ELSE {LEVEL} END"""
QUESTION = (
    Cell("record", "i8", "record_id"),
    Cell("end", "i4", "(\"end\" = 'span')::int"),
    Cell("means", "i4", MEANS),
)
MARK = row_type(QUESTION)
# Three plain scans, the first of an index alone. NumPy puts together what belongs together, which
# no query planner can misjudge.
RESULTS = f"""
    SELECT (
        SELECT string_agg(drift_row, '')
        FROM calibration_calibration WHERE point_id = ANY(%(points)s) AND state = 'approved'
    ), (
        SELECT string_agg({row_sql(QUESTION)}, '')
        FROM calibration_stepquestion WHERE point_id = ANY(%(points)s)
    ), (
        SELECT array_agg(id) FROM calibration_job
        WHERE why = 'after repair' AND point_id = ANY(%(points)s)
    )
"""  # noqa: S608 - parts written above
DUTIES = MeasuringPoint.Duty.values


DOWN = "coalesce(p.tolerance_down, p.tolerance)"
HALF, MIDDLE = f"((p.tolerance + {DOWN}) / 2)", f"((p.tolerance - {DOWN}) / 2)"


def percent_sql(given: str) -> str:
    """What is ``given`` in the unit of the tolerance of point p, in % of span: for each unit, and
    signal where it matters, the factor that plant.level.tolerance applies to a tolerance of 1 where
    the span is 1.
    """

    def factor(unit: str, signal: Signal) -> float:
        return equivalent_tolerance(1, unit, span=1, signal=signal).percent

    currents = [signal for signal in SIGNALS.values() if signal.unit == "mA"]
    by_signal = "".join(f" WHEN '{s.key}' THEN {factor('mA', s)}" for s in currents)
    return f"""{given}::float8 * CASE p.tolerance_unit
        WHEN '%%' THEN {factor("%", FOUR_TO_TWENTY)}
        WHEN 'mA' THEN CASE p.signal{by_signal} END
        WHEN 'mm' THEN {factor("mm", FOUR_TO_TWENTY)} / abs(p.upper_base - p.lower_base) END"""


FLOOR = "least_chance_percent"
LEAST = Policy().least_chance_percent
POINT = (
    Cell("id", "i8", "p.id"),
    Cell("site", "i8", "p.site_id"),
    Cell("transmitter", "i8", "i.transmitter_id"),
    Cell("family", "i8", "coalesce(f.id, 0)"),
    Cell("due", "i4", "p.next_due - DATE '2000-01-01'"),
    Cell("months", "i4", "p.interval_months"),
    Cell("duty", "i4", "array_position(%s::text[], p.duty::text)"),
    # Half the width of the tolerance, or its one limit; the middle between two limits.
    Cell("size", "f8", percent_sql(HALF)),
    Cell("middle", "f8", percent_sql(MIDDLE)),
    Cell("sides", "i4", "array_position(%s::text[], p.tolerance_sides::text)"),
    # What the policy's decision rule takes off the tolerance, in standard uncertainties.
    Cell(
        "guard",
        "f8",
        """CASE coalesce(own.rule, held.rule) WHEN 'guard band'
        THEN 2 * coalesce(own.guard_share, held.guard_share)::float8 ELSE 0 END""",
    ),
    # The risk of a false accept that it allows; 0 where it goes by another rule.
    Cell(
        "risk",
        "f8",
        """CASE coalesce(own.rule, held.rule) WHEN 'limited risk'
        THEN coalesce(own.risk_percent, held.risk_percent)::float8 / 100 ELSE 0 END""",
    ),
    # The least chance of passing that the policy asks, as a share.
    Cell("floor", "f8", f"coalesce(own.{FLOOR}, held.{FLOOR}, {LEAST}) / 100.0::float8"),
)
POINT_TYPE = row_type(POINT)
PRODUCT_CHANGES = """
    SELECT array_agg(c."on" - DATE '2000-01-01' ORDER BY c."on")
    FROM plant_productchange c WHERE c.tank_id = p.tank_id
"""
POINTS = f"""
    SELECT string_agg(packed, ''),
        (jsonb_object_agg(id, changes) FILTER (WHERE changes IS NOT NULL))::text
    FROM (
        SELECT p.id, {row_sql(POINT)} AS packed,
            CASE WHEN {LIQUID_MATTERS} THEN ({PRODUCT_CHANGES}) END AS changes
        {INSTALLED} LEFT JOIN calibration_family f ON f.key = {KEY}
        LEFT JOIN calibration_policy own ON own.point_id = p.id
        LEFT JOIN calibration_policy held
            ON held.site_id = p.site_id AND held.duty = p.duty AND held.point_id IS NULL
        WHERE p.id = ANY(%s)
    ) rows
"""  # noqa: S608 - parts written above
# For one point: a plan that holds for any is kept, where the server would make one for each list
# anew (2 ms).
POINT_ALONE = POINTS.replace("p.id = ANY(%s)", "p.id = %s")
