from django.urls import path

from plant.points import export_views, views

urlpatterns = [
    path("register/", views.register, name="points"),
    path("register/export.csv", export_views.export_csv, name="points_csv"),
    path("register/export.xlsx", export_views.export_xlsx, name="points_xlsx"),
    path("points/new/", views.new, name="point_new"),
    path("points/<int:pk>/edit/", views.edit, name="point_edit"),
    path("points/<int:pk>/service/", views.service, name="point_service"),
]
