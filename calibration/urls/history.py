"""One point, one transmitter, their histories, and the ledger."""

from django.urls import path

from calibration.views import history, points

urlpatterns = [
    path("points/<int:pk>/", points.point, name="point"),
    path("transmitters/<int:pk>/", points.transmitter, name="transmitter"),
    path("history/points/<int:pk>/", history.point, name="history"),
    path("history/points/<int:pk>/export.csv", history.point_csv, name="history_csv"),
    path("history/transmitters/<int:pk>/", history.transmitter, name="history_transmitter"),
    path(
        "history/transmitters/<int:pk>/export.csv",
        history.transmitter_csv,
        name="history_transmitter_csv",
    ),
    path("ledger/", history.ledger, name="ledger"),
    path("ledger/export.csv", history.ledger_csv, name="ledger_csv"),
    path("ledger/<int:pk>/", history.ledger_entry, name="ledger_entry"),
]
