from django.urls import path

from calibration.jobs import change_views, views

urlpatterns = [
    path("jobs/", views.jobs, name="jobs"),
    path("jobs/<int:pk>/", views.job, name="job"),
    path("jobs/<int:pk>/hand-over/", change_views.hand_over, name="job_hand_over"),
    path("jobs/<int:pk>/cancel/", change_views.cancel, name="job_cancel"),
    path("points/<int:pk>/start/", change_views.start, name="job_new"),
]
