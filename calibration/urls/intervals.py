"""How results are judged and intervals chosen: policies and the proposals that follow from them."""

from django.urls import path

from calibration.views import policies, proposals

urlpatterns = [
    path("policies/", policies.listing, name="policies"),
    path("policies/<int:site>/<slug:duty>/", policies.of_duty, name="policy_edit"),
    path("points/<int:pk>/policy/", policies.of_point, name="point_policy"),
    path("points/<int:pk>/policy/drop/", policies.drop, name="point_policy_drop"),
    path("proposals/", proposals.listing, name="proposals"),
    path("proposals/accept/", proposals.accept_shown, name="proposals_accept"),
    path("proposals/<int:pk>/", proposals.one, name="proposal"),
    path("proposals/<int:pk>/accept/", proposals.accept, name="proposal_accept"),
    path("proposals/<int:pk>/decline/", proposals.decline, name="proposal_decline"),
]
