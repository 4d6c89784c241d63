"""Addresses of what is in the field, room by room."""

from django.urls import include, path

app_name = "plant"

urlpatterns = [
    path("", include("plant.people.urls")),
    path("", include("plant.points.urls")),
    path("", include("plant.products.urls")),
    path("", include("plant.sites.urls")),
    path("", include("plant.tanks.urls")),
    path("", include("plant.transmitters.urls")),
]
