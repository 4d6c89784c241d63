from django.urls import path

from calibration.views import reminders

urlpatterns = [
    path("outbox/", reminders.outbox, name="outbox"),
    path("outbox/<int:pk>/", reminders.mail, name="mail"),
    path("outbox/scans/<int:pk>/release/", reminders.release, name="reminders_release"),
]
