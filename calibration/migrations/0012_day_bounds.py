"""Every day that is entered lies between 1950 and 2149 (SQL beside)."""

from pathlib import Path

from django.db import migrations

RULES = Path(__file__).with_suffix(".sql").read_text(encoding="utf-8")


class Migration(migrations.Migration):
    dependencies = [("calibration", "0011_status_of_many"), ("plant", "0004_status_guard")]

    operations = [migrations.RunSQL(RULES, migrations.RunSQL.noop)]
