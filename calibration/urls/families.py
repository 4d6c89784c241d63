"""Families of like transmitters."""

from django.urls import path

from calibration.views import families

urlpatterns = [
    path("families/", families.family_list, name="families"),
    path("families/<int:pk>/", families.family, name="family"),
]
