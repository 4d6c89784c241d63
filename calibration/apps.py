from django.apps import AppConfig


class CalibrationConfig(AppConfig):
    name = "calibration"
    verbose_name = "Calibration"

    def ready(self) -> None:
        from calibration.models import Procedure
        from plant import procedures

        procedures.offer(lambda: list(Procedure.objects.values_list("key", "name")))
