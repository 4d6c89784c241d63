from django.urls import path

from calibration.families import views

urlpatterns = [
    path("families/", views.family_list, name="families"),
    path("families/<int:pk>/", views.family, name="family"),
]
