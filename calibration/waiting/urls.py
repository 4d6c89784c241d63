from django.urls import path

from calibration.waiting import views

urlpatterns = [path("", views.home, name="home")]
