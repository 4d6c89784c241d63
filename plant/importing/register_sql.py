"""Statements of plant.importing.register over two temporary tables: the rows as sent, and as the
register would hold them.
"""
# ruff: noqa: S608 - only names of this module are put together; what a file holds comes in as rows.

from __future__ import annotations

from collections.abc import Iterable

from plant.points.columns import POINT as POINT_ATTRIBUTES
from plant.transmitters.columns import TRANSMITTER

STAGED = {
    "place": "int",
    "tag_key": "text",
    **POINT_ATTRIBUTES.sql_types(),
    "unit": "text",
    "last_calibrated": "date",
    "due": "date",
    **TRANSMITTER.sql_types(),
    "installed_on": "date",
}

# What a file may say of a point and of a transmitter, with what a new one has where the file says
# nothing. The names of both come apart.
POINT = {"tank_id": "NULL"} | {
    name: POINT_ATTRIBUTES.usual(name)
    for name in POINT_ATTRIBUTES.fields
    if name not in ("tag", "tank")
}
DEVICE = {
    column.field: TRANSMITTER.usual(column.field)
    for column in TRANSMITTER.columns(but=("serial", "maker"))
}
SCHEDULE = ("due_on", "anchor_on", "anchor_months")

KEPT = (
    "place",
    "tag",
    "tag_key",
    "tank",
    "serial",
    "maker",
    "last_calibrated",
    "is_new",
    "device_is_new",
    "point_id",
    "transmitter_id",
    "device_status",
    "deferred_until",
    "inside_height_m",
    "capacity_m3",
    "datum_m",
    "was_duty",
    "was_interval_months",
    "was_due_on",
    "was_anchor_on",
    "was_anchor_months",
    "given_installed_on",
    "installed_on",
    "present_id",
    "present_transmitter",
    "present_since",
    "elsewhere_id",
    "elsewhere_since",
)
"""What is kept of each row for its rules, beside the values it would have."""

_GIVEN = {
    "tank_id": "t.id",
    # Not given, they stay; but not above a tolerance that shrinks, nor in another unit.
    "tolerance_down": """s.tolerance_down, CASE
                WHEN coalesce(s.tolerance_sides, p.tolerance_sides) = 'both'
                    AND p.tolerance_unit = coalesce(s.tolerance_unit, p.tolerance_unit)
                THEN p.tolerance_down END""",
    "adjust_limit": """coalesce(s.adjust_limit, CASE
                WHEN p.adjust_limit <= least(s.tolerance, s.tolerance_down)
                    AND p.tolerance_unit = coalesce(s.tolerance_unit, p.tolerance_unit)
                THEN p.adjust_limit END)""",
}


def _values(fields: dict[str, str], table: str) -> str:
    """Each field as given, else as it is, else as usual; and as it is beside it."""
    lines = []
    for name, usual in fields.items():
        given = _GIVEN.get(name, f"s.{name}, {table}.{name}")
        lines.append(f"coalesce({given}, {usual}) AS {name}, {table}.{name} AS was_{name}")
    return ",\n            ".join(lines)


def _differ(names: tuple[str, ...]) -> str:
    now, was = ", ".join(names), ", ".join(f"was_{name}" for name in names)
    return f"({now}) IS DISTINCT FROM ({was})"


