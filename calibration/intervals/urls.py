from django.urls import path

from calibration.intervals import proposal_views, views

urlpatterns = [
    path("proposals/", proposal_views.listing, name="proposals"),
    path("proposals/accept/", proposal_views.accept_shown, name="proposals_accept"),
    path("proposals/<int:pk>/", proposal_views.one, name="proposal"),
    path("proposals/<int:pk>/accept/", proposal_views.accept, name="proposal_accept"),
    path("proposals/<int:pk>/decline/", proposal_views.decline, name="proposal_decline"),
    path("points/<int:pk>/interval/", views.change, name="interval"),
]
