from django.urls import path

from calibration.procedures import delivered_views, editor_views, views, wording_views

urlpatterns = [
    path("procedures/", views.procedure_list, name="procedures"),
    path("procedures/new/", editor_views.new, name="procedure_new"),
    path("procedures/delivered/", delivered_views.delivered, name="procedures_delivered"),
    path("procedures/<slug:key>/", views.procedure, name="procedure"),
    path("procedures/<slug:key>/edit/", editor_views.edit, name="procedure_edit"),
    path("procedures/<slug:key>/delivered/", delivered_views.renew, name="procedure_renew"),
    path("procedures/<slug:key>/wording/", wording_views.add, name="wording"),
    path("procedures/wordings/<int:pk>/", wording_views.change, name="wording_change"),
    path("wordings/<int:pk>/drop/", wording_views.drop, name="wording_drop"),
]