def checked(*, numbers_new: bool) -> str:
    """Rows as the register would hold them, beside what it holds. ``numbers_new``: new rows get
    their ids here already.

    A due date is the one given, else the last calibration and the interval, else the stored one,
    else today.
    """
    # The sequence is looked up once, not for each row.
    new_point = "nextval((SELECT pg_get_serial_sequence('plant_measuringpoint', 'id')::regclass))"
    new_device = "nextval((SELECT pg_get_serial_sequence('plant_transmitter', 'id')::regclass))"
    if not numbers_new:
        new_point = new_device = "NULL::bigint"
    return f"""
    CREATE TEMPORARY TABLE checked_register ON COMMIT DROP AS
    SELECT {", ".join((*KEPT, *POINT, *DEVICE, *SCHEDULE))},
        NOT is_new AND {_differ((*POINT, *SCHEDULE))} AS point_changes,
        serial IS NOT NULL AND NOT device_is_new AND {_differ(tuple(DEVICE))} AS device_changes,
        serial IS NOT NULL AND present_id IS NULL AS installs
    FROM (
        SELECT s.place, s.tag, s.tag_key, s.tank, s.serial, s.maker, s.last_calibrated,
            p.id IS NULL AS is_new, x.id IS NULL AS device_is_new,
            coalesce(p.id, {new_point}) AS point_id,
            CASE WHEN s.serial IS NOT NULL THEN coalesce(x.id, {new_device}) END AS transmitter_id,
            {_values(POINT, "p")},
            {_values(DEVICE, "x")},
            x.status AS device_status, p.deferred_until, t.inside_height_m, t.capacity_m3,
            metres_of(t.datum, t.unit) AS datum_m,
            m.due_on, p.due_on AS was_due_on,
            CASE WHEN m.due_on = p.due_on THEN p.anchor_on
                WHEN m.due_on = d.counted THEN s.last_calibrated END AS anchor_on,
            p.anchor_on AS was_anchor_on,
            CASE WHEN m.due_on = p.due_on THEN p.anchor_months
                WHEN m.due_on = d.counted THEN d.months END AS anchor_months,
            p.anchor_months AS was_anchor_months,
            s.installed_on AS given_installed_on,
            coalesce(s.installed_on, s.last_calibrated, %(today)s::date) AS installed_on,
            h.id AS present_id, h.transmitter_id AS present_transmitter,
            h.installed_on AS present_since,
            e.point_id AS elsewhere_id, e.installed_on AS elsewhere_since
        FROM staged_register s
        LEFT JOIN plant_tank t ON t.site_id = %(site)s AND t.name = s.tank
        LEFT JOIN plant_measuringpoint p ON p.site_id = %(site)s AND p.tag = s.tag
        LEFT JOIN plant_transmitter x
            ON x.site_id = %(site)s AND x.serial = s.serial AND x.maker = s.maker
        LEFT JOIN plant_installation h ON h.point_id = p.id AND h.removed_on IS NULL
        LEFT JOIN plant_installation e ON e.transmitter_id = x.id AND e.removed_on IS NULL
        CROSS JOIN LATERAL (
            SELECT coalesce(s.interval_months, p.interval_months, 12)::int AS months,
            (s.last_calibrated + make_interval(
                months => coalesce(s.interval_months, p.interval_months, 12)::int)
            )::date AS counted) d
        CROSS JOIN LATERAL (
            SELECT coalesce(s.due, d.counted, p.due_on, %(today)s::date) AS due_on) m
    ) r
    """


# What speaks against a row, in the register or its other cells: field, condition, reason (SQL).
_RULES = (
    ("upper", "lower = upper", "'LRV and URV must differ: between them lies the span'"),
    (
        "quantity",
        "(quantity = 'volume') <> (unit IN ('m3', 'L'))",
        "format('does not fit the range in %s: level needs mm, cm, m, in or ft; volume needs m³ "
        "or L', unit)",
    ),
    (
        "tolerance_unit",
        "tolerance_unit = 'mm' AND quantity = 'volume'",
        "'must be % or mA for a point that indicates volume'",
    ),
    (
        "tolerance_unit",
        "tolerance_unit = 'mA' AND signal NOT IN ('4-20mA', '0-20mA')",
        "format('must be %% or mm: the output, %s, is no current', signal)",
    ),
    (
        "tolerance_down",
        "tolerance_down IS NOT NULL AND tolerance_sides <> 'both'",
        "format('must be empty where the tolerance has one limit, %s', tolerance_sides)",
    ),
    (
        "adjust_limit",
        "adjust_limit > least(tolerance, tolerance_down)",
        "format('must not be above the tolerance, %s', trim_scale(least(tolerance, "
        "tolerance_down)))",
    ),
    (
        "interval_months",
        "duty = 'safety' AND was_duty = 'safety' AND interval_months > was_interval_months",
        "format('only an approver may lengthen the interval of a point with safety duty, on its "
        "own page; it is %s months now', was_interval_months)",
    ),
    (
        "grace_days",
        "grace_days > interval_months * 15",
        "format('must be at most half the interval: %s days for %s months', interval_months * 15, "
        "interval_months)",
    ),
    ("due", "due_on < last_calibrated", "'lies before the day of the last calibration'"),
    (
        "principle",
        "device_is_new AND serial IS NOT NULL AND principle IS NULL",
        "'is missing; a transmitter new to the register needs it'",
    ),
    (
        "serial",
        "elsewhere_id IS NOT NULL AND elsewhere_id IS DISTINCT FROM point_id",
        "format('has been installed at %s since %s; enter its removal there first', "
        "(SELECT tag FROM plant_measuringpoint WHERE id = elsewhere_id), elsewhere_since)",
    ),
    (
        "serial",
        "present_id IS NOT NULL AND present_transmitter IS DISTINCT FROM transmitter_id AND "
        "serial IS NOT NULL",
        "format('%s has been installed at this point since %s; enter the swap on the point''s "
        "page', "
        "(SELECT serial FROM plant_transmitter WHERE id = present_transmitter), present_since)",
    ),
    (
        "installed_on",
        "present_transmitter = transmitter_id AND given_installed_on <> present_since",
        "format('the register has %s; leave this empty, or correct it on the point''s page', "
        "present_since)",
    ),
    (
        "serial",
        "installs AND device_status IN ('in repair', 'scrapped')",
        "format('is %s; set it to spare on its own page when it is fit again', device_status)",
    ),
    (
        "installed_on",
        """installs AND NOT (is_new AND device_is_new) AND EXISTS (SELECT FROM plant_installation i
            WHERE (i.point_id = r.point_id OR i.transmitter_id = r.transmitter_id)
                AND i.removed_on > r.installed_on)""",
        "format('another installation of this point or transmitter lasted beyond %s; give a later "
        "day', installed_on)",
    ),
)

