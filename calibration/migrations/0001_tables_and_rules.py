"""The tables of calibration, then the rules that are the database's own (SQL beside this file)."""

from decimal import Decimal
from pathlib import Path

import django.contrib.postgres.fields
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

RULES = Path(__file__).with_suffix(".sql").read_text(encoding="utf-8")
# Triggers, columns and foreign keys go with their tables.
DROP_RULES = """
    DROP FUNCTION field_work_stays_as_signed CASCADE;
    DROP FUNCTION parts_come_with_their_record CASCADE;
    DROP FUNCTION published_steps_stay CASCADE;
    DROP FUNCTION record_stays_as_sent CASCADE;
    DROP FUNCTION standard_covers_the_day CASCADE;
"""


class Migration(migrations.Migration):
    replaces = [
        ("calibration", "0001_initial"),
        ("calibration", "0002_walls"),
        ("calibration", "0003_metrology"),
        ("calibration", "0004_walls"),
        ("calibration", "0005_families_keep_their_counts"),
        ("calibration", "0006_field"),
        ("calibration", "0007_field_walls"),
        ("calibration", "0008_trend_pages_with_room"),
        ("calibration", "0009_families_keep_their_forecasts"),
        ("calibration", "0010_records_carry_their_drift_row"),
    ]

    initial = True

    dependencies = [
        ("plant", "0001_tables_and_rules"),
    ]

    operations = [
        migrations.CreateModel(
            name="Family",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.CharField(max_length=60, unique=True)),
                ("principle", models.CharField(max_length=24, verbose_name="principle")),
                (
                    "conducts",
                    models.BooleanField(blank=True, null=True, verbose_name="liquid conducts"),
                ),
                ("members", models.PositiveIntegerField(default=0)),
                ("results", models.PositiveIntegerField(db_default=0, default=0)),
                (
                    "found_in",
                    models.PositiveIntegerField(
                        db_default=0, default=0, verbose_name="found in tolerance"
                    ),
                ),
                (
                    "tolerance_percent",
                    models.FloatField(
                        blank=True, null=True, verbose_name="median tolerance, ± % of span"
                    ),
                ),
                ("zero_rate", models.FloatField(blank=True, null=True)),
                ("zero_spread", models.FloatField(blank=True, null=True)),
                ("zero_mean_sd", models.FloatField(blank=True, null=True)),
                (
                    "zero_weights",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.FloatField(), blank=True, default=list, size=None
                    ),
                ),
                ("span_rate", models.FloatField(blank=True, null=True)),
                ("span_spread", models.FloatField(blank=True, null=True)),
                ("span_mean_sd", models.FloatField(blank=True, null=True)),
                (
                    "span_weights",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.FloatField(), blank=True, default=list, size=None
                    ),
                ),
                ("forecasts", models.PositiveIntegerField(db_default=0, default=0)),
                ("forecasts_held", models.PositiveIntegerField(db_default=0, default=0)),
                ("fitted_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "verbose_name_plural": "families",
                "ordering": ["key"],
            },
        ),
        migrations.CreateModel(
            name="FleetRun",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("started_at", models.DateTimeField(verbose_name="started")),
                (
                    "finished_at",
                    models.DateTimeField(blank=True, null=True, verbose_name="finished"),
                ),
                ("alive_at", models.DateTimeField(verbose_name="last progress")),
                ("points", models.PositiveIntegerField(default=0, verbose_name="points to do")),
                ("done", models.PositiveIntegerField(default=0, verbose_name="points done")),
                (
                    "proposals",
                    models.PositiveIntegerField(default=0, verbose_name="proposals made"),
                ),
                ("steps", models.PositiveIntegerField(default=0, verbose_name="steps found")),
                ("trouble", models.TextField(blank=True, verbose_name="what went wrong")),
            ],
            options={
                "ordering": ["-started_at"],
            },
        ),
        migrations.CreateModel(
            name="Heartbeat",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("task", models.CharField(max_length=60, unique=True)),
                ("at", models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name="Procedure",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.SlugField(max_length=40, unique=True, verbose_name="key")),
                ("name", models.CharField(max_length=120, verbose_name="name")),
                (
                    "principles",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=24), default=list, size=None
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
            },
        ),
        migrations.CreateModel(
            name="Calibration",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "amend_reason",
                    models.TextField(blank=True, verbose_name="reason of the amendment"),
                ),
                (
                    "source",
                    models.CharField(
                        choices=[
                            ("typed", "typed in"),
                            ("tablet", "recorded on a tablet"),
                            ("imported", "imported"),
                        ],
                        default="typed",
                        max_length=8,
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("submitted", "waiting for approval"),
                            ("approved", "approved"),
                            ("returned", "returned"),
                        ],
                        default="submitted",
                        max_length=9,
                        verbose_name="state",
                    ),
                ),
                ("submission", models.UUIDField(unique=True, verbose_name="submission")),
                ("content_sha256", models.CharField(max_length=64, verbose_name="content")),
                ("submitted_at", models.DateTimeField(verbose_name="submitted")),
                ("done_on", models.DateField(verbose_name="day of calibration")),
                (
                    "performed_by_name",
                    models.CharField(max_length=120, verbose_name="performed by"),
                ),
                (
                    "way",
                    models.CharField(
                        choices=[
                            ("simulated output", "simulated output"),
                            ("wetted level by dip", "wetted level by dip"),
                            ("wetted level by gauge glass", "wetted level by gauge glass"),
                            ("probe raised out of product", "probe raised out of product"),
                            ("capacitance substituted", "capacitance substituted"),
                            ("pressure applied", "pressure applied"),
                            ("target at known distance", "target at known distance"),
                            ("weights on hanger", "weights on hanger"),
                            ("float moved along its rod", "float moved along its rod"),
                        ],
                        max_length=32,
                        verbose_name="input applied by",
                    ),
                ),
                (
                    "ambient_c",
                    models.DecimalField(
                        blank=True,
                        decimal_places=1,
                        max_digits=5,
                        null=True,
                        verbose_name="ambient, °C",
                    ),
                ),
                (
                    "product_c",
                    models.DecimalField(
                        blank=True,
                        decimal_places=1,
                        max_digits=5,
                        null=True,
                        verbose_name="product, °C",
                    ),
                ),
                (
                    "no_as_found_reason",
                    models.CharField(
                        blank=True, max_length=300, verbose_name="why as found is missing"
                    ),
                ),
                ("note", models.TextField(blank=True, verbose_name="note")),
                ("tag", models.CharField(max_length=40)),
                ("tank_name", models.CharField(max_length=40)),
                ("product_name", models.CharField(blank=True, max_length=80)),
                ("serial", models.CharField(max_length=60)),
                ("quantity", models.CharField(max_length=6)),
                ("unit", models.CharField(max_length=2)),
                ("lower", models.DecimalField(decimal_places=5, max_digits=14)),
                ("upper", models.DecimalField(decimal_places=5, max_digits=14)),
                ("signal", models.CharField(max_length=6)),
                ("tolerance", models.DecimalField(decimal_places=4, max_digits=10)),
                ("tolerance_unit", models.CharField(max_length=2)),
                ("tolerance_percent", models.FloatField(verbose_name="tolerance, ± % of span")),
                (
                    "adjust_limit_percent",
                    models.FloatField(verbose_name="adjust beyond, ± % of span"),
                ),
                (
                    "decision_rule",
                    models.CharField(
                        default="simple acceptance", max_length=60, verbose_name="decision rule"
                    ),
                ),
                (
                    "expanded_percent",
                    models.FloatField(blank=True, null=True, verbose_name="largest U, % of span"),
                ),
                (
                    "coverage_factor",
                    models.FloatField(blank=True, null=True, verbose_name="coverage factor"),
                ),
                (
                    "tur",
                    models.FloatField(blank=True, null=True, verbose_name="test uncertainty ratio"),
                ),
                ("u_zero", models.FloatField(blank=True, null=True)),
                ("u_span", models.FloatField(blank=True, null=True)),
                ("u_zero_shared", models.FloatField(blank=True, null=True)),
                ("u_span_shared", models.FloatField(blank=True, null=True)),
                (
                    "budget",
                    models.JSONField(blank=True, null=True, verbose_name="uncertainty budget"),
                ),
                ("adjusted", models.BooleanField(default=False, verbose_name="adjusted")),
                (
                    "found_errors",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.FloatField(), blank=True, default=list, size=None
                    ),
                ),
                (
                    "found_largest",
                    models.FloatField(blank=True, null=True, verbose_name="largest as found"),
                ),
                (
                    "found_at_zero",
                    models.FloatField(blank=True, null=True, verbose_name="as found at zero"),
                ),
                (
                    "found_at_span",
                    models.FloatField(blank=True, null=True, verbose_name="as found at span"),
                ),
                (
                    "found_hysteresis",
                    models.FloatField(blank=True, null=True, verbose_name="hysteresis as found"),
                ),
                (
                    "found_verdict",
                    models.CharField(blank=True, max_length=12, verbose_name="as found"),
                ),
                (
                    "left_errors",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.FloatField(), blank=True, default=list, size=None
                    ),
                ),
                (
                    "left_largest",
                    models.FloatField(blank=True, null=True, verbose_name="largest as left"),
                ),
                (
                    "left_at_zero",
                    models.FloatField(blank=True, null=True, verbose_name="as left at zero"),
                ),
                (
                    "left_at_span",
                    models.FloatField(blank=True, null=True, verbose_name="as left at span"),
                ),
                (
                    "left_hysteresis",
                    models.FloatField(blank=True, null=True, verbose_name="hysteresis as left"),
                ),
                (
                    "left_verdict",
                    models.CharField(blank=True, max_length=12, verbose_name="as left"),
                ),
                (
                    "shows_failure",
                    models.BooleanField(default=False, verbose_name="a reading shows a failure"),
                ),
                (
                    "approved_by_name",
                    models.CharField(blank=True, max_length=120, verbose_name="approved by"),
                ),
                (
                    "approved_at",
                    models.DateTimeField(blank=True, null=True, verbose_name="approved"),
                ),
                ("approval_note", models.TextField(blank=True, verbose_name="approver's note")),
                ("returned_at", models.DateTimeField(blank=True, null=True)),
                ("return_reason", models.TextField(blank=True, verbose_name="why returned")),
                (
                    "amends",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="amendments",
                        to="calibration.calibration",
                    ),
                ),
                (
                    "approved_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                        verbose_name="approved by",
                    ),
                ),
                (
                    "performed_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="records",
                        to=settings.AUTH_USER_MODEL,
                        verbose_name="performed by",
                    ),
                ),
                (
                    "point",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="records",
                        to="plant.measuringpoint",
                    ),
                ),
                (
                    "returned_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="records",
                        to="plant.site",
                    ),
                ),
                (
                    "transmitter",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="records",
                        to="plant.transmitter",
                    ),
                ),
            ],
            options={
                "verbose_name": "record",
                "ordering": ["-done_on", "-id"],
            },
        ),
        migrations.CreateModel(
            name="Digest",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("day", models.DateField(verbose_name="day")),
                ("message_id", models.CharField(max_length=120, unique=True)),
                ("made_at", models.DateTimeField()),
                ("claimed_until", models.DateTimeField(blank=True, null=True)),
                ("tries", models.PositiveSmallIntegerField(default=0)),
                ("last_error", models.TextField(blank=True)),
                ("sent_at", models.DateTimeField(blank=True, null=True, verbose_name="sent")),
                ("subject", models.CharField(blank=True, max_length=200, verbose_name="subject")),
                ("body", models.TextField(blank=True, verbose_name="text")),
                (
                    "left_out",
                    models.CharField(
                        blank=True, max_length=120, verbose_name="why no mail went out"
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="digests",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="digests",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "ordering": ["-day", "-id"],
            },
        ),
        migrations.CreateModel(
            name="FieldKey",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.BinaryField(max_length=32)),
                ("made_at", models.DateTimeField()),
                (
                    "person",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="field_key",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="FieldWork",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("submission", models.UUIDField(unique=True, verbose_name="submission")),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("signed", "signed, not yet here"),
                            ("stored", "stored as a record"),
                            ("set aside", "set aside"),
                            ("settled", "settled, kept without a record"),
                        ],
                        default="signed",
                        max_length=9,
                        verbose_name="state",
                    ),
                ),
                ("content_sha256", models.CharField(max_length=64, verbose_name="content")),
                ("content", models.TextField(blank=True)),
                ("signed_at", models.DateTimeField(verbose_name="signed")),
                (
                    "received_at",
                    models.DateTimeField(blank=True, null=True, verbose_name="received"),
                ),
                ("device", models.CharField(blank=True, max_length=120, verbose_name="device")),
                (
                    "skew_seconds",
                    models.FloatField(default=0, verbose_name="tablet's clock ahead by, s"),
                ),
                (
                    "troubles",
                    models.JSONField(blank=True, default=list, verbose_name="why set aside"),
                ),
                ("settled_at", models.DateTimeField(blank=True, null=True, verbose_name="settled")),
                ("settled_why", models.TextField(blank=True, verbose_name="how it was settled")),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="field_works",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "record",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="field_work",
                        to="calibration.calibration",
                    ),
                ),
                (
                    "settled_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="field_works",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "ordering": ["-signed_at", "-id"],
            },
        ),
        migrations.CreateModel(
            name="FieldPhoto",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("sha256", models.CharField(max_length=64)),
                ("step", models.PositiveSmallIntegerField(verbose_name="step")),
                (
                    "taken_at",
                    models.DateTimeField(
                        blank=True, null=True, verbose_name="taken, by the tablet's clock"
                    ),
                ),
                ("received_at", models.DateTimeField(verbose_name="received")),
                ("stored_as", models.CharField(max_length=200)),
                ("stored_sha256", models.CharField(max_length=64)),
                ("size", models.PositiveIntegerField(verbose_name="bytes")),
                (
                    "work",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="photos",
                        to="calibration.fieldwork",
                    ),
                ),
            ],
            options={
                "ordering": ["work", "step", "id"],
            },
        ),
        migrations.CreateModel(
            name="Finding",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("opened_at", models.DateTimeField(verbose_name="opened")),
                (
                    "doubtful_from",
                    models.DateField(blank=True, null=True, verbose_name="in doubt from"),
                ),
                ("doubtful_until", models.DateField(verbose_name="in doubt until")),
                (
                    "largest_percent",
                    models.FloatField(
                        blank=True, null=True, verbose_name="largest error, % of span"
                    ),
                ),
                ("assessment", models.TextField(blank=True, verbose_name="assessment")),
                (
                    "assessed_at",
                    models.DateTimeField(blank=True, null=True, verbose_name="assessed"),
                ),
                ("closed_at", models.DateTimeField(blank=True, null=True, verbose_name="closed")),
                (
                    "agreed_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "assessed_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "point",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="findings",
                        to="plant.measuringpoint",
                    ),
                ),
                (
                    "record",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="finding",
                        to="calibration.calibration",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="findings",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "ordering": ["-opened_at"],
            },
        ),
        migrations.CreateModel(
            name="Job",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "why",
                    models.CharField(
                        choices=[
                            ("interval", "interval"),
                            ("product change", "product change"),
                            ("after repair", "after repair"),
                            ("swap", "swap of the transmitter"),
                            ("request", "request"),
                        ],
                        default="interval",
                        max_length=14,
                        verbose_name="why",
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("planned", "planned"),
                            ("in hand", "in hand"),
                            ("submitted", "submitted"),
                            ("returned", "returned"),
                            ("approved", "approved"),
                            ("cancelled", "cancelled"),
                        ],
                        default="planned",
                        max_length=9,
                        verbose_name="state",
                    ),
                ),
                ("due_on", models.DateField(verbose_name="due date")),
                (
                    "stop_number",
                    models.PositiveSmallIntegerField(blank=True, null=True, verbose_name="stop"),
                ),
                (
                    "shift_percent",
                    models.FloatField(
                        blank=True, null=True, verbose_name="computed shift, % of span"
                    ),
                ),
                ("planned_on", models.DateField(blank=True, null=True, verbose_name="planned for")),
                ("note", models.TextField(blank=True, verbose_name="note")),
                (
                    "point",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs",
                        to="plant.measuringpoint",
                    ),
                ),
                (
                    "product_change",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs",
                        to="plant.productchange",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs",
                        to="plant.site",
                    ),
                ),
                (
                    "technician",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs",
                        to=settings.AUTH_USER_MODEL,
                        verbose_name="technician",
                    ),
                ),
            ],
            options={
                "ordering": ["due_on", "id"],
            },
        ),
        migrations.AddField(
            model_name="fieldwork",
            name="job",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="field_works",
                to="calibration.job",
            ),
        ),
        migrations.AddField(
            model_name="calibration",
            name="job",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="records",
                to="calibration.job",
            ),
        ),
        migrations.CreateModel(
            name="Policy",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "duty",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("safety", "safety"),
                            ("custody", "custody"),
                            ("quality", "quality"),
                            ("environment", "environment"),
                            ("general", "general"),
                        ],
                        max_length=12,
                        verbose_name="duty",
                    ),
                ),
                (
                    "rule",
                    models.CharField(
                        choices=[
                            ("simple acceptance", "simple acceptance"),
                            ("guard band", "guard band"),
                            ("limited risk", "limited risk of a false accept"),
                        ],
                        default="simple acceptance",
                        max_length=20,
                        verbose_name="decision rule",
                    ),
                ),
                (
                    "guard_share",
                    models.DecimalField(
                        decimal_places=2,
                        default=Decimal("1"),
                        max_digits=4,
                        verbose_name="guard band, times U",
                    ),
                ),
                (
                    "risk_percent",
                    models.DecimalField(
                        decimal_places=2,
                        default=Decimal("2.5"),
                        max_digits=4,
                        verbose_name="false accept at most, %",
                    ),
                ),
                (
                    "least_tur",
                    models.DecimalField(
                        decimal_places=1,
                        default=Decimal("4"),
                        max_digits=3,
                        verbose_name="warn below a test uncertainty ratio of",
                    ),
                ),
                (
                    "method",
                    models.CharField(
                        choices=[
                            ("fixed", "as set by hand"),
                            ("staircase", "staircase"),
                            ("drift", "drift and its uncertainty"),
                            ("reliability", "reliability of the family"),
                        ],
                        default="drift",
                        max_length=12,
                        verbose_name="interval by",
                    ),
                ),
                (
                    "target_percent",
                    models.DecimalField(
                        decimal_places=2,
                        default=Decimal("95"),
                        max_digits=4,
                        verbose_name="in tolerance when due, %",
                    ),
                ),
                (
                    "shortest_months",
                    models.PositiveSmallIntegerField(
                        default=3, verbose_name="shortest interval, months"
                    ),
                ),
                (
                    "longest_months",
                    models.PositiveSmallIntegerField(
                        default=60, verbose_name="longest interval, months"
                    ),
                ),
                (
                    "lengthen",
                    models.DecimalField(
                        decimal_places=1,
                        default=Decimal("2"),
                        max_digits=3,
                        verbose_name="longer at most, times",
                    ),
                ),
                (
                    "stair_longer_percent",
                    models.DecimalField(
                        decimal_places=1,
                        default=Decimal("10"),
                        max_digits=4,
                        verbose_name="staircase: longer by, %",
                    ),
                ),
                (
                    "stair_shorter_percent",
                    models.DecimalField(
                        decimal_places=1,
                        default=Decimal("55"),
                        max_digits=4,
                        verbose_name="staircase: shorter by, %",
                    ),
                ),
                (
                    "point",
                    models.OneToOneField(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="policy",
                        to="plant.measuringpoint",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="policies",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "policies",
                "ordering": ["site", "duty", "point"],
            },
        ),
        migrations.CreateModel(
            name="ProcedureVersion",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("number", models.PositiveSmallIntegerField(verbose_name="version")),
                (
                    "way",
                    models.CharField(
                        choices=[
                            ("simulated output", "simulated output"),
                            ("wetted level by dip", "wetted level by dip"),
                            ("wetted level by gauge glass", "wetted level by gauge glass"),
                            ("probe raised out of product", "probe raised out of product"),
                            ("capacitance substituted", "capacitance substituted"),
                            ("pressure applied", "pressure applied"),
                            ("target at known distance", "target at known distance"),
                            ("weights on hanger", "weights on hanger"),
                            ("float moved along its rod", "float moved along its rod"),
                        ],
                        max_length=32,
                        verbose_name="input applied by",
                    ),
                ),
                (
                    "shape",
                    models.CharField(
                        choices=[
                            ("test points", "test points"),
                            ("two known levels", "two known levels"),
                            ("as it stands only", "as it stands only"),
                        ],
                        default="test points",
                        max_length=20,
                        verbose_name="reads",
                    ),
                ),
                (
                    "percents",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.DecimalField(decimal_places=2, max_digits=6),
                        help_text="Test points, % of span, rising.",
                        size=None,
                    ),
                ),
                (
                    "up_and_down",
                    models.BooleanField(default=True, verbose_name="rising and falling"),
                ),
                (
                    "settle_seconds",
                    models.PositiveIntegerField(default=30, verbose_name="settle, s"),
                ),
                (
                    "adjusts",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=16),
                        blank=True,
                        default=list,
                        size=None,
                    ),
                ),
                (
                    "stops",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.TextField(), blank=True, default=list, size=None
                    ),
                ),
                (
                    "published_on",
                    models.DateField(blank=True, null=True, verbose_name="published on"),
                ),
                (
                    "reason",
                    models.CharField(
                        blank=True, max_length=300, verbose_name="what changed and why"
                    ),
                ),
                (
                    "procedure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="versions",
                        to="calibration.procedure",
                    ),
                ),
            ],
            options={
                "ordering": ["procedure", "-number"],
            },
        ),
        migrations.CreateModel(
            name="ProcedureStep",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("number", models.PositiveSmallIntegerField(verbose_name="step")),
                ("key", models.CharField(blank=True, max_length=12, verbose_name="key")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("caution", "caution"),
                            ("prepare", "prepare"),
                            ("read", "read"),
                            ("adjust", "adjust"),
                            ("restore", "restore"),
                        ],
                        max_length=8,
                        verbose_name="kind",
                    ),
                ),
                (
                    "stage",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("as it stands", "as it stands"),
                            ("as found", "as found"),
                            ("as left", "as left"),
                        ],
                        max_length=12,
                        verbose_name="stage",
                    ),
                ),
                ("text", models.TextField(verbose_name="text")),
                (
                    "settle_seconds",
                    models.PositiveIntegerField(blank=True, null=True, verbose_name="settle, s"),
                ),
                ("asks", models.JSONField(blank=True, default=list, verbose_name="asks for")),
                (
                    "stop",
                    models.CharField(
                        blank=True, max_length=300, verbose_name="stop and call for help"
                    ),
                ),
                (
                    "version",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="steps",
                        to="calibration.procedureversion",
                    ),
                ),
            ],
            options={
                "ordering": ["version", "number"],
            },
        ),
        migrations.AddField(
            model_name="calibration",
            name="procedure_version",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="records",
                to="calibration.procedureversion",
            ),
        ),
        migrations.CreateModel(
            name="Proposal",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("made_at", models.DateTimeField(verbose_name="made")),
                (
                    "method",
                    models.CharField(
                        choices=[
                            ("fixed", "as set by hand"),
                            ("staircase", "staircase"),
                            ("drift", "drift and its uncertainty"),
                            ("reliability", "reliability of the family"),
                        ],
                        max_length=12,
                        verbose_name="interval by",
                    ),
                ),
                ("months_now", models.PositiveSmallIntegerField(verbose_name="now, months")),
                ("months", models.PositiveSmallIntegerField(verbose_name="proposed, months")),
                ("in_tolerance_now", models.FloatField(blank=True, null=True)),
                ("in_tolerance", models.FloatField(blank=True, null=True)),
                ("reasons", models.JSONField(default=list)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("open", "open"),
                            ("agreed", "agreed, waits for an approver"),
                            ("accepted", "accepted"),
                            ("declined", "declined"),
                            ("replaced", "replaced by later figures"),
                        ],
                        default="open",
                        max_length=8,
                        verbose_name="state",
                    ),
                ),
                ("agreed_at", models.DateTimeField(blank=True, null=True, verbose_name="agreed")),
                ("decided_at", models.DateTimeField(blank=True, null=True, verbose_name="decided")),
                ("why", models.TextField(blank=True, verbose_name="why")),
                (
                    "agreed_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "decided_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "point",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="proposals",
                        to="plant.measuringpoint",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="proposals",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "ordering": ["-made_at", "-id"],
            },
        ),
        migrations.CreateModel(
            name="Reading",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "stage",
                    models.CharField(
                        choices=[
                            ("as it stands", "as it stands"),
                            ("as found", "as found"),
                            ("as left", "as left"),
                        ],
                        max_length=12,
                        verbose_name="stage",
                    ),
                ),
                ("run", models.PositiveSmallIntegerField(default=1, verbose_name="run")),
                ("sequence", models.PositiveSmallIntegerField(verbose_name="reading")),
                ("rising", models.BooleanField(default=True, verbose_name="rising")),
                (
                    "applied",
                    models.DecimalField(decimal_places=5, max_digits=14, verbose_name="applied"),
                ),
                (
                    "expected",
                    models.DecimalField(decimal_places=5, max_digits=10, verbose_name="expected"),
                ),
                (
                    "observed",
                    models.DecimalField(
                        blank=True,
                        decimal_places=5,
                        max_digits=10,
                        null=True,
                        verbose_name="observed",
                    ),
                ),
                (
                    "observed_indication",
                    models.DecimalField(
                        blank=True,
                        decimal_places=5,
                        max_digits=14,
                        null=True,
                        verbose_name="observed indication",
                    ),
                ),
                ("error_percent", models.FloatField(verbose_name="error, % of span")),
                (
                    "expanded_percent",
                    models.FloatField(blank=True, null=True, verbose_name="U, % of span"),
                ),
                (
                    "band",
                    models.CharField(default="measuring", max_length=14, verbose_name="NE 43"),
                ),
                ("verdict", models.CharField(max_length=12, verbose_name="verdict")),
                (
                    "origin",
                    models.CharField(
                        choices=[("read", "read"), ("computed", "computed")],
                        default="read",
                        max_length=8,
                    ),
                ),
                ("read_at", models.DateTimeField(blank=True, null=True, verbose_name="read")),
                (
                    "record",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="readings",
                        to="calibration.calibration",
                    ),
                ),
            ],
            options={
                "ordering": ["record", "stage", "run", "sequence"],
            },
        ),
        migrations.CreateModel(
            name="ReferenceStandard",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "name",
                    models.CharField(
                        help_text="As marked on it, for example MM-04.",
                        max_length=40,
                        verbose_name="identity",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("multimeter", "multimeter"),
                            ("loop calibrator", "loop calibrator"),
                            ("capacitance decade box", "capacitance decade box"),
                            ("dip tape", "dip tape"),
                            ("pressure calibrator", "pressure calibrator"),
                            ("thermometer", "thermometer"),
                            ("hydrometer", "hydrometer"),
                            ("laser or steel tape", "laser or steel tape"),
                            ("weights", "weights"),
                            ("resistor", "resistor"),
                            ("bond or insulation tester", "bond or insulation tester"),
                            ("other", "other"),
                        ],
                        max_length=28,
                        verbose_name="kind",
                    ),
                ),
                ("maker", models.CharField(blank=True, max_length=80, verbose_name="maker")),
                ("model", models.CharField(blank=True, max_length=80, verbose_name="model")),
                (
                    "serial",
                    models.CharField(blank=True, max_length=60, verbose_name="serial number"),
                ),
                (
                    "interval_months",
                    models.PositiveSmallIntegerField(
                        default=12, verbose_name="recalibration interval, months"
                    ),
                ),
                ("note", models.TextField(blank=True, verbose_name="note")),
                (
                    "withdrawn_on",
                    models.DateField(blank=True, null=True, verbose_name="withdrawn on"),
                ),
                (
                    "withdrawn_why",
                    models.CharField(blank=True, max_length=200, verbose_name="why withdrawn"),
                ),
                (
                    "holder",
                    models.ForeignKey(
                        blank=True,
                        help_text="Empty: shared by the site.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="kit",
                        to=settings.AUTH_USER_MODEL,
                        verbose_name="in the kit of",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="standards",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "verbose_name": "reference standard",
                "ordering": ["name"],
            },
        ),
        migrations.CreateModel(
            name="Reminder",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("due_on", models.DateField(verbose_name="due date")),
                (
                    "rung",
                    models.SmallIntegerField(
                        help_text="−30, −7, 0, then 7, 14, …",
                        verbose_name="days after the due date",
                    ),
                ),
                (
                    "digest",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="lines",
                        to="calibration.digest",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="reminders",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "point",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="reminders",
                        to="plant.measuringpoint",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "ordering": ["due_on", "id"],
            },
        ),
        migrations.CreateModel(
            name="ReminderScan",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("day", models.DateField(verbose_name="day")),
                ("at", models.DateTimeField(verbose_name="written")),
                ("lines", models.PositiveIntegerField(default=0, verbose_name="lines")),
                ("held", models.BooleanField(default=False, verbose_name="held")),
                (
                    "released_at",
                    models.DateTimeField(blank=True, null=True, verbose_name="released"),
                ),
                (
                    "released_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="reminder_scans",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "ordering": ["-day", "site"],
            },
        ),
        migrations.CreateModel(
            name="Round",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=80, verbose_name="name")),
                ("starts_on", models.DateField(verbose_name="first day")),
                ("ends_on", models.DateField(verbose_name="last day")),
                ("planned_at", models.DateTimeField()),
                ("note", models.TextField(blank=True, verbose_name="note")),
                (
                    "planned_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="rounds",
                        to="plant.site",
                    ),
                ),
                (
                    "technician",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="rounds",
                        to=settings.AUTH_USER_MODEL,
                        verbose_name="technician",
                    ),
                ),
            ],
            options={
                "ordering": ["-starts_on", "-id"],
            },
        ),
        migrations.AddField(
            model_name="job",
            name="round",
            field=models.ForeignKey(
                blank=True,
                db_constraint=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="stops",
                to="calibration.round",
            ),
        ),
        migrations.CreateModel(
            name="SiteWording",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("step_key", models.CharField(max_length=12, verbose_name="step")),
                (
                    "devices",
                    models.CharField(
                        blank=True,
                        help_text="Maker or model as in the register; empty for all.",
                        max_length=160,
                        verbose_name="devices",
                    ),
                ),
                ("text", models.TextField(verbose_name="wording")),
                (
                    "procedure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="wordings",
                        to="calibration.procedure",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="wordings",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "ordering": ["site", "procedure", "step_key", "devices"],
            },
        ),
        migrations.CreateModel(
            name="StandardCertificate",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("number", models.CharField(max_length=60, verbose_name="certificate number")),
                ("laboratory", models.CharField(max_length=120, verbose_name="laboratory")),
                (
                    "accreditation",
                    models.CharField(blank=True, max_length=60, verbose_name="accreditation"),
                ),
                ("issued_on", models.DateField(verbose_name="issued on")),
                ("valid_until", models.DateField(verbose_name="valid until")),
                ("unit", models.CharField(default="mA", max_length=10, verbose_name="unit")),
                (
                    "range_low",
                    models.DecimalField(
                        blank=True,
                        decimal_places=5,
                        max_digits=14,
                        null=True,
                        verbose_name="range from",
                    ),
                ),
                (
                    "range_high",
                    models.DecimalField(
                        blank=True,
                        decimal_places=5,
                        max_digits=14,
                        null=True,
                        verbose_name="range to",
                    ),
                ),
                (
                    "percent_of_reading",
                    models.DecimalField(
                        blank=True,
                        decimal_places=5,
                        max_digits=8,
                        null=True,
                        verbose_name="accuracy, % of reading",
                    ),
                ),
                (
                    "percent_of_range",
                    models.DecimalField(
                        blank=True,
                        decimal_places=5,
                        max_digits=8,
                        null=True,
                        verbose_name="accuracy, % of range",
                    ),
                ),
                (
                    "absolute",
                    models.DecimalField(
                        blank=True,
                        decimal_places=6,
                        max_digits=12,
                        null=True,
                        verbose_name="accuracy, absolute part",
                    ),
                ),
                (
                    "resolution",
                    models.DecimalField(
                        blank=True,
                        decimal_places=6,
                        max_digits=12,
                        null=True,
                        verbose_name="resolution",
                    ),
                ),
                (
                    "expanded_uncertainty",
                    models.DecimalField(
                        blank=True,
                        decimal_places=6,
                        max_digits=12,
                        null=True,
                        verbose_name="expanded uncertainty U",
                    ),
                ),
                (
                    "coverage_factor",
                    models.DecimalField(
                        blank=True,
                        decimal_places=3,
                        max_digits=5,
                        null=True,
                        verbose_name="coverage factor k",
                    ),
                ),
                ("stored_as", models.CharField(blank=True, max_length=200)),
                ("file_name", models.CharField(blank=True, max_length=200, verbose_name="file")),
                ("file_sha256", models.CharField(blank=True, max_length=64)),
                (
                    "withdrawn_on",
                    models.DateField(blank=True, null=True, verbose_name="withdrawn on"),
                ),
                (
                    "withdrawn_why",
                    models.CharField(blank=True, max_length=200, verbose_name="why withdrawn"),
                ),
                (
                    "standard",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="certificates",
                        to="calibration.referencestandard",
                    ),
                ),
            ],
            options={
                "verbose_name": "certificate",
                "ordering": ["-valid_until"],
            },
        ),
        migrations.CreateModel(
            name="StandardUse",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "certificate",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="uses",
                        to="calibration.standardcertificate",
                    ),
                ),
                (
                    "record",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="standards_used",
                        to="calibration.calibration",
                    ),
                ),
                (
                    "standard",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="uses",
                        to="calibration.referencestandard",
                    ),
                ),
            ],
            options={
                "ordering": ["record", "standard"],
            },
        ),
        migrations.CreateModel(
            name="JumpQuestion",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("end", models.CharField(max_length=4, verbose_name="end of the range")),
                ("size_percent", models.FloatField(verbose_name="differs by, % of span")),
                ("chance", models.FloatField(verbose_name="chance of it without a cause")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("step", "jump"),
                            ("bad reading", "single bad reading"),
                            ("either", "jump or single bad reading"),
                        ],
                        max_length=12,
                        verbose_name="looks like",
                    ),
                ),
                ("raised_at", models.DateTimeField(verbose_name="raised")),
                (
                    "cause",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("repair", "repair or replaced part"),
                            ("product change", "change of product or its temperature"),
                            ("mounting", "work on nozzle, roof or mounting"),
                            ("bad reading", "bad reading of that day"),
                            ("surge", "lightning or surge"),
                            ("unknown", "looked for, none found"),
                            ("drift", "nothing happened: it drifts like this"),
                        ],
                        max_length=16,
                        verbose_name="cause",
                    ),
                ),
                ("answer", models.TextField(blank=True, verbose_name="what was found")),
                (
                    "answered_at",
                    models.DateTimeField(blank=True, null=True, verbose_name="answered"),
                ),
                (
                    "answered_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "point",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jumps",
                        to="plant.measuringpoint",
                    ),
                ),
                (
                    "record",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jumps",
                        to="calibration.calibration",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jumps",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "db_table": "calibration_stepquestion",
                "verbose_name": "step",
                "ordering": ["-raised_at", "-id"],
            },
        ),
        migrations.CreateModel(
            name="StepTaken",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("number", models.PositiveSmallIntegerField(verbose_name="step")),
                ("key", models.CharField(blank=True, max_length=12)),
                ("kind", models.CharField(max_length=8, verbose_name="kind")),
                ("text", models.TextField(verbose_name="text")),
                ("done_at", models.DateTimeField(blank=True, null=True, verbose_name="done")),
                ("by_name", models.CharField(max_length=120, verbose_name="by")),
                ("answers", models.JSONField(blank=True, default=list, verbose_name="answers")),
                ("note", models.TextField(blank=True, verbose_name="note")),
                (
                    "skipped_why",
                    models.CharField(blank=True, max_length=300, verbose_name="why left out"),
                ),
                (
                    "record",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="steps_taken",
                        to="calibration.calibration",
                    ),
                ),
            ],
            options={
                "ordering": ["record", "number"],
            },
        ),
        migrations.CreateModel(
            name="Trend",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("results", models.PositiveSmallIntegerField()),
                ("zero_rate", models.FloatField(blank=True, null=True)),
                ("zero_rate_low", models.FloatField(blank=True, null=True)),
                ("zero_rate_high", models.FloatField(blank=True, null=True)),
                ("span_rate", models.FloatField(blank=True, null=True)),
                ("span_rate_low", models.FloatField(blank=True, null=True)),
                ("span_rate_high", models.FloatField(blank=True, null=True)),
                ("own_weight", models.FloatField(blank=True, null=True)),
                ("crossing_on", models.DateField(blank=True, null=True)),
                ("crossing_of", models.CharField(blank=True, max_length=4)),
                ("in_tolerance", models.FloatField(blank=True, null=True)),
                ("fitted_at", models.DateTimeField(blank=True, null=True)),
                (
                    "family",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="trends",
                        to="calibration.family",
                    ),
                ),
                (
                    "point",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="trend",
                        to="plant.measuringpoint",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="plant.site",
                    ),
                ),
                (
                    "transmitter",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="plant.transmitter",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Adjustment",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("number", models.PositiveSmallIntegerField(verbose_name="number")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("output trim low", "output trim at the low end"),
                            ("output trim high", "output trim at the high end"),
                            ("zero", "zero"),
                            ("span", "span"),
                            ("other", "other"),
                        ],
                        max_length=16,
                        verbose_name="adjusted",
                    ),
                ),
                (
                    "before",
                    models.DecimalField(
                        blank=True,
                        decimal_places=5,
                        max_digits=10,
                        null=True,
                        verbose_name="before",
                    ),
                ),
                (
                    "after",
                    models.DecimalField(
                        blank=True, decimal_places=5, max_digits=10, null=True, verbose_name="after"
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=200, verbose_name="note")),
                ("adjusted_at", models.DateTimeField(blank=True, null=True, verbose_name="when")),
                (
                    "record",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="adjustments",
                        to="calibration.calibration",
                    ),
                ),
            ],
            options={
                "ordering": ["record", "number"],
                "constraints": [
                    models.UniqueConstraint(
                        models.F("record"), models.F("number"), name="one_adjustment_per_number"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Deferral",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("due_on", models.DateField(verbose_name="due date")),
                ("until", models.DateField(verbose_name="defer until")),
                ("reason", models.TextField(verbose_name="reason")),
                ("asked_at", models.DateTimeField(verbose_name="asked")),
                ("granted", models.BooleanField(blank=True, null=True, verbose_name="granted")),
                ("decided_at", models.DateTimeField(blank=True, null=True, verbose_name="decided")),
                ("decision_note", models.TextField(blank=True, verbose_name="note")),
                (
                    "asked_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "decided_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "point",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="deferrals",
                        to="plant.measuringpoint",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="deferrals",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "ordering": ["-asked_at"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("until__gt", models.F("due_on"))),
                        name="deferral_ends_after_the_due_date",
                        violation_error_message="A deferral must end after the due date.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("reason", ""), _negated=True),
                        name="deferral_has_a_reason",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("decided_at", None), ("decided_by", None), ("granted", None)),
                            models.Q(
                                ("decided_at__isnull", False),
                                ("decided_by__isnull", False),
                                ("granted__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="deferral_decision_has_person_and_time_or_neither",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("decided_by", None),
                            models.Q(("decided_by", models.F("asked_by")), _negated=True),
                            _connector="OR",
                        ),
                        name="deferral_is_decided_by_another_person",
                        violation_error_message="Another person than the one who asked must decide.",
                    ),
                    models.UniqueConstraint(
                        models.F("point"),
                        condition=models.Q(("granted", None)),
                        name="one_open_deferral_request_per_point",
                        violation_error_message="A deferral of this point already waits for a decision.",
                    ),
                ],
            },
        ),
        migrations.AddIndex(
            model_name="digest",
            index=models.Index(
                condition=models.Q(("left_out", ""), ("sent_at", None)),
                fields=["made_at"],
                name="digest_waiting",
            ),
        ),
        migrations.AddConstraint(
            model_name="digest",
            constraint=models.CheckConstraint(
                condition=models.Q(("sent_at", None), ("left_out", ""), _connector="OR"),
                name="digest_is_sent_or_left_out",
            ),
        ),
        migrations.AddConstraint(
            model_name="digest",
            constraint=models.UniqueConstraint(
                models.F("person"),
                models.F("site"),
                models.F("day"),
                name="one_digest_per_person_site_and_day",
            ),
        ),
        migrations.AddConstraint(
            model_name="fieldphoto",
            constraint=models.UniqueConstraint(
                models.F("work"), models.F("sha256"), name="a_photo_is_stored_once_per_work"
            ),
        ),
        migrations.AddIndex(
            model_name="finding",
            index=models.Index(
                condition=models.Q(("closed_at", None)),
                fields=["site", "-opened_at"],
                name="finding_open",
            ),
        ),
        migrations.AddIndex(
            model_name="finding",
            index=models.Index(fields=["point", "-opened_at"], name="finding_by_point"),
        ),
        migrations.AddConstraint(
            model_name="finding",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("assessed_at", None), ("assessed_by", None), ("assessment", "")),
                    models.Q(
                        models.Q(("assessment", ""), _negated=True),
                        ("assessed_at__isnull", False),
                        ("assessed_by__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="an_assessment_has_text_person_and_time",
            ),
        ),
        migrations.AddConstraint(
            model_name="finding",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("agreed_by", None), ("closed_at", None)),
                    models.Q(
                        ("agreed_by__isnull", False),
                        ("assessed_at__isnull", False),
                        ("closed_at__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="a_closed_finding_is_assessed_and_agreed",
            ),
        ),
        migrations.AddConstraint(
            model_name="finding",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("agreed_by", None),
                    models.Q(("agreed_by", models.F("assessed_by")), _negated=True),
                    _connector="OR",
                ),
                name="assessment_is_agreed_by_another_person",
                violation_error_message="Another person than the assessor must agree.",
            ),
        ),
        migrations.AddIndex(
            model_name="fieldwork",
            index=models.Index(
                condition=models.Q(("state", "set aside")),
                fields=["site", "signed_at"],
                name="field_work_set_aside",
            ),
        ),
        migrations.AddIndex(
            model_name="fieldwork",
            index=models.Index(fields=["job", "id"], name="field_work_by_job"),
        ),
        migrations.AddConstraint(
            model_name="fieldwork",
            constraint=models.CheckConstraint(
                condition=models.Q(("state__in", ["signed", "stored", "set aside", "settled"])),
                name="field_work_state_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="fieldwork",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("content", ""), ("received_at", None), ("state", "signed")),
                    models.Q(
                        models.Q(("state", "signed"), _negated=True),
                        ("received_at__isnull", False),
                        models.Q(("content", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="field_work_has_content_once_received",
            ),
        ),
        migrations.AddConstraint(
            model_name="fieldwork",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("record__isnull", False), ("state", "stored")),
                    models.Q(models.Q(("state", "stored"), _negated=True), ("record", None)),
                    _connector="OR",
                ),
                name="stored_field_work_has_its_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="fieldwork",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("state__in", ["set aside", "settled"]), _negated=True),
                    models.Q(("troubles", []), _negated=True),
                    _connector="OR",
                ),
                name="field_work_set_aside_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="fieldwork",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("settled_at", None), ("settled_by", None), ("settled_why", "")),
                    models.Q(
                        ("settled_at__isnull", False),
                        ("settled_by__isnull", False),
                        models.Q(("settled_why", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="settled_field_work_has_person_time_and_reason",
            ),
        ),
        migrations.AddConstraint(
            model_name="fieldwork",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("state", "settled"), _negated=True),
                    ("settled_by__isnull", False),
                    _connector="OR",
                ),
                name="field_work_settled_without_record_was_settled_by_somebody",
            ),
        ),
        migrations.AddConstraint(
            model_name="policy",
            constraint=models.UniqueConstraint(
                models.F("site"),
                models.F("duty"),
                condition=models.Q(("point", None)),
                name="one_policy_a_duty_and_site",
            ),
        ),
        migrations.AddConstraint(
            model_name="policy",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("point", None), models.Q(("duty", ""), _negated=True)),
                    models.Q(("duty", ""), ("point__isnull", False)),
                    _connector="OR",
                ),
                name="policy_is_of_a_duty_or_a_point",
            ),
        ),
        migrations.AddConstraint(
            model_name="policy",
            constraint=models.CheckConstraint(
                condition=models.Q(("guard_share__gt", 0), ("guard_share__lte", 2)),
                name="guard_band_from_0_to_2_U",
                violation_error_message="The guard band must be above zero and at most 2 U.",
            ),
        ),
        migrations.AddConstraint(
            model_name="policy",
            constraint=models.CheckConstraint(
                condition=models.Q(("risk_percent__gt", 0), ("risk_percent__lt", 50)),
                name="risk_below_half",
                violation_error_message="The risk must be between 0 and 50 %%.",
            ),
        ),
        migrations.AddConstraint(
            model_name="policy",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("target_percent__gte", 50), ("target_percent__lte", Decimal("99.9"))
                ),
                name="target_from_50_to_99_9",
                violation_error_message="The target must be between 50 and 99.9 %%.",
            ),
        ),
        migrations.AddConstraint(
            model_name="policy",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("longest_months__lte", 120),
                    ("shortest_months__gte", 1),
                    ("shortest_months__lt", models.F("longest_months")),
                ),
                name="shortest_below_longest_interval",
                violation_error_message="The shortest interval must lie below the longest, within 1 to 120 months.",
            ),
        ),
        migrations.AddConstraint(
            model_name="policy",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("least_tur__gte", 1),
                    ("lengthen__gte", 1),
                    ("stair_longer_percent__gt", 0),
                    ("stair_shorter_percent__gt", 0),
                    ("stair_shorter_percent__lt", 100),
                ),
                name="policy_steps_make_sense",
                violation_error_message="Longer at most: 1 × or more. Staircase: longer by more than 0 %%, shorter by more than 0 and less than 100 %%.",
            ),
        ),
        migrations.AddConstraint(
            model_name="procedureversion",
            constraint=models.UniqueConstraint(
                models.F("procedure"), models.F("number"), name="procedure_version_number_unique"
            ),
        ),
        migrations.AddConstraint(
            model_name="procedurestep",
            constraint=models.UniqueConstraint(
                models.F("version"), models.F("number"), name="procedure_step_number_unique"
            ),
        ),
        migrations.AddConstraint(
            model_name="procedurestep",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("kind__in", ["caution", "prepare", "read", "adjust", "restore"])
                ),
                name="step_kind_is_known",
            ),
        ),
        migrations.AddIndex(
            model_name="calibration",
            index=models.Index(fields=["point", "-done_on", "-id"], name="record_by_point"),
        ),
        migrations.AddIndex(
            model_name="calibration",
            index=models.Index(
                fields=["transmitter", "-done_on", "-id"], name="record_by_transmitter"
            ),
        ),
        migrations.AddIndex(
            model_name="calibration",
            index=models.Index(fields=["site", "-done_on", "-id"], name="record_by_site"),
        ),
        migrations.AddIndex(
            model_name="calibration",
            index=models.Index(
                condition=models.Q(("state", "submitted")),
                fields=["site", "submitted_at"],
                name="record_waiting",
            ),
        ),
        migrations.AddConstraint(
            model_name="calibration",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("approved_at__isnull", False),
                        ("state", "approved"),
                        models.Q(("approved_by_name", ""), _negated=True),
                    ),
                    models.Q(
                        models.Q(("state", "approved"), _negated=True),
                        ("approved_at", None),
                        ("approved_by", None),
                        ("approved_by_name", ""),
                    ),
                    _connector="OR",
                ),
                name="approval_has_person_and_time_or_neither",
                violation_error_message="An approval needs both a person and a time.",
            ),
        ),
        migrations.AddConstraint(
            model_name="calibration",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("approved_by", None),
                    ("performed_by", None),
                    models.Q(("approved_by", models.F("performed_by")), _negated=True),
                    _connector="OR",
                ),
                name="nobody_approves_their_own_work",
                violation_error_message="Nobody approves their own work; ask another approver.",
            ),
        ),
        migrations.AddConstraint(
            model_name="calibration",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("returned_at__isnull", False),
                        ("returned_by__isnull", False),
                        ("state", "returned"),
                        models.Q(("return_reason", ""), _negated=True),
                    ),
                    models.Q(
                        models.Q(("state", "returned"), _negated=True),
                        ("return_reason", ""),
                        ("returned_at", None),
                        ("returned_by", None),
                    ),
                    _connector="OR",
                ),
                name="a_return_has_person_time_and_reason",
            ),
        ),
        migrations.AddConstraint(
            model_name="calibration",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("amend_reason", ""), ("amends", None)),
                    models.Q(
                        ("amends__isnull", False), models.Q(("amend_reason", ""), _negated=True)
                    ),
                    _connector="OR",
                ),
                name="an_amendment_has_a_reason",
                violation_error_message="Say why the earlier record is amended.",
            ),
        ),
        migrations.AddConstraint(
            model_name="calibration",
            constraint=models.UniqueConstraint(
                models.F("amends"),
                condition=models.Q(("state__in", ("submitted", "approved"))),
                name="one_amendment_per_record",
                violation_error_message="This record already has an amendment; amend that one.",
            ),
        ),
        migrations.AddConstraint(
            model_name="calibration",
            constraint=models.UniqueConstraint(
                models.F("job"),
                condition=models.Q(("amends", None), ("state__in", ("submitted", "approved"))),
                name="one_record_per_job",
                violation_error_message="This job already has a record.",
            ),
        ),
        migrations.AddConstraint(
            model_name="calibration",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("found_verdict__in", ["pass", "fail", "inconclusive"]),
                    models.Q(
                        ("found_verdict", ""), models.Q(("no_as_found_reason", ""), _negated=True)
                    ),
                    _connector="OR",
                ),
                name="as_found_or_the_reason_why_not",
                violation_error_message="Without as-found readings the record needs the reason why.",
            ),
        ),
        migrations.AddConstraint(
            model_name="calibration",
            constraint=models.CheckConstraint(
                condition=models.Q(("left_verdict__in", ["pass", "fail", "inconclusive"])),
                name="as_left_verdict_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="calibration",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("source", "imported"),
                    models.Q(
                        ("performed_by__isnull", False),
                        ("procedure_version__isnull", False),
                        ("source__in", ["typed", "tablet"]),
                    ),
                    _connector="OR",
                ),
                name="typed_record_has_its_performer_and_procedure",
            ),
        ),
        migrations.AddConstraint(
            model_name="calibration",
            constraint=models.CheckConstraint(
                condition=models.Q(("state__in", ["submitted", "approved", "returned"])),
                name="record_state_is_known",
            ),
        ),
        migrations.AddIndex(
            model_name="proposal",
            index=models.Index(
                condition=models.Q(("state__in", ["open", "agreed"])),
                fields=["site", "-made_at", "-id"],
                name="proposal_waiting",
            ),
        ),
        migrations.AddIndex(
            model_name="proposal",
            index=models.Index(fields=["point", "-made_at"], name="proposal_by_point"),
        ),
        migrations.AddConstraint(
            model_name="proposal",
            constraint=models.UniqueConstraint(
                models.F("point"),
                condition=models.Q(("state__in", ["open", "agreed"])),
                name="one_waiting_proposal_a_point",
            ),
        ),
        migrations.AddConstraint(
            model_name="proposal",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("months", models.F("months_now")), _negated=True),
                    ("months__gte", 1),
                    ("months__lte", 120),
                ),
                name="a_proposal_changes_the_interval",
            ),
        ),
        migrations.AddConstraint(
            model_name="proposal",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("decided_at__isnull", False),
                        ("decided_by__isnull", False),
                        ("state__in", ["accepted", "declined"]),
                    ),
                    models.Q(
                        ("decided_at", None),
                        ("decided_by", None),
                        ("state__in", ["open", "agreed", "replaced"]),
                    ),
                    _connector="OR",
                ),
                name="a_decision_has_person_and_time",
            ),
        ),
        migrations.AddConstraint(
            model_name="proposal",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("state", "declined"), _negated=True),
                    models.Q(("why", ""), _negated=True),
                    _connector="OR",
                ),
                name="a_declined_proposal_has_a_reason",
                violation_error_message="Say why it is declined.",
            ),
        ),
        migrations.AddConstraint(
            model_name="reading",
            constraint=models.UniqueConstraint(
                models.F("record"),
                models.F("stage"),
                models.F("run"),
                models.F("sequence"),
                name="one_reading_per_place_in_the_run",
            ),
        ),
        migrations.AddConstraint(
            model_name="reading",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("observed__isnull", False),
                    ("observed_indication__isnull", False),
                    _connector="OR",
                ),
                name="reading_observed_something",
                violation_error_message="A reading needs the observed output or the observed indication.",
            ),
        ),
        migrations.AddConstraint(
            model_name="reading",
            constraint=models.CheckConstraint(
                condition=models.Q(("stage__in", ["as it stands", "as found", "as left"])),
                name="reading_stage_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="referencestandard",
            constraint=models.UniqueConstraint(
                models.F("site"),
                models.F("name"),
                name="standard_name_unique_in_its_site",
                violation_error_message="This site already has a reference standard of that identity.",
            ),
        ),
        migrations.AddConstraint(
            model_name="referencestandard",
            constraint=models.UniqueConstraint(
                models.F("id"), models.F("site"), name="standard_and_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="referencestandard",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("withdrawn_on", None),
                    models.Q(("withdrawn_why", ""), _negated=True),
                    _connector="OR",
                ),
                name="standard_withdrawal_has_a_reason",
                violation_error_message="Say why the standard is withdrawn.",
            ),
        ),
        migrations.AddConstraint(
            model_name="reminder",
            constraint=models.UniqueConstraint(
                models.F("point"),
                models.F("due_on"),
                models.F("rung"),
                models.F("person"),
                name="a_reminder_is_made_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="reminderscan",
            constraint=models.UniqueConstraint(
                models.F("site"), models.F("day"), name="one_reminder_scan_per_site_and_day"
            ),
        ),
        migrations.AddConstraint(
            model_name="reminderscan",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("released_at", None), ("released_by", None)),
                    models.Q(
                        ("held", True),
                        ("released_at__isnull", False),
                        ("released_by__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="release_has_person_and_time_or_neither",
            ),
        ),
        migrations.AddConstraint(
            model_name="round",
            constraint=models.UniqueConstraint(
                models.F("id"), models.F("site"), name="round_and_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="round",
            constraint=models.CheckConstraint(
                condition=models.Q(("ends_on__gte", models.F("starts_on"))),
                name="round_ends_after_it_starts",
                violation_error_message="The last day cannot be before the first.",
            ),
        ),
        migrations.AddIndex(
            model_name="job",
            index=models.Index(fields=["technician", "state", "due_on"], name="job_by_technician"),
        ),
        migrations.AddIndex(
            model_name="job",
            index=models.Index(fields=["site", "state", "due_on"], name="job_by_site"),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.UniqueConstraint(
                models.F("id"), models.F("site"), name="job_and_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.UniqueConstraint(
                models.F("point"),
                condition=models.Q(("state__in", ("planned", "in hand", "submitted", "returned"))),
                name="one_open_job_per_point",
                violation_error_message="This measuring point already has an open job.",
            ),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.UniqueConstraint(
                models.F("round"), models.F("stop_number"), name="one_job_per_stop_of_a_round"
            ),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("round", None), ("stop_number", None)),
                    models.Q(("round__isnull", False), ("stop_number__isnull", False)),
                    _connector="OR",
                ),
                name="a_stop_has_round_and_number_or_neither",
            ),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "state__in",
                        ["planned", "in hand", "submitted", "returned", "approved", "cancelled"],
                    )
                ),
                name="job_state_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="sitewording",
            constraint=models.UniqueConstraint(
                models.F("site"),
                models.F("procedure"),
                models.F("step_key"),
                models.F("devices"),
                name="one_wording_per_site_step_and_device",
                violation_error_message="This step already has a wording for those devices; change that one.",
            ),
        ),
        migrations.AddConstraint(
            model_name="standardcertificate",
            constraint=models.UniqueConstraint(
                models.F("standard"),
                models.F("number"),
                name="certificate_number_unique_per_standard",
                violation_error_message="This standard already has a certificate of that number.",
            ),
        ),
        migrations.AddConstraint(
            model_name="standardcertificate",
            constraint=models.UniqueConstraint(
                models.F("id"), models.F("standard"), name="certificate_and_standard"
            ),
        ),
        migrations.AddConstraint(
            model_name="standardcertificate",
            constraint=models.CheckConstraint(
                condition=models.Q(("valid_until__gte", models.F("issued_on"))),
                name="certificate_valid_after_issue",
                violation_error_message="A certificate cannot end before it was issued.",
            ),
        ),
        migrations.AddConstraint(
            model_name="standardcertificate",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("coverage_factor", None), ("expanded_uncertainty", None)),
                    models.Q(
                        ("coverage_factor__gt", 0),
                        ("coverage_factor__isnull", False),
                        ("expanded_uncertainty__gt", 0),
                        ("expanded_uncertainty__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="uncertainty_and_k_come_together",
                violation_error_message="Give U and k together, both above zero.",
            ),
        ),
        migrations.AddConstraint(
            model_name="standardcertificate",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("withdrawn_on", None),
                    models.Q(("withdrawn_why", ""), _negated=True),
                    _connector="OR",
                ),
                name="certificate_withdrawal_has_a_reason",
                violation_error_message="Say why the certificate is withdrawn.",
            ),
        ),
        migrations.AddConstraint(
            model_name="standarduse",
            constraint=models.UniqueConstraint(
                models.F("record"),
                models.F("standard"),
                name="a_standard_is_named_once_in_a_record",
            ),
        ),
        migrations.AddIndex(
            model_name="jumpquestion",
            index=models.Index(
                condition=models.Q(("cause", "")), fields=["site", "-raised_at"], name="step_open"
            ),
        ),
        migrations.AddIndex(
            model_name="jumpquestion",
            index=models.Index(fields=["point", "-raised_at"], name="step_by_point"),
        ),
        migrations.AddConstraint(
            model_name="jumpquestion",
            constraint=models.UniqueConstraint(
                models.F("record"), models.F("end"), name="one_step_a_record_and_end"
            ),
        ),
        migrations.AddConstraint(
            model_name="jumpquestion",
            constraint=models.CheckConstraint(
                condition=models.Q(("end__in", ["zero", "span"])), name="step_end_is_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="jumpquestion",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("answered_at", None), ("answered_by", None), ("cause", "")),
                    models.Q(
                        models.Q(("cause", ""), _negated=True),
                        ("answered_at__isnull", False),
                        ("answered_by__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="an_answer_has_cause_person_and_time",
            ),
        ),
        migrations.AddConstraint(
            model_name="steptaken",
            constraint=models.UniqueConstraint(
                models.F("record"), models.F("number"), name="a_step_is_taken_once_in_a_record"
            ),
        ),
        migrations.AddConstraint(
            model_name="steptaken",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("done_at__isnull", False), ("skipped_why", "")),
                    models.Q(("done_at", None), models.Q(("skipped_why", ""), _negated=True)),
                    _connector="OR",
                ),
                name="step_was_done_or_left_out_with_a_reason",
            ),
        ),
        migrations.RunSQL(RULES, DROP_RULES),
    ]
