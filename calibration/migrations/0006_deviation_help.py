from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("calibration", "0004_shape"),
    ]

    operations = [
        migrations.AlterField(
            model_name="standardcertificate",
            name="deviation",
            field=models.DecimalField(
                blank=True,
                decimal_places=6,
                help_text="What it shows or is marked, less the true value: 0.004 where a meter "
                "shows 20.004 mA of 20 mA. Errors are corrected for it; enter none where readings "
                "already are.",
                max_digits=12,
                null=True,
                verbose_name="certified deviation",
            ),
        ),
    ]
