"""Labels, and where their square codes lead. Short, so that the code stays coarse."""

from django.urls import path

from calibration.views import labels

urlpatterns = [
    path("points/<int:pk>/label/", labels.label, name="label"),
    path("rounds/<int:pk>/labels/", labels.round_labels, name="round_labels"),
    path("q/<slug:site>/<str:tag>/", labels.find, name="find"),
]
