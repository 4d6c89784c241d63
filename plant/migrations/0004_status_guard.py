"""A status is derived by the owner's triggers alone (SQL beside this file)."""

from pathlib import Path

from django.db import migrations

RULES = Path(__file__).with_suffix(".sql").read_text(encoding="utf-8")


class Migration(migrations.Migration):
    dependencies = [("plant", "0003_far_end")]

    operations = [migrations.RunSQL(RULES, migrations.RunSQL.noop)]
