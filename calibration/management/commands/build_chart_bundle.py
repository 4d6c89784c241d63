"""Writes the chart library that pages load; run before collectstatic."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

from calibration.charts import ensure_script


class Command(BaseCommand):
    help = "Write deploy/static/built/vega.js, the charts' drawing library, if missing or old."
    requires_system_checks: list[str] = []

    def handle(self, *args: Any, **options: Any) -> None:
        path = ensure_script(Path(settings.BASE_DIR) / "deploy" / "static" / "built")
        self.stdout.write(f"{path}: {path.stat().st_size // 1000} kB")
