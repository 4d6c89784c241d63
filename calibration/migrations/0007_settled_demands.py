"""A demand is settled by a complete result; a transmitter put back is calibrated anew (SQL beside)."""

from pathlib import Path

from django.db import migrations

RULES = Path(__file__).with_suffix(".sql").read_text(encoding="utf-8")


class Migration(migrations.Migration):
    dependencies = [("calibration", "0006_deviation_help"), ("plant", "0004_status_guard")]

    operations = [migrations.RunSQL(RULES, migrations.RunSQL.noop)]
