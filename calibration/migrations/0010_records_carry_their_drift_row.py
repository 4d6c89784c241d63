import django.db.models.deletion
from django.db import migrations, models

from calibration.database_rules import DRIFT_ROW, RECORD_STAYS_AFTER


class Migration(migrations.Migration):
    """A nightly pass reads every record of the fleet: what it needs of each lies packed in an index of its own.

    Three indexes go that others begin with.
    """

    dependencies = [
        ("calibration", "0009_families_keep_their_forecasts"),
        ("plant", "0005_keep_row_history_without_nested_loops"),
    ]

    operations = [
        migrations.AlterField(
            model_name="calibration",
            name="point",
            field=models.ForeignKey(
                db_constraint=False,
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="records",
                to="plant.measuringpoint",
            ),
        ),
        migrations.AlterField(
            model_name="calibration",
            name="site",
            field=models.ForeignKey(
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="records",
                to="plant.site",
            ),
        ),
        migrations.AlterField(
            model_name="calibration",
            name="transmitter",
            field=models.ForeignKey(
                db_constraint=False,
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="records",
                to="plant.transmitter",
            ),
        ),
        RECORD_STAYS_AFTER,
        DRIFT_ROW,
    ]
