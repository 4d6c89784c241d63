"""No session can put tables of its own in the way of a rule (SQL beside)."""

from pathlib import Path

from django.db import migrations

RULES = Path(__file__).with_suffix(".sql").read_text(encoding="utf-8")


class Migration(migrations.Migration):
    dependencies = [("calibration", "0012_day_bounds")]

    operations = [migrations.RunSQL(RULES, migrations.RunSQL.noop)]
