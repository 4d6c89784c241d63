from django.urls import path

from calibration.policies import listing_views, views

urlpatterns = [
    path("policies/", listing_views.listing, name="policies"),
    path("policies/<int:site>/<slug:duty>/", views.of_duty, name="policy_edit"),
    path("points/<int:pk>/policy/", views.of_point, name="point_policy"),
    path("points/<int:pk>/policy/drop/", views.drop, name="point_policy_drop"),
]
