from django.db import migrations

from plant.database_rules import kept, same_site


class Migration(migrations.Migration):
    dependencies = [("calibration", "0003_metrology"), ("plant", "0004_walls")]

    operations = [
        *[kept(f"calibration_{name}") for name in ("policy", "proposal", "stepquestion")],
        same_site("calibration_policy", "point_id", "plant_measuringpoint"),
        same_site("calibration_proposal", "point_id", "plant_measuringpoint"),
        same_site("calibration_stepquestion", "point_id", "plant_measuringpoint"),
        same_site("calibration_job", "product_change_id", "plant_productchange"),
    ]
