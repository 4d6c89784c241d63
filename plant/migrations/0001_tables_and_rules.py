"""The tables of plant, then the rules that are the database's own (SQL beside this file)."""

import datetime
from decimal import Decimal
from pathlib import Path

import django.contrib.auth.models
import django.contrib.auth.validators
import django.contrib.postgres.constraints
import django.contrib.postgres.fields.ranges
import django.contrib.postgres.functions
import django.core.serializers.json
import django.db.models.deletion
import django.db.models.expressions
import django.db.models.functions.comparison
import django.utils.timezone
from django.conf import settings
from django.contrib.postgres.operations import BtreeGistExtension
from django.db import migrations, models

RULES = Path(__file__).with_suffix(".sql").read_text(encoding="utf-8")
# Triggers, columns and foreign keys go with their tables.
DROP_RULES = """
    DROP FUNCTION add_to_due_counts CASCADE;
    DROP FUNCTION count_due CASCADE;
    DROP FUNCTION due_share CASCADE;
    DROP FUNCTION keep_row_history CASCADE;
    DROP FUNCTION metres_of CASCADE;
    DROP FUNCTION range_fits CASCADE;
    DROP FUNCTION range_inside_tank CASCADE;
    DROP FUNCTION refuse_change CASCADE;
    DROP TYPE due_share CASCADE;
"""


