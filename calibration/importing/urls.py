from django.urls import path

from calibration.importing import views

urlpatterns = [
    path("imports/", views.import_list, name="imports"),
    path("imports/new/", views.import_new, name="import_new"),
    path("imports/template/<str:kind>.<str:fmt>", views.template, name="template"),
    path("imports/<int:pk>/", views.import_page, name="import"),
    path("imports/<int:pk>/apply/", views.import_apply, name="import_apply"),
    path("imports/<int:pk>/withdraw/", views.import_withdraw, name="import_withdraw"),
    path("imports/<int:pk>/problems.csv", views.import_problems_csv, name="import_problems_csv"),
]
