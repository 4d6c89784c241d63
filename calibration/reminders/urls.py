from django.urls import path

from calibration.reminders import views

urlpatterns = [
    path("outbox/", views.outbox, name="outbox"),
    path("outbox/<int:pk>/", views.mail, name="mail"),
    path("outbox/scans/<int:pk>/release/", views.release, name="reminders_release"),
]
