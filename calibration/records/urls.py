from django.urls import path

from calibration.records import calibrate, views

urlpatterns = [
    path("jobs/<int:pk>/calibrate/", calibrate.calibrate, name="calibrate"),
    path("records/", views.record_list, name="records"),
    path("records/<int:pk>/", views.record, name="record"),
    path("records/<int:pk>/amend/", calibrate.amend, name="amend"),
]
