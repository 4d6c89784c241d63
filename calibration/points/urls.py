from django.urls import path

from calibration.points import views

urlpatterns = [
    path("points/<int:pk>/", views.point, name="point"),
    path("transmitters/<int:pk>/", views.transmitter, name="transmitter"),
]
