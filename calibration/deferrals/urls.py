from django.urls import path

from calibration.deferrals import views

urlpatterns = [
    path("points/<int:pk>/defer/", views.defer, name="defer"),
    path("deferrals/", views.waiting, name="deferrals"),
    path("deferrals/<int:pk>/decide/", views.decide, name="deferral_decide"),
]
