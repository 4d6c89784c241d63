from django.urls import path

from calibration.fleet import views

urlpatterns = [
    path("fleet/again/", views.again, name="fleet_again"),
]
