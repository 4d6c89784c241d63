from django.urls import path

from calibration.labels import views

urlpatterns = [
    path("points/<int:pk>/label/", views.label, name="label"),
    path("rounds/<int:pk>/labels/", views.round_labels, name="round_labels"),
    path("q/<slug:site>/<str:tag>/", views.find, name="find"),
]
