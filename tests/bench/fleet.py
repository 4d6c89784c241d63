"""A register of any size in seconds: one plant, its points, transmitters, last records and trends,
by set-based SQL.
"""

from __future__ import annotations

import datetime as dt

from django.db import connection, transaction

from plant.people.models import Appointment, Person
from plant.sites.models import Site

AREAS, POINTS_A_TANK = 12, 3

TABLES = (
    "calibration_reminder", "calibration_digest", "calibration_reminderscan", "calibration_trend",
    "calibration_calibration", "calibration_job", "plant_installation", "plant_transmitter",
    "plant_measuringpoint", "plant_duecount", "plant_tank", "plant_product", "plant_area",
)  # fmt: skip

FILL = """
    INSERT INTO plant_area (site_id, name)
    SELECT %(site)s, 'Park ' || n FROM generate_series(1, %(areas)s) n;

    INSERT INTO plant_product (site_id, name, conducts, permittivity, permittivity_c, permittivity_per_k,
        density, density_c, density_per_k)
    SELECT %(site)s, name, false, 3.05, 40, -0.001, 900, 40, -0.6
    FROM unnest(ARRAY['palm olein', 'soybean oil', 'tallow', 'molasses', 'brine']) name;

    INSERT INTO plant_tank (site_id, area_id, name, name_key, shape, unit, diameter, height, bottom, roof, datum,
        wall_conducts, product_id, inside_height_m, capacity_m3)
    SELECT %(site)s, (SELECT min(id) FROM plant_area WHERE site_id = %(site)s) + n %% %(areas)s,
        'T-' || n, 't-' || lpad(n::text, 10, '0'), 'vertical', 'm', 11, 12, 'flat', 'flat', 0, true,
        (SELECT min(id) FROM plant_product WHERE site_id = %(site)s) + n %% 5, 12, 1140
    FROM generate_series(1, %(tanks)s) n;

    INSERT INTO plant_measuringpoint (site_id, tank_id, tag, tag_key, quantity, unit, lower, upper, signal, tolerance,
        tolerance_unit, adjust_limit, duty, procedure_key, interval_months, grace_days, job_hours, note,
        out_of_service_on, out_of_service_why, due_on, deferred_until)
    SELECT %(site)s, (SELECT min(id) FROM plant_tank WHERE site_id = %(site)s) + n %% %(tanks)s,
        'LT-' || n, 'lt-' || lpad(n::text, 10, '0'), 'level', 'm', 0.3, 8.3, '4-20mA', 1, '%%', 0.5, 'general', '',
        12, 0, 1.5, '',
        CASE WHEN n %% 97 = 0 THEN %(day)s::date END, CASE WHEN n %% 97 = 0 THEN 'opened' ELSE '' END,
        %(day)s::date + (n * 7919 %% 380) - 15,
        CASE WHEN n %% 61 = 0 AND n %% 97 <> 0 THEN %(day)s::date + (n * 7919 %% 380) + 45 END
    FROM generate_series(1, %(points)s) n;

    INSERT INTO plant_transmitter (site_id, serial, maker, model, principle, wiring, status, note)
    SELECT %(site)s, 'S' || lpad(n::text, 7, '0'), 'Tarn & Weir', 'R4', 'capacitance rod', '3-wire', 'in service', ''
    FROM generate_series(1, %(points)s) n;

    INSERT INTO plant_installation (site_id, point_id, transmitter_id, installed_on, note)
    SELECT %(site)s, (SELECT min(id) - 1 FROM plant_measuringpoint WHERE site_id = %(site)s) + n,
        (SELECT min(id) - 1 FROM plant_transmitter WHERE site_id = %(site)s) + n, '2020-01-01', ''
    FROM generate_series(1, %(points)s) n;

    INSERT INTO calibration_calibration (site_id, point_id, transmitter_id, amend_reason, source, state, submission,
        content_sha256, submitted_at, done_on, performed_by_name, way, no_as_found_reason, note, tag, tank_name,
        product_name, serial, quantity, unit, lower, upper, signal, tolerance, tolerance_unit, tolerance_percent,
        adjust_limit_percent, decision_rule, adjusted, found_errors, found_largest, found_verdict, left_errors,
        left_largest, left_verdict, shows_failure, approved_by_name, approved_at, approval_note, return_reason)
    SELECT %(site)s, i.point_id, i.transmitter_id, '', 'imported', 'approved', gen_random_uuid(), '',
        y.done_on::timestamptz, y.done_on, 'T. Quillane', 'wetted level by dip', '', '', p.tag, '', '', '', 'level',
        'm', p.lower, p.upper, p.signal, 1, '%%', 1, 0.5, 'simple acceptance', true,
        ARRAY[-0.3, -0.1, 0.1, 0.2, 0.4, 0.3, 0.2, 0, -0.2], 0.4, 'pass',
        ARRAY[-0.1, 0, 0, 0.1, 0.1, 0, 0, 0, -0.1], 0.1, 'pass', false, 'S. Fenharrow', y.done_on::timestamptz, '', ''
    FROM plant_installation i JOIN plant_measuringpoint p ON p.id = i.point_id,
        LATERAL (SELECT p.due_on - 365 * n AS done_on FROM generate_series(%(records)s, 1, -1) n) y
    WHERE i.site_id = %(site)s AND p.id %% 50 > 0;

    INSERT INTO calibration_trend (site_id, point_id, transmitter_id, results, zero_rate, zero_rate_low, zero_rate_high,
        span_rate, span_rate_low, span_rate_high, crossing_on, crossing_of)
    SELECT %(site)s, i.point_id, i.transmitter_id, 3, 0.12, 0.08, 0.16, -0.2, -0.26, -0.14, %(day)s::date + 400, 'span'
    FROM plant_installation i WHERE i.site_id = %(site)s AND i.point_id %% 3 > 0;

    INSERT INTO calibration_job (site_id, point_id, why, state, due_on, technician_id, note)
    SELECT %(site)s, p.id, 'interval', 'planned', p.due_on, %(technician)s, ''
    FROM plant_measuringpoint p WHERE p.site_id = %(site)s AND p.id %% 7 = 0;
"""


