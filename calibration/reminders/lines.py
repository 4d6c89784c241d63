"""The lines that are due at a site on a day, and for whom: one statement writes them with their
digests.
"""

from __future__ import annotations

import datetime as dt
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings

from calibration.jobs.models import Job
from plant.sites.models import Site

# The ladder, in days after the due date: −30, −7, 0, then every seventh day. Rungs passed while
# nothing ran are not made up one by one: the latest stands for all.
FIRST_RUNG, SECOND_RUNG, EVERY = -30, -7, 7
# Approvers get a line too from this many days after the due date.
APPROVER_FROM = 14

NO_MAIL_WANTED = "wants no mail; the list is on this page"
WRITE_LINES = """
    WITH due AS (
        SELECT p.id AS point_id, p.next_due AS due_on,
            CASE WHEN d.days >= 0 THEN d.days / %(every)s * %(every)s
                 WHEN d.days >= %(second)s THEN %(second)s ELSE %(first)s END AS rung
        FROM plant_measuringpoint p, LATERAL (SELECT %(day)s::date - p.next_due AS days) d
        WHERE p.site_id = %(site)s AND p.out_of_service_on IS NULL
            AND p.next_due <= %(day)s::date - %(first)s
    ),
    in_force AS (
        SELECT a.person_id, a.role,
            CASE WHEN x.wants_mail AND x.email <> '' THEN '' ELSE %(no_mail)s END AS left_out
        FROM plant_appointment a JOIN plant_person x ON x.id = a.person_id AND x.is_active
        WHERE a.site_id = %(site)s AND a.starts_on <= %(day)s
            AND coalesce(a.ends_on, %(day)s) >= %(day)s
    ),
    recipients AS (
        SELECT due.*, f.person_id FROM due
        JOIN in_force f ON f.role = 'planner'
            OR (f.role = 'approver' AND due.rung >= %(approver_from)s)
        UNION
        SELECT due.*, j.technician_id FROM due
        JOIN calibration_job j ON j.point_id = due.point_id AND j.state = ANY(%(open_states)s)
        JOIN in_force f ON f.person_id = j.technician_id
    ),
    fresh AS (
        SELECT t.* FROM recipients t WHERE NOT EXISTS (
            SELECT FROM calibration_reminder r WHERE r.point_id = t.point_id AND r.due_on = t.due_on
                AND r.rung = t.rung AND r.person_id = t.person_id)
    ),
    digests AS (
        INSERT INTO calibration_digest (site_id, person_id, day, message_id, made_at, tries,
            last_error, left_out, subject, body)
        SELECT %(site)s, f.person_id, %(day)s, format(%(message_id)s, f.person_id), %(at)s, 0,
            '', max(f.left_out), '', ''
        FROM in_force f WHERE f.person_id IN (SELECT person_id FROM fresh) GROUP BY f.person_id
        ON CONFLICT (person_id, site_id, day) DO NOTHING RETURNING id, person_id
    )
    INSERT INTO calibration_reminder (site_id, point_id, due_on, rung, person_id, digest_id)
    SELECT %(site)s, fresh.point_id, fresh.due_on, fresh.rung, fresh.person_id, digests.id
    FROM fresh JOIN digests ON digests.person_id = fresh.person_id
    ON CONFLICT (point_id, due_on, rung, person_id) DO NOTHING
"""


def write_lines(cursor: Any, site: Site, *, day: dt.date, at: dt.datetime) -> int:
    """Write what is due and not yet written; returns the number of lines. Part of the scan."""
    host = urlsplit(settings.PUBLIC_URL).hostname or "spanbook.invalid"
    cursor.execute(
        WRITE_LINES,
        {
            "site": site.pk,
            "day": day,
            "at": at,
            "first": FIRST_RUNG,
            "second": SECOND_RUNG,
            "every": EVERY,
            "approver_from": APPROVER_FROM,
            "open_states": list(Job.OPEN),
            "no_mail": NO_MAIL_WANTED,
            "message_id": f"<due-{day}-site-{site.pk}-person-%s@{host}>",
        },
    )
    return int(cursor.rowcount)
