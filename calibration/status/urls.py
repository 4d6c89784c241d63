from django.urls import path

from calibration.status import views

urlpatterns = [
    path("points/<int:pk>/reasons/<slug:kind>/<int:of>/close/", views.close, name="reason_close"),
]
