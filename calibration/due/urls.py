from django.urls import path

from calibration.due import home, views

urlpatterns = [
    path("due/", views.due, name="due"),
    path("", home.home, name="home"),
]
