"""Addresses of what is done to the field, room by room; deploy/urls.py includes this."""

from django.urls import include, path

app_name = "calibration"

urlpatterns = [
    path("", include("calibration.approval.urls")),
    path("", include("calibration.deferrals.urls")),
    path("", include("calibration.drift.urls")),
    path("", include("calibration.due.urls")),
    path("", include("calibration.families.urls")),
    path("", include("calibration.findings.urls")),
    path("", include("calibration.fleet.urls")),
    path("", include("calibration.history.urls")),
    path("", include("calibration.importing.urls")),
    path("", include("calibration.intervals.urls")),
    path("", include("calibration.jobs.urls")),
    path("", include("calibration.labels.urls")),
    path("", include("calibration.points.urls")),
    path("", include("calibration.policies.urls")),
    path("", include("calibration.procedures.urls")),
    path("", include("calibration.product_changes.urls")),
    path("", include("calibration.records.urls")),
    path("", include("calibration.reminders.urls")),
    path("", include("calibration.rounds.urls")),
    path("", include("calibration.standards.urls")),
    path("", include("calibration.status.urls")),
    path("", include("calibration.tablet.urls")),
    path("", include("calibration.waiting.urls")),
]