def fill(points: int, *, day: dt.date, records: int = 2) -> Person:
    """Fill one plant with ``points`` measuring points due around ``day``; returns its planner."""
    site = Site.objects.create(
        code="B", name="Marram Point", time_zone="Europe/Lisbon", crew_hours=400
    )
    planner, technician = _person("planner", site), _person("technician", site)
    facts = {
        "site": site.pk,
        "areas": AREAS,
        "tanks": max(points // POINTS_A_TANK, 1),
        "points": points,
        "day": day,
        "records": records,
        "technician": technician.pk,
    }
    with transaction.atomic(), connection.cursor() as cursor:
        for statement in FILL.split(";\n"):
            if statement.strip():
                cursor.execute(statement, facts)
    with connection.cursor() as cursor:
        for table in TABLES:
            cursor.execute(f"ANALYZE {table}")
    return planner


def empty() -> None:
    """Take everything out again, walls and all: only ever called on a database made for
    measuring.
    """
    if not connection.settings_dict["NAME"].startswith("test_"):
        raise RuntimeError("only a test database is emptied")
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT format('ALTER TABLE %I DISABLE TRIGGER %I', relname, tgname) FROM pg_trigger"
            r" JOIN pg_class ON pg_class.oid = tgrelid WHERE tgname LIKE '%\_no\_truncate' AND "
            r"NOT tgisinternal"
        )
        for (let_down,) in cursor.fetchall():
            cursor.execute(let_down)
        cursor.execute("TRUNCATE plant_site, plant_person CASCADE")


def _person(role: str, site: Site) -> Person:
    person = Person(username=f"bench-{role}", name=f"Bench {role}", email=f"{role}@marram.example")
    person.set_unusable_password()
    person.save()
    Appointment.objects.create(person=person, site=site, role=role, starts_on=dt.date(2020, 1, 1))
    return person
