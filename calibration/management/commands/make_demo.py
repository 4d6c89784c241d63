"""Writes the demo's files anew from its laws and seed; they are kept in fixtures/demo."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from calibration.demo.files import FOLDER
from calibration.demo.scenario import SEED
from calibration.demo.write import build


class Command(BaseCommand):
    help = "Write the demo's CSV files from its laws and a seed. Only needed after a change of calibration/demo."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--seed", type=int, default=SEED)
        parser.add_argument("--into", type=Path, default=FOLDER)

    def handle(self, *args: Any, **options: Any) -> None:
        folder: Path = options["into"]
        folder.mkdir(parents=True, exist_ok=True)
        files = build(options["seed"])
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")
        self.stdout.write(f"{len(files)} files written to {folder}")
