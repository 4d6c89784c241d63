from django.urls import path

from calibration.views import rounds

urlpatterns = [
    path("rounds/", rounds.listing, name="rounds"),
    path("rounds/new/", rounds.new, name="round_new"),
    path("rounds/<int:pk>/", rounds.one, name="round"),
    path("rounds/<int:pk>/edit/", rounds.change, name="round_edit"),
    path("rounds/<int:pk>/add/", rounds.add, name="round_add"),
    path("stops/<int:pk>/move/", rounds.move, name="stop_move"),
    path("stops/<int:pk>/remove/", rounds.remove, name="stop_remove"),
]
