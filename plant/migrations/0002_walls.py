from django.db import migrations

from plant import database_rules as walls


class Migration(migrations.Migration):
    dependencies = [("plant", "0001_initial")]

    operations = [
        walls.KEEP_FUNCTION,
        walls.only_added("plant_ledgerentry"),
        walls.only_added("plant_rowhistory"),
        walls.kept("plant_site"),
        walls.kept("plant_area"),
        walls.kept("plant_tank"),
        walls.kept("plant_strappingrow"),
        walls.kept("plant_product"),
        walls.kept("plant_measuringpoint"),
        walls.kept("plant_transmitter"),
        walls.kept("plant_installation"),
        walls.kept("plant_person", without=("password", "last_login")),
        walls.kept("plant_appointment"),
        walls.same_site("plant_tank", "area_id", "plant_area"),
        walls.same_site("plant_tank", "product_id", "plant_product"),
        walls.same_site("plant_measuringpoint", "tank_id", "plant_tank"),
        walls.same_site("plant_installation", "point_id", "plant_measuringpoint"),
        walls.same_site("plant_installation", "transmitter_id", "plant_transmitter"),
        walls.RANGE_FITS,
        walls.RANGE_INSIDE_TANK,
        walls.DUE_COUNTS,
    ]
