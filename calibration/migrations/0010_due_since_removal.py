"""A point is due since its transmitter was removed or swapped (SQL beside)."""

from pathlib import Path

from django.db import migrations

RULES = Path(__file__).with_suffix(".sql").read_text(encoding="utf-8")


class Migration(migrations.Migration):
    dependencies = [("calibration", "0008_reading_without_level")]

    operations = [migrations.RunSQL(RULES, migrations.RunSQL.noop)]
