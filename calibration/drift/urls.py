from django.urls import path

from calibration.drift import views

urlpatterns = [
    path("steps/", views.step_list, name="steps"),
    path("steps/<int:pk>/", views.step, name="step"),
]
