from django.db import migrations

from calibration import database_rules as walls
from plant.database_rules import kept, only_added, same_site


class Migration(migrations.Migration):
    dependencies = [
        ("calibration", "0006_field"),
        ("plant", "0005_keep_row_history_without_nested_loops"),
    ]

    operations = [
        *[kept(f"calibration_{name}") for name in ("fieldwork", "sitewording")],
        walls.FIELD_WORK_STAYS_AS_SIGNED,
        only_added("calibration_fieldphoto"),
        walls.part_of_record("calibration_steptaken"),
        same_site("calibration_fieldwork", "job_id", "calibration_job"),
    ]
