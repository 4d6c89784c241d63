from django.urls import path

from calibration.jobs import views

urlpatterns = [
    path("jobs/", views.jobs, name="jobs"),
    path("jobs/<int:pk>/", views.job, name="job"),
    path("points/<int:pk>/start/", views.start, name="job_new"),
]
