from django.urls import path

from plant.sites import area_views, views

urlpatterns = [
    path("sites/", views.sites, name="sites"),
    path("sites/new/", views.site_new, name="site_new"),
    path("sites/<int:pk>/edit/", views.site_edit, name="site_edit"),
    path("areas/<int:pk>/edit/", area_views.area_edit, name="area_edit"),
]
