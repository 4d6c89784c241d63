from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("plant", "0005_unequal_tolerance"),
    ]

    operations = [
        migrations.AlterField(
            model_name="measuringpoint",
            name="tolerance",
            field=models.DecimalField(decimal_places=4, max_digits=10, verbose_name="tolerance"),
        ),
        migrations.AlterField(
            model_name="measuringpoint",
            name="tolerance_sides",
            field=models.CharField(
                choices=[
                    ("both", "both ways"),
                    ("at most", "upward only (at most)"),
                    ("at least", "downward only (at least)"),
                ],
                db_default="both",
                default="both",
                max_length=8,
                verbose_name="tolerance applies",
            ),
        ),
    ]
