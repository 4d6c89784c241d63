"""The shape of each record's tests, and what families and trends know of shapes and verdicts (SQL
beside this file).
"""

from pathlib import Path

import django.contrib.postgres.fields
from django.db import migrations, models

SHAPES = Path(__file__).with_suffix(".sql").read_text(encoding="utf-8")


def numbers(**options: bool) -> django.contrib.postgres.fields.ArrayField:
    return django.contrib.postgres.fields.ArrayField(
        base_field=models.FloatField(), blank=True, default=list, size=None, **options
    )


class Migration(migrations.Migration):
    dependencies = [("calibration", "0003_certified_deviation")]

    operations = [
        migrations.AddField(
            model_name="calibration",
            name="shape",
            field=django.contrib.postgres.fields.ArrayField(
                base_field=models.FloatField(), blank=True, null=True, size=9
            ),
        ),
        migrations.AddField(model_name="family", name="shape_mean", field=numbers()),
        migrations.AddField(model_name="family", name="shape_between", field=numbers()),
        migrations.AddField(model_name="family", name="shape_within", field=numbers()),
        migrations.AddConstraint(
            model_name="calibration",
            constraint=models.CheckConstraint(
                condition=models.Q(("shape", None), ("shape__len", 9), _connector="OR"),
                name="a_shape_has_nine_positions",
            ),
        ),
        migrations.RunSQL(SHAPES, migrations.RunSQL.noop),
    ]
