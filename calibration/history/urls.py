from django.urls import path

from calibration.history import views

urlpatterns = [
    path("history/points/<int:pk>/", views.point, name="history"),
    path("history/points/<int:pk>/export.csv", views.point_csv, name="history_csv"),
    path("history/transmitters/<int:pk>/", views.transmitter, name="history_transmitter"),
    path(
        "history/transmitters/<int:pk>/export.csv",
        views.transmitter_csv,
        name="history_transmitter_csv",
    ),
    path("ledger/", views.ledger, name="ledger"),
    path("ledger/export.csv", views.ledger_csv, name="ledger_csv"),
    path("ledger/<int:pk>/", views.ledger_entry, name="ledger_entry"),
]
