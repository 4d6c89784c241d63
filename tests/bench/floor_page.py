"""The floor of a page: raw SQL and a plain template behind a session and a person, and nothing
else.

As a URL configuration it stands before the site's own, so that both are asked in one process.
"""

from __future__ import annotations

import datetime as dt

from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.template import Context, Engine
from django.urls import include, path

MIDDLEWARE = [
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
]
ROWS = """
    SELECT p.id, p.tag, t.name, a.name, p.next_due, p.job_hours, r.done_on, r.found_verdict, r.found_largest
    FROM (SELECT * FROM plant_measuringpoint
          WHERE site_id = %(site)s AND out_of_service_on IS NULL AND deferred_until IS NULL AND next_due > %(day)s
          ORDER BY next_due, id LIMIT 50) p
    JOIN plant_tank t ON t.id = p.tank_id JOIN plant_area a ON a.id = t.area_id
    LEFT JOIN LATERAL (SELECT done_on, found_verdict, found_largest FROM calibration_calibration
        WHERE point_id = p.id AND state = 'approved' ORDER BY done_on DESC, id DESC LIMIT 1) r ON true
    ORDER BY p.next_due, p.id
"""
COUNTS = """
    SELECT sum(points) FILTER (WHERE next_due < %(day)s),
        sum(points) FILTER (WHERE NOT is_deferred AND next_due >= %(day)s AND next_due <= %(soon)s),
        sum(points) FILTER (WHERE NOT is_deferred AND next_due > %(soon)s AND next_due <= %(later)s),
        sum(points) FILTER (WHERE NOT is_deferred AND next_due > %(later)s),
        sum(points) FILTER (WHERE is_deferred AND next_due >= %(day)s)
    FROM plant_duecount WHERE site_id = %(site)s
"""
PAGE = """<!doctype html><html lang="en"><head><title>Due</title></head><body>
<nav>{% for word in nav %}<a href="/{{ word }}/">{{ word }}</a>{% endfor %}<span>{{ person }}</span></nav>
<ul>{% for count in counts %}<li><a href="?state={{ forloop.counter }}">{{ count }}</a></li>{% endfor %}</ul>
<table>{% for pk, tag, tank, area, due, hours, done, verdict, largest in rows %}<tr><td><a href="/points/{{ pk }}/">
{{ tag }}</a></td><td>{{ tank }}</td><td>{{ area }}</td><td>{{ due }}</td><td>{{ hours }}</td><td>{{ done }}</td>
<td>{{ verdict }}</td><td>{{ largest }}</td><td><a href="/points/{{ pk }}/defer/">defer</a></td></tr>{% endfor %}
</table></body></html>"""
TEMPLATE = Engine().from_string(PAGE)
NAV = ("due", "rounds", "register", "standards", "records", "ledger")


def read(site_id: int, day: dt.date) -> tuple[list[tuple], tuple]:
    """The rows and counts of the due list by two statements."""
    facts = {
        "site": site_id,
        "day": day,
        "soon": day + dt.timedelta(30),
        "later": day + dt.timedelta(90),
    }
    with connection.cursor() as cursor:
        cursor.execute(ROWS, {**facts, "day": facts["later"]})
        rows = cursor.fetchall()
        cursor.execute(COUNTS, facts)
        return rows, cursor.fetchone()


def page(request: HttpRequest, site_id: int, day: str) -> HttpResponse:
    person = request.user.name
    rows, counts = read(site_id, dt.date.fromisoformat(day))
    return HttpResponse(
        TEMPLATE.render(Context({"rows": rows, "counts": counts, "nav": NAV, "person": person}))
    )


urlpatterns = [path("floor/<int:site_id>/<str:day>/", page), path("", include("deploy.urls"))]
