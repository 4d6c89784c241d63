from django.urls import path

from plant.sites import views

urlpatterns = [
    path("sites/", views.sites, name="sites"),
    path("sites/new/", views.site_new, name="site_new"),
    path("sites/<int:pk>/edit/", views.site_edit, name="site_edit"),
    path("areas/<int:pk>/edit/", views.area_edit, name="area_edit"),
]
