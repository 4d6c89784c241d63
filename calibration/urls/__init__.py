"""Addresses of what is done to the field, one module a room; deploy/urls.py includes this."""

from importlib import import_module
from importlib.util import find_spec

from django.urls import path

from calibration.views import home, intervals

app_name = "calibration"

urlpatterns = [
    path("", home.home, name="home"),
    path("points/<int:pk>/interval/", intervals.change, name="interval"),
]
for room in (
    "due",
    "rounds",
    "records",
    "standards",
    "reminders",
    "history",
    "imports",
    "product_changes",
    "families",
    "intervals",
    "field",
    "labels",
):
    if find_spec(f"calibration.urls.{room}"):
        urlpatterns += import_module(f"calibration.urls.{room}").urlpatterns
