from django.urls import path

from plant.transmitters import installing_views, views

urlpatterns = [
    path("points/<int:pk>/install/", installing_views.install, name="install"),
    path("points/<int:pk>/remove/", installing_views.remove, name="remove"),
    path("transmitters/", views.transmitters, name="transmitters"),
    path("transmitters/new/", views.new, name="transmitter_new"),
    path("transmitters/<int:pk>/edit/", views.edit, name="transmitter_edit"),
]
