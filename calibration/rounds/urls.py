from django.urls import path

from calibration.rounds import views

urlpatterns = [
    path("rounds/", views.listing, name="rounds"),
    path("rounds/new/", views.new, name="round_new"),
    path("rounds/<int:pk>/", views.one, name="round"),
    path("rounds/<int:pk>/edit/", views.change, name="round_edit"),
    path("rounds/<int:pk>/add/", views.add, name="round_add"),
    path("stops/<int:pk>/move/", views.move, name="stop_move"),
    path("stops/<int:pk>/remove/", views.remove, name="stop_remove"),
]
