import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("plant", "0002_walls"),
    ]

    operations = [
        migrations.CreateModel(
            name="ProductChange",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("on", models.DateField(verbose_name="since")),
                (
                    "celsius_before",
                    models.DecimalField(
                        blank=True,
                        decimal_places=2,
                        max_digits=6,
                        null=True,
                        verbose_name="temperature before, °C",
                    ),
                ),
                (
                    "celsius",
                    models.DecimalField(
                        blank=True,
                        decimal_places=2,
                        max_digits=6,
                        null=True,
                        verbose_name="temperature, °C",
                    ),
                ),
                ("why", models.CharField(blank=True, max_length=300, verbose_name="why")),
                ("demanded_at", models.DateTimeField(blank=True, null=True)),
                (
                    "product",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="plant.product",
                    ),
                ),
                (
                    "product_before",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="plant.product",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="product_changes",
                        to="plant.site",
                    ),
                ),
                (
                    "tank",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="product_changes",
                        to="plant.tank",
                    ),
                ),
            ],
            options={
                "ordering": ["-on", "-id"],
                "indexes": [
                    models.Index(fields=["tank", "-on", "-id"], name="product_change_by_tank"),
                    models.Index(
                        condition=models.Q(("demanded_at", None)),
                        fields=["id"],
                        name="product_change_to_look_into",
                    ),
                ],
                "constraints": [
                    models.UniqueConstraint(
                        models.F("id"), models.F("site"), name="product_change_and_site"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("product", models.F("product_before")), _negated=True),
                            ("product", None),
                            ("product_before", None),
                            models.Q(("celsius", models.F("celsius_before")), _negated=True),
                            ("celsius", None),
                            ("celsius_before", None),
                            _connector="OR",
                        ),
                        name="product_change_changes_something",
                        violation_error_message="Neither the product nor its temperature changes.",
                    ),
                ],
            },
        ),
    ]
