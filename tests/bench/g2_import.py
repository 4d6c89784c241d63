"""G2: a register from a file to the book, with checks, preview and ledger, beside raw SQL that only
loads it.

The floor loads the same file into the same tables, walls and all: COPY to a staging table, one
query that finds wrong rows (it only counts them), an upsert into each of three tables, one commit.
The server of the tests does not wait for the disk, for either side.
"""

from __future__ import annotations

import csv
import io
import shutil
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import python_calamine
import xlsxwriter
from django.db import connection, transaction
from django.test import override_settings
from django.utils import timezone

from calibration.importing.kinds import run_now
from plant.importing import acts as imports
from plant.importing.models import ImportBatch
from plant.ledger.models import RowHistory
from plant.people.models import Person
from plant.points.models import MeasuringPoint
from plant.sites.models import Site
from tests.bench import fleet
from tests.bench.pairs import Row

SCALE, PAIRS = 10_000, 5
HEADER = (
    "tag", "tank", "indicates", "LRV (m)", "URV (m)", "signal", "tolerance", "tolerance unit", "interval (months)",
    "last calibrated", "serial", "maker", "model", "principle", "wiring", "installed",
)  # fmt: skip
COLUMNS = (
    "tag", "tank", "quantity", "lower", "upper", "signal", "tolerance", "tolerance_unit", "months", "last", "serial",
    "maker", "model", "principle", "wiring", "installed",
)  # fmt: skip
BOOK = ("plant_installation", "plant_transmitter", "plant_measuringpoint", "plant_duecount")
NUMBER, DAY = r"^-?\d+(\.\d+)?$", r"^\d{4}-\d\d-\d\d$"

WRONG = """
    SELECT count(*) FROM raw r LEFT JOIN plant_tank t ON t.site_id = %(site)s AND t.name = r.tank
    WHERE t.id IS NULL OR r.tag = '' OR r.lower !~ %(number)s OR r.upper !~ %(number)s OR r.tolerance !~ %(number)s
        OR r.months !~ '^[0-9]+$' OR r.last !~ %(day)s OR r.installed !~ %(day)s OR r.last::date > current_date
        OR r.signal NOT IN ('4-20mA', '0-20mA', '1-5V', '0-10V') OR r.tolerance_unit NOT IN ('%%', 'mm', 'mA')
        OR r.lower::numeric = r.upper::numeric OR r.tolerance::numeric <= 0
        OR least(r.lower::float, r.upper::float) < 0 OR greatest(r.lower::float, r.upper::float) > t.inside_height_m
"""
TWICE = "SELECT count(*) - count(DISTINCT tag) + count(*) - count(DISTINCT serial) FROM raw"
UPSERTS = (
    """
    INSERT INTO plant_transmitter AS x (site_id, serial, maker, model, principle, wiring, status, note)
    SELECT %(site)s, serial, maker, model, principle, wiring, 'in service', '' FROM raw
    ON CONFLICT (site_id, serial, maker) DO UPDATE SET model = excluded.model, principle = excluded.principle,
        wiring = excluded.wiring
    WHERE (x.model, x.principle, x.wiring) IS DISTINCT FROM (excluded.model, excluded.principle, excluded.wiring)
    """,
    """
    INSERT INTO plant_measuringpoint AS p (site_id, tank_id, tag, tag_key, quantity, unit, lower, upper, signal,
        tolerance, tolerance_unit, adjust_limit, duty, procedure_key, interval_months, grace_days, job_hours, note,
        out_of_service_why, due_on, anchor_on, anchor_months)
    SELECT %(site)s, t.id, r.tag, lower(r.tag), r.quantity, 'm', r.lower::numeric, r.upper::numeric, r.signal,
        r.tolerance::numeric, r.tolerance_unit, r.tolerance::numeric / 2, 'general', '', r.months::int, 0, 1.5, '', '',
        r.last::date + make_interval(months => r.months::int), r.last::date, r.months::int
    FROM raw r JOIN plant_tank t ON t.site_id = %(site)s AND t.name = r.tank
    ON CONFLICT (site_id, tag) DO UPDATE SET tank_id = excluded.tank_id, lower = excluded.lower,
        upper = excluded.upper, signal = excluded.signal, tolerance = excluded.tolerance, due_on = excluded.due_on,
        tolerance_unit = excluded.tolerance_unit, interval_months = excluded.interval_months
    WHERE (p.tank_id, p.lower, p.upper, p.signal, p.tolerance, p.tolerance_unit, p.interval_months, p.due_on)
        IS DISTINCT FROM (excluded.tank_id, excluded.lower, excluded.upper, excluded.signal, excluded.tolerance,
            excluded.tolerance_unit, excluded.interval_months, excluded.due_on)
    """,
    """
    INSERT INTO plant_installation (site_id, point_id, transmitter_id, installed_on, note)
    SELECT %(site)s, p.id, x.id, r.installed::date, ''
    FROM raw r JOIN plant_measuringpoint p ON p.site_id = %(site)s AND p.tag = r.tag
    JOIN plant_transmitter x ON x.site_id = %(site)s AND x.serial = r.serial AND x.maker = r.maker
    LEFT JOIN plant_installation i ON i.point_id = p.id AND i.removed_on IS NULL WHERE i.id IS NULL
    """,
)


