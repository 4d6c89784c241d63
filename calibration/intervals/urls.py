from django.urls import path

from calibration.intervals import views

urlpatterns = [
    path("proposals/", views.listing, name="proposals"),
    path("proposals/accept/", views.accept_shown, name="proposals_accept"),
    path("proposals/<int:pk>/", views.one, name="proposal"),
    path("proposals/<int:pk>/accept/", views.accept, name="proposal_accept"),
    path("proposals/<int:pk>/decline/", views.decline, name="proposal_decline"),
    path("points/<int:pk>/interval/", views.change, name="interval"),
]
