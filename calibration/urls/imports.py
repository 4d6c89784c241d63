"""Files on their way into the book."""

from django.urls import path

from calibration.views import imports

urlpatterns = [
    path("imports/", imports.import_list, name="imports"),
    path("imports/new/", imports.import_new, name="import_new"),
    path("imports/template/<str:kind>.<str:fmt>", imports.template, name="template"),
    path("imports/<int:pk>/", imports.import_page, name="import"),
    path("imports/<int:pk>/apply/", imports.import_apply, name="import_apply"),
    path("imports/<int:pk>/withdraw/", imports.import_withdraw, name="import_withdraw"),
    path("imports/<int:pk>/problems.csv", imports.import_problems_csv, name="import_problems_csv"),
]
