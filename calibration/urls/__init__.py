"""Addresses of what is done to the field, one module a room; deploy/urls.py includes this."""

from django.urls import path

from calibration.urls import due, history, imports, records, reminders, rounds, standards
from calibration.views import home, intervals

app_name = "calibration"

urlpatterns = [
    path("", home.home, name="home"),
    path("points/<int:pk>/interval/", intervals.change, name="interval"),
    *due.urlpatterns,
    *rounds.urlpatterns,
    *records.urlpatterns,
    *standards.urlpatterns,
    *reminders.urlpatterns,
    *history.urlpatterns,
    *imports.urlpatterns,
]
