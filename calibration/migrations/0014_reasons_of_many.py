"""Reasons of many points at once take time in proportion to their number (SQL beside)."""

from pathlib import Path

from django.db import migrations

RULES = Path(__file__).with_suffix(".sql").read_text(encoding="utf-8")


class Migration(migrations.Migration):
    dependencies = [("calibration", "0013_fixed_search_path")]

    operations = [migrations.RunSQL(RULES, migrations.RunSQL.noop)]
