from django.db import migrations

from calibration import database_rules as walls
from plant.database_rules import kept, same_site


class Migration(migrations.Migration):
    dependencies = [("calibration", "0001_initial"), ("plant", "0002_walls")]

    operations = [
        *[
            kept(f"calibration_{name}")
            for name in (
                "referencestandard",
                "standardcertificate",
                "procedure",
                "procedureversion",
                "procedurestep",
                "job",
                "round",
                "calibration",
                "reading",
                "adjustment",
                "standarduse",
                "finding",
                "deferral",
            )
        ],
        same_site("calibration_job", "point_id", "plant_measuringpoint"),
        same_site("calibration_job", "round_id", "calibration_round"),
        same_site("calibration_calibration", "point_id", "plant_measuringpoint"),
        same_site("calibration_calibration", "transmitter_id", "plant_transmitter"),
        same_site("calibration_finding", "point_id", "plant_measuringpoint"),
        same_site("calibration_deferral", "point_id", "plant_measuringpoint"),
        walls.RECORDS_NEVER_CHANGE,
        walls.part_of_record("calibration_reading"),
        walls.part_of_record("calibration_adjustment"),
        walls.part_of_record("calibration_standarduse"),
        walls.STANDARD_COVERS_THE_DAY,
        walls.PUBLISHED_PROCEDURES_STAY,
    ]
