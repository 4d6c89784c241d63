"""The status of points, and the parts that procedures and records cover (SQL beside this file)."""

from pathlib import Path

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

RULES = Path(__file__).with_suffix(".sql").read_text(encoding="utf-8")
PARTS = Path(__file__).with_name("0002_parts.sql").read_text(encoding="utf-8")


class Migration(migrations.Migration):
    dependencies = [
        ("calibration", "0001_tables_and_rules"),
        ("plant", "0002_status"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="ReasonClosing",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("failed", "out of tolerance and not put right"),
                            ("standard", "standard withdrawn"),
                            ("chance", "chance of passing below the floor"),
                        ],
                        max_length=8,
                        verbose_name="reason",
                    ),
                ),
                ("of", models.BigIntegerField(verbose_name="record")),
                ("why", models.TextField(verbose_name="why")),
                ("closed_at", models.DateTimeField(verbose_name="closed")),
            ],
            options={
                "verbose_name": "closing of a reason",
                "ordering": ["-closed_at"],
            },
        ),
        migrations.CreateModel(
            name="CurrentRecord",
            fields=[
                (
                    "record",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        primary_key=True,
                        serialize=False,
                        to="calibration.calibration",
                    ),
                ),
                ("done_on", models.DateField()),
                ("is_check", models.BooleanField()),
                ("covers_output", models.BooleanField()),
                ("covers_primary", models.BooleanField()),
                ("left_verdict", models.CharField(max_length=12)),
                ("parts_within_days", models.PositiveSmallIntegerField()),
            ],
            options={"db_table": "calibration_currentrecord", "managed": False},
        ),
        migrations.CreateModel(
            name="CompleteResult",
            fields=[
                (
                    "record",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        primary_key=True,
                        serialize=False,
                        to="calibration.calibration",
                    ),
                ),
                ("done_on", models.DateField()),
                ("counts_from", models.DateField()),
            ],
            options={
                "db_table": "calibration_completeresult",
                "managed": False,
            },
        ),
        migrations.AddField(
            model_name="calibration",
            name="covers_output",
            field=models.BooleanField(
                db_default=True, default=True, verbose_name="covers the output"
            ),
        ),
        migrations.AddField(
            model_name="calibration",
            name="covers_primary",
            field=models.BooleanField(
                db_default=True, default=True, verbose_name="covers the primary element"
            ),
        ),
        migrations.AddField(
            model_name="calibration",
            name="is_check",
            field=models.BooleanField(
                db_default=False, default=False, verbose_name="a check, not a calibration"
            ),
        ),
        migrations.AddField(
            model_name="policy",
            name="least_chance_percent",
            field=models.DecimalField(
                db_default=80,
                decimal_places=1,
                default=80,
                max_digits=4,
                verbose_name="in doubt below a chance of passing of, %",
            ),
        ),
        migrations.AddField(
            model_name="policy",
            name="parts_within_days",
            field=models.PositiveSmallIntegerField(
                db_default=30, default=30, verbose_name="output and primary element within, days"
            ),
        ),
        migrations.AddField(
            model_name="procedureversion",
            name="covers_output",
            field=models.BooleanField(
                db_default=True, default=True, verbose_name="covers the output"
            ),
        ),
        migrations.AddField(
            model_name="procedureversion",
            name="covers_primary",
            field=models.BooleanField(
                db_default=True, default=True, verbose_name="covers the primary element"
            ),
        ),
        migrations.AddField(
            model_name="procedureversion",
            name="is_check",
            field=models.BooleanField(
                db_default=False,
                default=False,
                help_text="A check is evidence for trend and status; it never moves the due date.",
                verbose_name="a check, not a calibration",
            ),
        ),
        migrations.AddField(
            model_name="trend",
            name="doubt_on",
            field=models.DateField(blank=True, null=True),
        ),
        migrations.RunSQL(PARTS, migrations.RunSQL.noop),
        migrations.AddConstraint(
            model_name="policy",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("least_chance_percent__gte", 50), ("least_chance_percent__lte", 99)
                ),
                name="least_chance_from_50_to_99",
                violation_error_message="The least chance of passing must be between 50 and 99 %%.",
            ),
        ),
        migrations.AddConstraint(
            model_name="policy",
            constraint=models.CheckConstraint(
                condition=models.Q(("parts_within_days__lte", 366)),
                name="parts_within_a_year",
                violation_error_message="Output and primary element must be calibrated within 0 to 366 days of each other.",
            ),
        ),
        migrations.AddConstraint(
            model_name="procedureversion",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("covers_output", True), ("covers_primary", True), _connector="OR"
                ),
                name="procedure_covers_a_part",
                violation_error_message="A procedure covers the output, the primary element or both.",
            ),
        ),
        migrations.AddConstraint(
            model_name="procedureversion",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("covers_primary", False),
                    models.Q(
                        ("way__in", ("simulated output", "capacitance substituted")), _negated=True
                    ),
                    _connector="OR",
                ),
                name="way_reaches_the_primary_element",
                violation_error_message="This way of applying the input does not test the primary element.",
            ),
        ),
        migrations.AddField(
            model_name="reasonclosing",
            name="closed_by",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="reasonclosing",
            name="point",
            field=models.ForeignKey(
                db_constraint=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="reason_closings",
                to="plant.measuringpoint",
            ),
        ),
        migrations.AddField(
            model_name="reasonclosing",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="plant.site"
            ),
        ),
        migrations.AddConstraint(
            model_name="reasonclosing",
            constraint=models.UniqueConstraint(
                models.F("point"), models.F("kind"), models.F("of"), name="a_reason_is_closed_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="reasonclosing",
            constraint=models.CheckConstraint(
                condition=models.Q(("why", ""), _negated=True),
                name="a_closing_says_why",
                violation_error_message="Say why this reason no longer holds.",
            ),
        ),
        migrations.AddConstraint(
            model_name="reasonclosing",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind__in", ["failed", "standard", "chance"])),
                name="closed_kind_is_known",
            ),
        ),
        migrations.RunSQL(RULES, migrations.RunSQL.noop),
    ]
