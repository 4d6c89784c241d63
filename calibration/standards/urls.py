from django.urls import path

from calibration.standards import views

urlpatterns = [
    path("standards/", views.standard_list, name="standards"),
    path("standards/new/", views.add, name="standard_new"),
    path("standards/<int:pk>/", views.standard, name="standard"),
    path("standards/<int:pk>/edit/", views.edit, name="standard_edit"),
    path("standards/<int:pk>/withdraw/", views.withdraw, name="standard_withdraw"),
    path("standards/<int:pk>/certificates/new/", views.add_certificate, name="certificate_new"),
    path(
        "certificates/<int:pk>/withdraw/",
        views.withdraw_certificate,
        name="certificate_withdraw",
    ),
    path("certificates/<int:pk>/file/", views.certificate_file, name="certificate_file"),
]
