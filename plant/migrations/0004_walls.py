from django.db import migrations

from plant import database_rules as walls


class Migration(migrations.Migration):
    dependencies = [("plant", "0003_product_change")]

    operations = [
        walls.kept("plant_productchange"),
        walls.same_site("plant_productchange", "tank_id", "plant_tank"),
        walls.same_site("plant_productchange", "product_id", "plant_product"),
    ]
