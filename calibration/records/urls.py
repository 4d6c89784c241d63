from django.urls import path

from calibration.records import entry_views, views

urlpatterns = [
    path("jobs/<int:pk>/calibrate/", entry_views.calibrate, name="calibrate"),
    path("records/", views.record_list, name="records"),
    path("records/<int:pk>/", views.record, name="record"),
    path("records/<int:pk>/amend/", entry_views.amend, name="amend"),
]
