from django.urls import path

from calibration.jobs import views

urlpatterns = [
    path("jobs/", views.jobs, name="jobs"),
    path("jobs/<int:pk>/", views.job, name="job"),
    path("jobs/<int:pk>/hand-over/", views.hand_over, name="job_hand_over"),
    path("jobs/<int:pk>/cancel/", views.cancel, name="job_cancel"),
    path("points/<int:pk>/start/", views.start, name="job_new"),
]
