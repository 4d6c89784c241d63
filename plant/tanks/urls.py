from django.urls import path

from plant.tanks import views

urlpatterns = [
    path("tanks/", views.tanks, name="tanks"),
    path("tanks/new/", views.tank_new, name="tank_new"),
    path("tanks/<int:pk>/", views.tank, name="tank"),
    path("tanks/<int:pk>/edit/", views.tank_edit, name="tank_edit"),
]
