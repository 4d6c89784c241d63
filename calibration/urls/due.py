from django.urls import path

from calibration.views import deferrals, due

urlpatterns = [
    path("due/", due.due, name="due"),
    path("points/<int:pk>/defer/", deferrals.defer, name="defer"),
    path("deferrals/", deferrals.waiting, name="deferrals"),
    path("deferrals/<int:pk>/decide/", deferrals.decide, name="deferral_decide"),
]
