from django.urls import path

from calibration.due import views

urlpatterns = [
    path("due/", views.due, name="due"),
]