def run(scale: int | None) -> list[Row]:
    rows = scale or SCALE
    day = timezone.now().date()
    planner = fleet.fill(max(rows // 20, 3), day=day, records=0)
    site = Site.objects.get(code="B")
    data = Path(tempfile.mkdtemp(prefix="spanbook-bench-"))
    try:
        fleet_free(site, rows)
        with override_settings(DATA=data):
            return _measure(site, planner, _lines(rows))
    finally:
        shutil.rmtree(data, ignore_errors=True)
        fleet.empty()


def fleet_free(site: Site, rows: int) -> None:
    """Tanks enough, and no measuring point."""
    with connection.cursor() as cursor:
        _forget(cursor)
        cursor.execute(
            """
            INSERT INTO plant_tank (site_id, area_id, name, name_key, shape, unit, diameter, height, bottom, roof,
                datum, wall_conducts, inside_height_m, capacity_m3)
            SELECT site_id, area_id, 'B-' || n, 'b-' || n, shape, unit, diameter, height, bottom, roof, datum,
                wall_conducts, inside_height_m, capacity_m3
            FROM generate_series(0, %s) n, (SELECT * FROM plant_tank WHERE site_id = %s LIMIT 1) t
            """,
            [rows // 3, site.pk],
        )
        cursor.execute("ANALYZE plant_tank")


def _lines(rows: int) -> list[list[str]]:
    return [
        [
            f"LT-{n}A", f"B-{n // 3}", "level", "0.3", f"{8 + n % 30 / 10}", "4-20mA", "1", "%", str(6 + n % 3 * 6),
            f"2026-{n % 9 + 1:02}-{n % 28 + 1:02}", f"TW{n:07}", "Tarn & Weir", "R4", "capacitance rod", "3-wire",
            f"20{n % 5 + 18}-03-02",
        ]
        for n in range(rows)
    ]  # fmt: skip


def _measure(site: Site, planner: Person, lines: list[list[str]]) -> list[Row]:
    text, book = _csv(lines), _xlsx(lines)
    count = len(lines)

    def product(data: bytes, name: str) -> ImportBatch:
        batch = _checked(data, name, site, planner)
        imports.ask_to_apply(batch, by=planner)
        batch = run_now(batch, at=timezone.now())
        assert (batch.state, batch.rows_new) == ("applied", count), batch.state
        return batch

    def again() -> None:
        history = RowHistory.objects.count()
        batch = _checked(text, "register.csv", site, planner)
        assert (batch.state, batch.rows_same, batch.rows_new, batch.rows_changed) == (
            "checked",
            count,
            0,
            0,
        )
        assert RowHistory.objects.count() == history  # no row was written

    return [
        _compare("G2a", "register from CSV: received, checked, shown, applied", count, 2,
                 lambda: _floor(text, site), lambda: product(text, "register.csv")),
        _compare("G2b", "the same from XLSX", count, 1.5,
                 lambda: _floor(_to_csv(book), site), lambda: product(book, "register.xlsx")),
        _compare("G2c", "the same CSV again, 0 rows written", count, 2,
                 lambda: _floor(text, site), again, before=lambda: None),
    ]  # fmt: skip


def _checked(data: bytes, name: str, site: Site, planner: Person) -> ImportBatch:
    now = timezone.now()
    batch = imports.receive([data], file_name=name, kind="register", site=site, by=planner, at=now)
    batch = run_now(batch, at=now)
    assert batch.state == "checked", list(map(str, batch.problems.all()[:5]))
    return batch


def _compare(
    goal: str,
    what: str,
    rows: int,
    at_most: float,
    floor: Callable[[], object],
    product: Callable[[], object],
    before: Callable[[], None] | None = None,
) -> Row:
    """Pairs as in tests.bench.pairs, with an empty register before each side."""
    clear = before or _clear
    times = []
    pairs = PAIRS if rows <= SCALE else 2  # a hundred thousand rows take minutes a pair
    for _ in range(pairs + 1):
        clear()
        lower = _seconds(floor)
        clear()
        times.append((lower, _seconds(product)))
    ratios = sorted(p / f for f, p in times[1:])
    low, _, high = statistics.quantiles(ratios, n=4)
    floor_ms, product_ms = (1000 * statistics.median(side) for side in zip(*times[1:], strict=True))
    return Row(
        goal, what, rows, floor_ms, product_ms, statistics.median(ratios), (low, high), at_most
    )


def _seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def _clear() -> None:
    with connection.cursor() as cursor:
        _forget(cursor)
    assert not MeasuringPoint.objects.exists()


def _forget(cursor) -> None:
    cursor.execute(
        "SELECT format('ALTER TABLE %I DISABLE TRIGGER %I', relname, tgname) FROM pg_trigger"
        r" JOIN pg_class ON pg_class.oid = tgrelid WHERE tgname LIKE '%\_no\_truncate' AND NOT "
        r"tgisinternal"
    )
    for (let_down,) in cursor.fetchall():
        cursor.execute(let_down)
    cursor.execute(f"TRUNCATE {', '.join(BOOK)} CASCADE")


def _floor(text: bytes, site: Site) -> None:
    facts = {"site": site.pk, "number": NUMBER, "day": DAY}
    body = ", ".join(f"{name} text" for name in COLUMNS)
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL work_mem = '64MB'")
        cursor.execute(f"CREATE TEMPORARY TABLE raw ({body}) ON COMMIT DROP")
        with cursor.copy("COPY raw FROM STDIN WITH (FORMAT csv, HEADER true)") as copy:
            copy.write(text)
        cursor.execute(WRONG, facts)
        assert cursor.fetchone() == (0,)
        cursor.execute(TWICE)
        assert cursor.fetchone() == (0,)
        for upsert in UPSERTS:
            cursor.execute(upsert, facts)


def _csv(lines: list[list[str]]) -> bytes:
    text = io.StringIO()
    csv.writer(text).writerows([HEADER, *lines])
    return text.getvalue().encode()


def _xlsx(lines: list[list[str]]) -> bytes:
    """Numbers as numbers, as a spreadsheet keeps them."""
    file = io.BytesIO()
    book = xlsxwriter.Workbook(file, {"constant_memory": True, "strings_to_numbers": True})
    sheet = book.add_worksheet()
    for number, line in enumerate([HEADER, *lines]):
        sheet.write_row(number, 0, line)
    book.close()
    return file.getvalue()


def _to_csv(book: bytes) -> bytes:
    """The floor of reading a workbook: calamine's rows, written as CSV for COPY."""
    sheet = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(book)).get_sheet_by_index(0)
    text = io.StringIO()
    writer = csv.writer(text)
    for row in sheet.iter_rows():
        writer.writerow([int(c) if type(c) is float and c.is_integer() else c for c in row])
    return text.getvalue().encode()