_RULE_ROWS = ", ".join(f"('{f}', {c}, {r})" for f, c, r in _RULES)
_ANY_BROKEN = " OR ".join(f"({c})" for _, c, _ in _RULES)
BROKEN_RULES = f"""
    SELECT r.place, rule.field, rule.reason FROM checked_register r
    CROSS JOIN LATERAL (VALUES {_RULE_ROWS}) AS rule (field, broken, reason)
    WHERE ({_ANY_BROKEN}) AND rule.broken
    ORDER BY r.place
"""

# The slack is that of the database's own rule, range_fits.
OUTSIDE_TANK = """
    SELECT place, tank_id, quantity, unit, lower, upper FROM checked_register
    WHERE (quantity = 'volume') = (unit IN ('m3', 'L')) AND NOT CASE quantity
        WHEN 'volume' THEN least(lower, upper) >= 0
            AND greatest(lower, upper) * CASE unit WHEN 'L' THEN 0.001 ELSE 1 END
                <= capacity_m3 * 1.000001
        ELSE metres_of(least(lower, upper), unit) >= -datum_m - 0.00001
            AND metres_of(greatest(lower, upper), unit) <= inside_height_m - datum_m + 0.00001 END
    ORDER BY place
"""

MOVED_DUE_DATES = """
    SELECT place, point_id, was_due_on, deferred_until FROM checked_register
    WHERE NOT is_new AND due_on <> was_due_on ORDER BY place
"""


def _of(table: str, names: Iterable[str]) -> str:
    return ", ".join(f"{table}.{name}" for name in names)


KEEP_SCHEDULE = f"""
    UPDATE checked_register c
    SET due_on = was_due_on, anchor_on = was_anchor_on, anchor_months = was_anchor_months,
        point_changes = ({_of("c", POINT)}) IS DISTINCT FROM ({_of("p", POINT)})
    FROM plant_measuringpoint p WHERE p.id = c.point_id AND c.place = ANY(%(places)s)
"""

COUNTS = """
    SELECT count(*) FILTER (WHERE is_new),
        count(*) FILTER (WHERE NOT is_new AND (point_changes OR device_changes OR installs)),
        count(*) FILTER (WHERE NOT is_new AND NOT (point_changes OR device_changes OR installs)),
        coalesce(
            bool_or(point_changes OR NOT device_is_new AND (device_changes OR installs)), false)
    FROM checked_register
"""
NEW_ROWS = """
    SELECT place, tag, tank,
        format('%%s to %%s %%s', trim_scale(lower), trim_scale(upper), unit), due_on, serial
    FROM checked_register WHERE is_new ORDER BY place LIMIT %(shown)s
"""
CHANGED_ROWS = """
    SELECT c.place, c.tag, to_jsonb(c), to_jsonb(p), to_jsonb(x) FROM checked_register c
    JOIN plant_measuringpoint p ON p.id = c.point_id
    LEFT JOIN plant_transmitter x ON x.id = c.transmitter_id
    WHERE NOT is_new AND (point_changes OR device_changes OR installs)
    ORDER BY place LIMIT %(shown)s
"""

_POINT_COLUMNS = ", ".join((*POINT, *SCHEDULE))
_DEVICE_COLUMNS = ", ".join(DEVICE)
WRITE_NEW = (
    f"""
    INSERT INTO plant_transmitter (id, site_id, serial, maker, {_DEVICE_COLUMNS}, status, note)
    SELECT transmitter_id, %(site)s, serial, maker, {_DEVICE_COLUMNS}, 'in service', ''
    FROM checked_register WHERE serial IS NOT NULL AND device_is_new ORDER BY place
    """,
    f"""
    INSERT INTO plant_measuringpoint
        (id, site_id, tag, tag_key, {_POINT_COLUMNS}, out_of_service_why)
    SELECT point_id, %(site)s, tag, tag_key, {_POINT_COLUMNS}, ''
    FROM checked_register WHERE is_new ORDER BY place
    """,
    """
    INSERT INTO plant_installation (site_id, point_id, transmitter_id, installed_on, note)
    SELECT %(site)s, point_id, transmitter_id, installed_on, ''
    FROM checked_register WHERE installs ORDER BY place
    """,
)
WRITE_CHANGES = (
    f"""
    UPDATE plant_measuringpoint p
    SET ({_POINT_COLUMNS}) = ROW({_of("c", (*POINT, *SCHEDULE))})
    FROM checked_register c WHERE c.point_changes AND p.id = c.point_id
    """,
    f"""
    UPDATE plant_transmitter x SET ({_DEVICE_COLUMNS}, status)
        = ROW({_of("c", DEVICE)}, 'in service')
    FROM checked_register c
    WHERE x.id = c.transmitter_id AND NOT c.device_is_new AND (c.device_changes OR c.installs)
    """,
)
