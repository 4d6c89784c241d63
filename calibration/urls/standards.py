"""Reference standards and their certificates."""

from django.urls import path

from calibration.views import standards

urlpatterns = [
    path("standards/", standards.standard_list, name="standards"),
    path("standards/new/", standards.add, name="standard_new"),
    path("standards/<int:pk>/", standards.standard, name="standard"),
    path("standards/<int:pk>/edit/", standards.edit, name="standard_edit"),
    path("standards/<int:pk>/withdraw/", standards.withdraw, name="standard_withdraw"),
    path("standards/<int:pk>/certificates/new/", standards.add_certificate, name="certificate_new"),
    path(
        "certificates/<int:pk>/withdraw/",
        standards.withdraw_certificate,
        name="certificate_withdraw",
    ),
    path("certificates/<int:pk>/file/", standards.certificate_file, name="certificate_file"),
]
