from django.apps import AppConfig


class CalibrationConfig(AppConfig):
    name = "calibration"
    verbose_name = "Calibration"

    def ready(self) -> None:
        from calibration.procedures.models import Procedure
        from plant.points import procedures

        procedures.offer(lambda: list(Procedure.objects.values_list("key", "name")))
