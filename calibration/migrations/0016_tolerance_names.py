from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("calibration", "0015_unequal_tolerance"),
    ]

    operations = [
        migrations.AlterField(
            model_name="calibration",
            name="tolerance_percent",
            field=models.FloatField(verbose_name="tolerance, % of span"),
        ),
        migrations.AlterField(
            model_name="family",
            name="tolerance_percent",
            field=models.FloatField(
                blank=True, null=True, verbose_name="median tolerance, % of span"
            ),
        ),
    ]
