from django.urls import path

from calibration.drift import views

urlpatterns = [
    path("steps/", views.jump_list, name="steps"),
    path("steps/<int:pk>/", views.jump, name="step"),
]