class Migration(migrations.Migration):
    replaces = [
        ("plant", "0001_initial"),
        ("plant", "0002_walls"),
        ("plant", "0003_product_change"),
        ("plant", "0004_walls"),
        ("plant", "0005_keep_row_history_without_nested_loops"),
    ]

    initial = True

    dependencies = [
        ("auth", "0012_alter_user_first_name_max_length"),
    ]

    operations = [
        BtreeGistExtension(),
        migrations.CreateModel(
            name="Person",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("password", models.CharField(max_length=128, verbose_name="password")),
                (
                    "last_login",
                    models.DateTimeField(blank=True, null=True, verbose_name="last login"),
                ),
                (
                    "is_superuser",
                    models.BooleanField(
                        default=False,
                        help_text="Designates that this user has all permissions without explicitly assigning them.",
                        verbose_name="superuser status",
                    ),
                ),
                (
                    "username",
                    models.CharField(
                        error_messages={"unique": "A user with that username already exists."},
                        help_text="Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.",
                        max_length=150,
                        unique=True,
                        validators=[django.contrib.auth.validators.UnicodeUsernameValidator()],
                        verbose_name="username",
                    ),
                ),
                (
                    "is_staff",
                    models.BooleanField(
                        default=False,
                        help_text="Designates whether the user can log into this admin site.",
                        verbose_name="staff status",
                    ),
                ),
                (
                    "is_active",
                    models.BooleanField(
                        default=True,
                        help_text="Designates whether this user should be treated as active. Unselect this instead of deleting accounts.",
                        verbose_name="active",
                    ),
                ),
                (
                    "date_joined",
                    models.DateTimeField(
                        default=django.utils.timezone.now, verbose_name="date joined"
                    ),
                ),
                ("name", models.CharField(max_length=120, verbose_name="name")),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="e-mail")),
                (
                    "wants_mail",
                    models.BooleanField(default=True, verbose_name="sends reminders by e-mail"),
                ),
                (
                    "groups",
                    models.ManyToManyField(
                        blank=True,
                        help_text="The groups this user belongs to. A user will get all permissions granted to each of their groups.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.group",
                        verbose_name="groups",
                    ),
                ),
                (
                    "user_permissions",
                    models.ManyToManyField(
                        blank=True,
                        help_text="Specific permissions for this user.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.permission",
                        verbose_name="user permissions",
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
            },
            managers=[
                ("objects", django.contrib.auth.models.UserManager()),
            ],
        ),
        migrations.CreateModel(
            name="ImportBatch",
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
                            ("products", "products"),
                            ("tanks", "tanks"),
                            ("register", "measuring points and transmitters"),
                            ("standards", "reference standards and certificates"),
                            ("calibrations", "past calibrations"),
                        ],
                        max_length=12,
                        verbose_name="what",
                    ),
                ),
                ("file_name", models.CharField(max_length=200, verbose_name="file")),
                ("stored_as", models.CharField(max_length=200)),
                ("sha256", models.CharField(max_length=64)),
                ("size", models.BigIntegerField()),
                ("uploaded_at", models.DateTimeField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("waiting", "waiting to be checked"),
                            ("checking", "being checked"),
                            ("checked", "checked, ready to apply"),
                            ("refused", "refused: rows to correct"),
                            ("to apply", "waiting to be applied"),
                            ("applying", "being applied"),
                            ("applied", "applied"),
                            ("withdrawn", "withdrawn"),
                        ],
                        default="waiting",
                        max_length=10,
                    ),
                ),
                (
                    "progress",
                    models.PositiveSmallIntegerField(default=0, verbose_name="progress, %"),
                ),
                ("rows_read", models.IntegerField(default=0)),
                ("rows_new", models.IntegerField(default=0)),
                ("rows_changed", models.IntegerField(default=0)),
                ("rows_same", models.IntegerField(default=0)),
                ("problems_found", models.IntegerField(default=0)),
                ("claimed_until", models.DateTimeField(blank=True, null=True)),
                ("report", models.JSONField(blank=True, default=dict, editable=False)),
                ("why", models.TextField(blank=True, verbose_name="why")),
                ("applied_at", models.DateTimeField(blank=True, null=True)),
                (
                    "applied_by",
                    models.ForeignKey(
                        blank=True,
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "uploaded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "verbose_name": "import",
                "ordering": ["-id"],
            },
        ),
        migrations.CreateModel(
            name="ImportProblem",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("row", models.IntegerField(verbose_name="row")),
                ("column", models.CharField(max_length=80, verbose_name="column")),
                ("value", models.CharField(blank=True, max_length=120, verbose_name="value")),
                ("reason", models.CharField(max_length=300, verbose_name="reason")),
                (
                    "batch",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="problems",
                        to="plant.importbatch",
                    ),
                ),
            ],
            options={
                "ordering": ["row", "id"],
            },
        ),
        migrations.CreateModel(
            name="RowHistory",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("table_name", models.CharField(max_length=63)),
                ("row_id", models.BigIntegerField()),
                ("act", models.CharField(max_length=6)),
                ("before", models.JSONField()),
                (
                    "at",
                    models.DateTimeField(
                        db_default=django.contrib.postgres.functions.TransactionNow()
                    ),
                ),
                (
                    "transaction",
                    models.BigIntegerField(
                        db_default=django.db.models.functions.comparison.Cast(
                            django.db.models.functions.comparison.Cast(
                                models.Func(
                                    function="pg_current_xact_id", output_field=models.TextField()
                                ),
                                models.TextField(),
                            ),
                            models.BigIntegerField(),
                        )
                    ),
                ),
                ("db_role", models.CharField(max_length=63)),
            ],
            options={
                "indexes": [
                    models.Index(fields=["table_name", "row_id", "id"], name="history_by_row"),
                    models.Index(fields=["transaction"], name="history_by_transaction"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Site",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("code", models.SlugField(max_length=12, unique=True, verbose_name="short code")),
                ("name", models.CharField(max_length=80, unique=True, verbose_name="name")),
                ("time_zone", models.CharField(max_length=40, verbose_name="time zone")),
                (
                    "crew_hours",
                    models.DecimalField(
                        decimal_places=1,
                        default=Decimal("40"),
                        max_digits=5,
                        verbose_name="crew hours a week",
                    ),
                ),
                (
                    "digest_at",
                    models.TimeField(
                        default=datetime.time(6, 0), verbose_name="reminders go out at"
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("crew_hours__gte", 0)), name="crew_hours_not_negative"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Product",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=80, verbose_name="product")),
                ("conducts", models.BooleanField(default=False, verbose_name="conducting liquid")),
                (
                    "permittivity",
                    models.DecimalField(
                        blank=True,
                        decimal_places=3,
                        max_digits=7,
                        null=True,
                        verbose_name="relative permittivity",
                    ),
                ),
                (
                    "permittivity_c",
                    models.DecimalField(
                        decimal_places=2, default=Decimal("20"), max_digits=6, verbose_name="at, °C"
                    ),
                ),
                (
                    "permittivity_per_k",
                    models.DecimalField(
                        decimal_places=5,
                        default=Decimal("0"),
                        max_digits=8,
                        verbose_name="its change per kelvin",
                    ),
                ),
                (
                    "density",
                    models.DecimalField(
                        blank=True,
                        decimal_places=2,
                        max_digits=8,
                        null=True,
                        verbose_name="density, kg/m³",
                    ),
                ),
                (
                    "density_c",
                    models.DecimalField(
                        decimal_places=2, default=Decimal("20"), max_digits=6, verbose_name="at, °C"
                    ),
                ),
                (
                    "density_per_k",
                    models.DecimalField(
                        decimal_places=4,
                        default=Decimal("0"),
                        max_digits=8,
                        verbose_name="its change per kelvin",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="products",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
            },
        ),
        migrations.CreateModel(
            name="LedgerEntry",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "at",
                    models.DateTimeField(
                        db_default=django.contrib.postgres.functions.TransactionNow(),
                        verbose_name="when",
                    ),
                ),
                (
                    "transaction",
                    models.BigIntegerField(
                        db_default=django.db.models.functions.comparison.Cast(
                            django.db.models.functions.comparison.Cast(
                                models.Func(
                                    function="pg_current_xact_id", output_field=models.TextField()
                                ),
                                models.TextField(),
                            ),
                            models.BigIntegerField(),
                        )
                    ),
                ),
                ("person_name", models.CharField(max_length=120, verbose_name="who")),
                ("act", models.CharField(max_length=40, verbose_name="act")),
                ("subject_kind", models.CharField(max_length=40, verbose_name="kind")),
                ("subject_id", models.BigIntegerField(blank=True, null=True)),
                ("subject", models.CharField(max_length=200, verbose_name="on")),
                ("why", models.TextField(blank=True, verbose_name="why")),
                (
                    "details",
                    models.JSONField(
                        default=dict, encoder=django.core.serializers.json.DjangoJSONEncoder
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                        verbose_name="who",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "ordering": ["-id"],
            },
        ),
        migrations.AddField(
            model_name="importbatch",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="import_batches",
                to="plant.site",
            ),
        ),
        migrations.CreateModel(
            name="DueCount",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("next_due", models.DateField()),
                ("is_deferred", models.BooleanField()),
                ("points", models.IntegerField()),
                ("hours", models.DecimalField(decimal_places=1, max_digits=12)),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="plant.site",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Area",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=80, verbose_name="name")),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="areas",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
            },
        ),
        migrations.CreateModel(
            name="Appointment",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("planner", "planner"),
                            ("technician", "technician"),
                            ("approver", "approver"),
                            ("auditor", "auditor"),
                            ("administrator", "administrator"),
                        ],
                        max_length=16,
                        verbose_name="role",
                    ),
                ),
                ("starts_on", models.DateField(verbose_name="from")),
                ("ends_on", models.DateField(blank=True, null=True, verbose_name="until")),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="appointments",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="appointments",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "ordering": ["site", "role"],
            },
        ),
        migrations.CreateModel(
            name="Tank",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=40, verbose_name="tank")),
                ("name_key", models.CharField(editable=False, max_length=120)),
                (
                    "shape",
                    models.CharField(
                        choices=[
                            ("vertical", "vertical cylinder"),
                            ("horizontal", "horizontal cylinder"),
                            ("rectangular", "rectangular"),
                            ("sphere", "sphere"),
                            ("strapped", "strapping table only"),
                        ],
                        max_length=12,
                        verbose_name="shape",
                    ),
                ),
                (
                    "unit",
                    models.CharField(
                        choices=[
                            ("mm", "mm"),
                            ("cm", "cm"),
                            ("m", "m"),
                            ("in", "in"),
                            ("ft", "ft"),
                        ],
                        default="m",
                        max_length=2,
                        verbose_name="unit of the dimensions",
                    ),
                ),
                (
                    "diameter",
                    models.DecimalField(
                        blank=True,
                        decimal_places=5,
                        max_digits=12,
                        null=True,
                        verbose_name="diameter",
                    ),
                ),
                (
                    "height",
                    models.DecimalField(
                        blank=True,
                        decimal_places=5,
                        max_digits=12,
                        null=True,
                        verbose_name="straight height or length",
                    ),
                ),
                (
                    "length",
                    models.DecimalField(
                        blank=True,
                        decimal_places=5,
                        max_digits=12,
                        null=True,
                        verbose_name="length",
                    ),
                ),
                (
                    "width",
                    models.DecimalField(
                        blank=True, decimal_places=5, max_digits=12, null=True, verbose_name="width"
                    ),
                ),
                (
                    "bottom",
                    models.CharField(
                        choices=[
                            ("flat", "flat"),
                            ("cone", "cone"),
                            ("dished", "dished (torispherical)"),
                            ("ellipsoidal", "ellipsoidal"),
                            ("hemispherical", "hemispherical"),
                            ("open", "open"),
                        ],
                        default="flat",
                        max_length=14,
                        verbose_name="bottom, or ends",
                    ),
                ),
                (
                    "bottom_depth",
                    models.DecimalField(
                        blank=True,
                        decimal_places=5,
                        max_digits=12,
                        null=True,
                        verbose_name="depth of bottom or of each end",
                    ),
                ),
                (
                    "roof",
                    models.CharField(
                        choices=[
                            ("flat", "flat"),
                            ("cone", "cone"),
                            ("dished", "dished (torispherical)"),
                            ("ellipsoidal", "ellipsoidal"),
                            ("hemispherical", "hemispherical"),
                            ("open", "open"),
                        ],
                        default="flat",
                        max_length=14,
                        verbose_name="roof",
                    ),
                ),
                (
                    "roof_depth",
                    models.DecimalField(
                        blank=True,
                        decimal_places=5,
                        max_digits=12,
                        null=True,
                        verbose_name="height of the roof",
                    ),
                ),
                (
                    "datum",
                    models.DecimalField(
                        decimal_places=5,
                        default=Decimal("0"),
                        max_digits=12,
                        verbose_name="datum plate above the lowest point",
                    ),
                ),
                (
                    "lowest_level",
                    models.DecimalField(
                        blank=True,
                        decimal_places=5,
                        max_digits=12,
                        null=True,
                        verbose_name="lowest working level",
                    ),
                ),
                (
                    "highest_level",
                    models.DecimalField(
                        blank=True,
                        decimal_places=5,
                        max_digits=12,
                        null=True,
                        verbose_name="highest working level",
                    ),
                ),
                (
                    "wall_conducts",
                    models.BooleanField(default=True, verbose_name="the wall conducts"),
                ),
                (
                    "product_c",
                    models.DecimalField(
                        blank=True,
                        decimal_places=2,
                        max_digits=6,
                        null=True,
                        verbose_name="product temperature, °C",
                    ),
                ),
                ("inside_height_m", models.FloatField(editable=False)),
                ("capacity_m3", models.FloatField(editable=False)),
                (
                    "area",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tanks",
                        to="plant.area",
                        verbose_name="area",
                    ),
                ),
                (
                    "product",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tanks",
                        to="plant.product",
                        verbose_name="product",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tanks",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "ordering": ["name_key"],
            },
        ),
        migrations.CreateModel(
            name="StrappingRow",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "height",
                    models.DecimalField(decimal_places=5, max_digits=12, verbose_name="height"),
                ),
                (
                    "volume_m3",
                    models.DecimalField(decimal_places=5, max_digits=14, verbose_name="volume, m³"),
                ),
                (
                    "tank",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="strapping",
                        to="plant.tank",
                    ),
                ),
            ],
            options={
                "ordering": ["tank", "height"],
            },
        ),
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
            },
        ),
        migrations.CreateModel(
            name="MeasuringPoint",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("tag", models.CharField(max_length=40, verbose_name="tag")),
                ("tag_key", models.CharField(editable=False, max_length=120)),
                (
                    "quantity",
                    models.CharField(
                        choices=[("level", "level"), ("volume", "volume")],
                        default="level",
                        max_length=6,
                        verbose_name="indicates",
                    ),
                ),
                (
                    "unit",
                    models.CharField(
                        choices=[
                            ("mm", "mm"),
                            ("cm", "cm"),
                            ("m", "m"),
                            ("in", "in"),
                            ("ft", "ft"),
                            ("m3", "m³"),
                            ("L", "L"),
                        ],
                        default="m",
                        max_length=2,
                        verbose_name="unit of the range",
                    ),
                ),
                (
                    "lower",
                    models.DecimalField(
                        decimal_places=5, max_digits=14, verbose_name="lower range value (LRV)"
                    ),
                ),
                (
                    "upper",
                    models.DecimalField(
                        decimal_places=5, max_digits=14, verbose_name="upper range value (URV)"
                    ),
                ),
                (
                    "signal",
                    models.CharField(
                        choices=[
                            ("4-20mA", "4–20 mA"),
                            ("0-20mA", "0–20 mA"),
                            ("1-5V", "1–5 V"),
                            ("0-10V", "0–10 V"),
                        ],
                        default="4-20mA",
                        max_length=6,
                        verbose_name="output signal",
                    ),
                ),
                (
                    "tolerance",
                    models.DecimalField(
                        decimal_places=4, max_digits=10, verbose_name="tolerance, ±"
                    ),
                ),
                (
                    "tolerance_unit",
                    models.CharField(
                        choices=[("%", "% of span"), ("mm", "mm"), ("mA", "mA")],
                        default="%",
                        max_length=2,
                        verbose_name="tolerance is in",
                    ),
                ),
                (
                    "adjust_limit",
                    models.DecimalField(
                        decimal_places=4,
                        help_text="In the unit of the tolerance.",
                        max_digits=10,
                        verbose_name="adjust beyond, ±",
                    ),
                ),
                (
                    "duty",
                    models.CharField(
                        choices=[
                            ("safety", "safety"),
                            ("custody", "custody"),
                            ("quality", "quality"),
                            ("environment", "environment"),
                            ("general", "general"),
                        ],
                        default="general",
                        max_length=12,
                        verbose_name="duty",
                    ),
                ),
                (
                    "procedure_key",
                    models.CharField(blank=True, max_length=40, verbose_name="procedure"),
                ),
                (
                    "interval_months",
                    models.PositiveSmallIntegerField(
                        default=12, verbose_name="recalibration interval, months"
                    ),
                ),
                (
                    "grace_days",
                    models.PositiveSmallIntegerField(
                        default=0,
                        help_text="Done within this many days of its due date, the cycle keeps its anchor.",
                        verbose_name="grace, days",
                    ),
                ),
                (
                    "job_hours",
                    models.DecimalField(
                        decimal_places=1,
                        default=Decimal("1.5"),
                        max_digits=4,
                        verbose_name="hours a job takes",
                    ),
                ),
                ("note", models.TextField(blank=True, verbose_name="note")),
                (
                    "out_of_service_on",
                    models.DateField(blank=True, null=True, verbose_name="out of service since"),
                ),
                (
                    "out_of_service_why",
                    models.CharField(blank=True, max_length=200, verbose_name="why out of service"),
                ),
                ("due_on", models.DateField(verbose_name="due date")),
                (
                    "anchor_on",
                    models.DateField(blank=True, null=True, verbose_name="the cycle counts from"),
                ),
                ("anchor_months", models.PositiveSmallIntegerField(blank=True, null=True)),
                (
                    "deferred_until",
                    models.DateField(blank=True, null=True, verbose_name="deferred until"),
                ),
                (
                    "next_due",
                    models.GeneratedField(
                        db_persist=True,
                        expression=django.db.models.functions.comparison.Coalesce(
                            "deferred_until", "due_on"
                        ),
                        output_field=models.DateField(),
                    ),
                ),
                (
                    "lower_base",
                    models.GeneratedField(
                        db_persist=True,
                        expression=models.Case(
                            models.When(
                                then=django.db.models.expressions.CombinedExpression(
                                    models.F("lower"), "*", models.Value(Decimal("0.001"))
                                ),
                                unit="mm",
                            ),
                            models.When(
                                then=django.db.models.expressions.CombinedExpression(
                                    models.F("lower"), "*", models.Value(Decimal("0.01"))
                                ),
                                unit="cm",
                            ),
                            models.When(
                                then=django.db.models.expressions.CombinedExpression(
                                    models.F("lower"), "*", models.Value(Decimal("1.0"))
                                ),
                                unit="m",
                            ),
                            models.When(
                                then=django.db.models.expressions.CombinedExpression(
                                    models.F("lower"), "*", models.Value(Decimal("0.0254"))
                                ),
                                unit="in",
                            ),
                            models.When(
                                then=django.db.models.expressions.CombinedExpression(
                                    models.F("lower"), "*", models.Value(Decimal("0.3048"))
                                ),
                                unit="ft",
                            ),
                            models.When(
                                then=django.db.models.expressions.CombinedExpression(
                                    models.F("lower"), "*", models.Value(Decimal("1.0"))
                                ),
                                unit="m3",
                            ),
                            models.When(
                                then=django.db.models.expressions.CombinedExpression(
                                    models.F("lower"), "*", models.Value(Decimal("0.001"))
                                ),
                                unit="L",
                            ),
                            output_field=models.FloatField(),
                        ),
                        output_field=models.FloatField(),
                    ),
                ),
                (
                    "upper_base",
                    models.GeneratedField(
                        db_persist=True,
                        expression=models.Case(
                            models.When(
                                then=django.db.models.expressions.CombinedExpression(
                                    models.F("upper"), "*", models.Value(Decimal("0.001"))
                                ),
                                unit="mm",
                            ),
                            models.When(
                                then=django.db.models.expressions.CombinedExpression(
                                    models.F("upper"), "*", models.Value(Decimal("0.01"))
                                ),
                                unit="cm",
                            ),
                            models.When(
                                then=django.db.models.expressions.CombinedExpression(
                                    models.F("upper"), "*", models.Value(Decimal("1.0"))
                                ),
                                unit="m",
                            ),
                            models.When(
                                then=django.db.models.expressions.CombinedExpression(
                                    models.F("upper"), "*", models.Value(Decimal("0.0254"))
                                ),
                                unit="in",
                            ),
                            models.When(
                                then=django.db.models.expressions.CombinedExpression(
                                    models.F("upper"), "*", models.Value(Decimal("0.3048"))
                                ),
                                unit="ft",
                            ),
                            models.When(
                                then=django.db.models.expressions.CombinedExpression(
                                    models.F("upper"), "*", models.Value(Decimal("1.0"))
                                ),
                                unit="m3",
                            ),
                            models.When(
                                then=django.db.models.expressions.CombinedExpression(
                                    models.F("upper"), "*", models.Value(Decimal("0.001"))
                                ),
                                unit="L",
                            ),
                            output_field=models.FloatField(),
                        ),
                        output_field=models.FloatField(),
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="points",
                        to="plant.site",
                    ),
                ),
                (
                    "tank",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="points",
                        to="plant.tank",
                        verbose_name="tank",
                    ),
                ),
            ],
            options={
                "ordering": ["tag_key"],
            },
        ),
        migrations.CreateModel(
            name="Transmitter",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("serial", models.CharField(max_length=60, verbose_name="serial number")),
                ("maker", models.CharField(blank=True, max_length=80, verbose_name="maker")),
                ("model", models.CharField(blank=True, max_length=80, verbose_name="model")),
                (
                    "principle",
                    models.CharField(
                        choices=[
                            ("capacitance rod", "capacitance rod"),
                            ("capacitance rope", "capacitance rope"),
                            ("hydrostatic", "hydrostatic"),
                            ("differential pressure", "differential pressure"),
                            ("radar", "radar"),
                            ("guided wave", "guided wave"),
                            ("ultrasonic", "ultrasonic"),
                            ("displacer", "displacer"),
                            ("magnetostrictive", "magnetostrictive"),
                            ("float", "float"),
                        ],
                        max_length=24,
                        verbose_name="principle",
                    ),
                ),
                (
                    "wiring",
                    models.CharField(
                        choices=[("2-wire", "2-wire"), ("3-wire", "3-wire"), ("4-wire", "4-wire")],
                        default="2-wire",
                        max_length=6,
                        verbose_name="wiring",
                    ),
                ),
                (
                    "status",
                    models.CharField(
                        choices=[
                            ("in service", "in service"),
                            ("spare", "spare"),
                            ("in repair", "in repair"),
                            ("scrapped", "scrapped"),
                        ],
                        default="spare",
                        max_length=12,
                        verbose_name="status",
                    ),
                ),
                (
                    "probe_length_mm",
                    models.DecimalField(
                        blank=True,
                        decimal_places=2,
                        max_digits=9,
                        null=True,
                        verbose_name="probe length, mm",
                    ),
                ),
                (
                    "probe_diameter_mm",
                    models.DecimalField(
                        blank=True,
                        decimal_places=3,
                        max_digits=8,
                        null=True,
                        verbose_name="rod or rope diameter, mm",
                    ),
                ),
                (
                    "insulation_mm",
                    models.DecimalField(
                        blank=True,
                        decimal_places=3,
                        max_digits=7,
                        null=True,
                        verbose_name="insulation thickness, mm",
                    ),
                ),
                (
                    "insulation_permittivity",
                    models.DecimalField(
                        blank=True,
                        decimal_places=3,
                        max_digits=6,
                        null=True,
                        verbose_name="insulation permittivity",
                    ),
                ),
                ("note", models.TextField(blank=True, verbose_name="note")),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="transmitters",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "ordering": ["serial"],
            },
        ),
        migrations.CreateModel(
            name="Installation",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("installed_on", models.DateField(verbose_name="installed on")),
                ("removed_on", models.DateField(blank=True, null=True, verbose_name="removed on")),
                ("note", models.CharField(blank=True, max_length=200, verbose_name="note")),
                (
                    "point",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="installations",
                        to="plant.measuringpoint",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="installations",
                        to="plant.site",
                    ),
                ),
                (
                    "transmitter",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="installations",
                        to="plant.transmitter",
                    ),
                ),
            ],
            options={
                "ordering": ["-installed_on"],
            },
        ),
        migrations.AddConstraint(
            model_name="product",
            constraint=models.UniqueConstraint(
                models.F("site"),
                models.F("name"),
                name="product_name_unique_in_its_site",
                violation_error_message="This site already has a product of that name.",
            ),
        ),
        migrations.AddConstraint(
            model_name="product",
            constraint=models.UniqueConstraint(
                models.F("id"), models.F("site"), name="product_and_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="product",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("permittivity", None), ("permittivity__gte", 1), _connector="OR"
                ),
                name="permittivity_at_least_one",
                violation_error_message="A relative permittivity is never below 1.",
            ),
        ),
        migrations.AddConstraint(
            model_name="product",
            constraint=models.CheckConstraint(
                condition=models.Q(("density", None), ("density__gt", 0), _connector="OR"),
                name="density_above_zero",
                violation_error_message="A density must be above zero.",
            ),
        ),
        migrations.AddIndex(
            model_name="ledgerentry",
            index=models.Index(fields=["site", "-id"], name="ledger_by_site"),
        ),
        migrations.AddIndex(
            model_name="ledgerentry",
            index=models.Index(
                fields=["subject_kind", "subject_id", "-id"], name="ledger_by_subject"
            ),
        ),
        migrations.AddIndex(
            model_name="ledgerentry",
            index=models.Index(fields=["transaction"], name="ledger_by_transaction"),
        ),
        migrations.AddConstraint(
            model_name="importbatch",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("state__in", ["checked", "to apply", "applying", "applied"]), _negated=True
                    ),
                    ("problems_found", 0),
                    _connector="OR",
                ),
                name="nothing_with_problems_is_applied",
            ),
        ),
        migrations.AddConstraint(
            model_name="importbatch",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("applied_at__isnull", False), ("state", "applied")),
                    models.Q(models.Q(("state", "applied"), _negated=True), ("applied_at", None)),
                    _connector="OR",
                ),
                name="applied_import_has_its_time",
            ),
        ),
        migrations.AddConstraint(
            model_name="duecount",
            constraint=models.UniqueConstraint(
                models.F("site"),
                models.F("next_due"),
                models.F("is_deferred"),
                name="one_due_count_a_day",
            ),
        ),
        migrations.AddConstraint(
            model_name="area",
            constraint=models.UniqueConstraint(
                models.F("site"),
                models.F("name"),
                name="area_name_unique_in_its_site",
                violation_error_message="This site already has an area of that name.",
            ),
        ),
        migrations.AddConstraint(
            model_name="area",
            constraint=models.UniqueConstraint(
                models.F("id"), models.F("site"), name="area_and_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="appointment",
            constraint=models.UniqueConstraint(
                models.F("person"),
                models.F("site"),
                models.F("role"),
                name="one_appointment_per_person_site_and_role",
                violation_error_message="This person already has that role at that site.",
            ),
        ),
        migrations.AddConstraint(
            model_name="appointment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("ends_on", None), ("ends_on__gte", models.F("starts_on")), _connector="OR"
                ),
                name="appointment_ends_after_it_starts",
                violation_error_message="An appointment cannot end before it starts.",
            ),
        ),
        migrations.AddConstraint(
            model_name="appointment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("role__in", ["planner", "technician", "approver", "auditor", "administrator"])
                ),
                name="appointment_role_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="tank",
            constraint=models.UniqueConstraint(
                models.F("site"),
                models.F("name"),
                name="tank_name_unique_in_its_site",
                violation_error_message="This site already has a tank of that name.",
            ),
        ),
        migrations.AddConstraint(
            model_name="tank",
            constraint=models.UniqueConstraint(
                models.F("id"), models.F("site"), name="tank_and_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="tank",
            constraint=models.CheckConstraint(
                condition=models.Q(("capacity_m3__gt", 0), ("inside_height_m__gt", 0)),
                name="tank_has_height_and_capacity",
                violation_error_message="The dimensions give no volume; check diameter and height.",
            ),
        ),
        migrations.AddConstraint(
            model_name="tank",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("lowest_level", None),
                    ("highest_level", None),
                    ("lowest_level__lt", models.F("highest_level")),
                    _connector="OR",
                ),
                name="working_levels_in_order",
                violation_error_message="The lowest working level must be below the highest.",
            ),
        ),
        migrations.AddConstraint(
            model_name="tank",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("shape__in", ["vertical", "horizontal", "rectangular", "sphere", "strapped"])
                ),
                name="tank_shape_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="strappingrow",
            constraint=models.UniqueConstraint(
                models.F("tank"), models.F("height"), name="one_strapping_volume_per_height"
            ),
        ),
        migrations.AddConstraint(
            model_name="strappingrow",
            constraint=models.CheckConstraint(
                condition=models.Q(("height__gte", 0), ("volume_m3__gte", 0)),
                name="strapping_row_not_negative",
            ),
        ),
        migrations.AddIndex(
            model_name="productchange",
            index=models.Index(fields=["tank", "-on", "-id"], name="product_change_by_tank"),
        ),
        migrations.AddIndex(
            model_name="productchange",
            index=models.Index(
                condition=models.Q(("demanded_at", None)),
                fields=["id"],
                name="product_change_to_look_into",
            ),
        ),
        migrations.AddConstraint(
            model_name="productchange",
            constraint=models.UniqueConstraint(
                models.F("id"), models.F("site"), name="product_change_and_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="productchange",
            constraint=models.CheckConstraint(
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
        ),
        migrations.AddIndex(
            model_name="measuringpoint",
            index=models.Index(fields=["site", "next_due", "id"], name="point_by_due"),
        ),
        migrations.AddIndex(
            model_name="measuringpoint",
            index=models.Index(fields=["site", "tag_key", "id"], name="point_by_tag"),
        ),
        migrations.AddIndex(
            model_name="measuringpoint",
            index=models.Index(fields=["next_due", "id"], name="point_by_due_of_all"),
        ),
        migrations.AddIndex(
            model_name="measuringpoint",
            index=models.Index(
                condition=models.Q(("deferred_until__isnull", False)),
                fields=["site", "next_due", "id"],
                name="point_deferred",
            ),
        ),
        migrations.AddIndex(
            model_name="measuringpoint",
            index=models.Index(
                condition=models.Q(("out_of_service_on__isnull", False)),
                fields=["site", "next_due", "id"],
                name="point_out_of_service",
            ),
        ),
        migrations.AddConstraint(
            model_name="measuringpoint",
            constraint=models.UniqueConstraint(
                models.F("site"),
                models.F("tag"),
                name="tag_unique_in_its_site",
                violation_error_message="This site already has a measuring point with that tag.",
            ),
        ),
        migrations.AddConstraint(
            model_name="measuringpoint",
            constraint=models.UniqueConstraint(
                models.F("id"), models.F("site"), name="point_and_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="measuringpoint",
            constraint=models.CheckConstraint(
                condition=models.Q(("lower", models.F("upper")), _negated=True),
                name="range_values_differ",
                violation_error_message="LRV and URV must differ: between them lies the span.",
            ),
        ),
        migrations.AddConstraint(
            model_name="measuringpoint",
            constraint=models.CheckConstraint(
                condition=models.Q(("tolerance__gt", 0)),
                name="tolerance_above_zero",
                violation_error_message="The tolerance must be above zero.",
            ),
        ),
        migrations.AddConstraint(
            model_name="measuringpoint",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("adjust_limit__gte", 0), ("adjust_limit__lte", models.F("tolerance"))
                ),
                name="adjust_limit_within_tolerance",
                violation_error_message="The adjust limit must lie between zero and the tolerance.",
            ),
        ),
        migrations.AddConstraint(
            model_name="measuringpoint",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("quantity", "level"), ("unit__in", ["mm", "cm", "m", "in", "ft"])),
                    models.Q(("quantity", "volume"), ("unit__in", ["m3", "L"])),
                    _connector="OR",
                ),
                name="unit_fits_the_quantity",
                violation_error_message="Level needs mm, cm, m, in or ft; volume needs m³ or L.",
            ),
        ),
        migrations.AddConstraint(
            model_name="measuringpoint",
            constraint=models.CheckConstraint(
                condition=models.Q(("quantity", "volume"), ("tolerance_unit", "mm"), _negated=True),
                name="volume_tolerance_not_in_mm",
                violation_error_message="A point that indicates volume has its tolerance in %% of span or mA.",
            ),
        ),
        migrations.AddConstraint(
            model_name="measuringpoint",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("tolerance_unit", "mA"), _negated=True),
                    ("signal__in", ["4-20mA", "0-20mA"]),
                    _connector="OR",
                ),
                name="tolerance_in_ma_needs_a_current",
                violation_error_message="A tolerance in mA needs a current output.",
            ),
        ),
        migrations.AddConstraint(
            model_name="measuringpoint",
            constraint=models.CheckConstraint(
                condition=models.Q(("interval_months__gte", 1), ("interval_months__lte", 120)),
                name="interval_between_1_and_120_months",
                violation_error_message="The interval must be 1 to 120 months.",
            ),
        ),
        migrations.AddConstraint(
            model_name="measuringpoint",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "grace_days__lte",
                        django.db.models.expressions.CombinedExpression(
                            models.F("interval_months"), "*", models.Value(15)
                        ),
                    )
                ),
                name="grace_below_half_the_interval",
                violation_error_message="The grace must be at most half the interval: 15 days for each month.",
            ),
        ),
        migrations.AddConstraint(
            model_name="measuringpoint",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("deferred_until", None),
                    ("deferred_until__gt", models.F("due_on")),
                    _connector="OR",
                ),
                name="deferred_beyond_the_due_date",
                violation_error_message="A deferral must end after the due date.",
            ),
        ),
        migrations.AddConstraint(
            model_name="measuringpoint",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("anchor_months", None), ("anchor_on", None)),
                    models.Q(
                        ("anchor_months__gte", 1),
                        ("anchor_months__isnull", False),
                        ("anchor_on__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="anchor_has_day_and_months_or_neither",
            ),
        ),
        migrations.AddConstraint(
            model_name="measuringpoint",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("out_of_service_on", None),
                    models.Q(("out_of_service_why", ""), _negated=True),
                    _connector="OR",
                ),
                name="out_of_service_has_a_reason",
                violation_error_message="Say why the point is out of service.",
            ),
        ),
        migrations.AddConstraint(
            model_name="transmitter",
            constraint=models.UniqueConstraint(
                models.F("site"),
                models.F("serial"),
                models.F("maker"),
                name="serial_unique_per_maker_and_site",
                violation_error_message="This site already has a transmitter of that maker with that serial number.",
            ),
        ),
        migrations.AddConstraint(
            model_name="transmitter",
            constraint=models.UniqueConstraint(
                models.F("id"), models.F("site"), name="transmitter_and_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="transmitter",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("probe_length_mm", None), ("probe_length_mm__gt", 0), _connector="OR"
                    ),
                    models.Q(
                        ("probe_diameter_mm", None), ("probe_diameter_mm__gt", 0), _connector="OR"
                    ),
                    models.Q(("insulation_mm", None), ("insulation_mm__gt", 0), _connector="OR"),
                    models.Q(
                        ("insulation_permittivity", None),
                        ("insulation_permittivity__gte", 1),
                        _connector="OR",
                    ),
                ),
                name="probe_data_above_zero",
                violation_error_message="Probe dimensions must be above zero, a permittivity at least 1.",
            ),
        ),
        migrations.AddConstraint(
            model_name="transmitter",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "principle__in",
                        [
                            "capacitance rod",
                            "capacitance rope",
                            "hydrostatic",
                            "differential pressure",
                            "radar",
                            "guided wave",
                            "ultrasonic",
                            "displacer",
                            "magnetostrictive",
                            "float",
                        ],
                    )
                ),
                name="principle_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="installation",
            constraint=django.contrib.postgres.constraints.ExclusionConstraint(
                expressions=[
                    ("point", "="),
                    (
                        models.Func(
                            models.F("installed_on"),
                            models.F("removed_on"),
                            django.contrib.postgres.fields.ranges.RangeBoundary(
                                inclusive_lower=True, inclusive_upper=False
                            ),
                            function="DATERANGE",
                            output_field=django.contrib.postgres.fields.ranges.DateRangeField(),
                        ),
                        "&&",
                    ),
                ],
                name="one_installation_per_point_at_a_time",
                violation_error_message="Another transmitter is installed at this measuring point in that time.",
            ),
        ),
        migrations.AddConstraint(
            model_name="installation",
            constraint=django.contrib.postgres.constraints.ExclusionConstraint(
                expressions=[
                    ("transmitter", "="),
                    (
                        models.Func(
                            models.F("installed_on"),
                            models.F("removed_on"),
                            django.contrib.postgres.fields.ranges.RangeBoundary(
                                inclusive_lower=True, inclusive_upper=False
                            ),
                            function="DATERANGE",
                            output_field=django.contrib.postgres.fields.ranges.DateRangeField(),
                        ),
                        "&&",
                    ),
                ],
                name="one_point_per_transmitter_at_a_time",
                violation_error_message="This transmitter is installed at another measuring point in that time.",
            ),
        ),
        migrations.AddConstraint(
            model_name="installation",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("removed_on", None),
                    ("removed_on__gt", models.F("installed_on")),
                    _connector="OR",
                ),
                name="removed_after_installed",
                violation_error_message="A transmitter is removed after the day it was installed.",
            ),
        ),
        migrations.AddConstraint(
            model_name="installation",
            constraint=models.UniqueConstraint(
                models.F("point"),
                condition=models.Q(("removed_on", None)),
                name="one_present_installation_per_point",
            ),
        ),
        migrations.AddConstraint(
            model_name="installation",
            constraint=models.UniqueConstraint(
                models.F("transmitter"),
                condition=models.Q(("removed_on", None)),
                name="one_present_point_per_transmitter",
            ),
        ),
        migrations.RunSQL(RULES, DROP_RULES),
    ]
