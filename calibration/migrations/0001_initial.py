import django.contrib.postgres.fields
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("plant", "0002_walls"),
    ]

    operations = [
        migrations.CreateModel(
            name="Deferral",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
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
                (
                    "point",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="deferrals",
                        to="plant.measuringpoint",
                    ),
                ),
                ("due_on", models.DateField(verbose_name="due date")),
                ("until", models.DateField(verbose_name="defer until")),
                ("reason", models.TextField(verbose_name="reason")),
                (
                    "asked_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("asked_at", models.DateTimeField(verbose_name="asked")),
                ("granted", models.BooleanField(blank=True, null=True, verbose_name="granted")),
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
                ("decided_at", models.DateTimeField(blank=True, null=True, verbose_name="decided")),
                ("decision_note", models.TextField(blank=True, verbose_name="note")),
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
                "indexes": [],
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
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="rounds",
                        to="plant.site",
                    ),
                ),
                ("name", models.CharField(max_length=80, verbose_name="name")),
                ("starts_on", models.DateField(verbose_name="first day")),
                ("ends_on", models.DateField(verbose_name="last day")),
                (
                    "technician",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="rounds",
                        to=settings.AUTH_USER_MODEL,
                        verbose_name="technician",
                    ),
                ),
                (
                    "planned_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("planned_at", models.DateTimeField()),
                ("note", models.TextField(blank=True, verbose_name="note")),
            ],
            options={
                "ordering": ["-starts_on", "-id"],
                "constraints": [
                    models.UniqueConstraint(
                        models.F("id"), models.F("site"), name="round_and_site"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("ends_on__gte", models.F("starts_on"))),
                        name="round_ends_after_it_starts",
                        violation_error_message="The last day cannot be before the first.",
                    ),
                ],
                "indexes": [],
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
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs",
                        to="plant.site",
                    ),
                ),
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
                (
                    "round",
                    models.ForeignKey(
                        blank=True,
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="stops",
                        to="calibration.round",
                    ),
                ),
                (
                    "stop_number",
                    models.PositiveSmallIntegerField(blank=True, null=True, verbose_name="stop"),
                ),
                ("planned_on", models.DateField(blank=True, null=True, verbose_name="planned for")),
                ("note", models.TextField(blank=True, verbose_name="note")),
            ],
            options={
                "ordering": ["due_on", "id"],
                "indexes": [
                    models.Index(
                        fields=["technician", "state", "due_on"], name="job_by_technician"
                    ),
                    models.Index(fields=["site", "state", "due_on"], name="job_by_site"),
                ],
                "constraints": [
                    models.UniqueConstraint(models.F("id"), models.F("site"), name="job_and_site"),
                    models.UniqueConstraint(
                        models.F("point"),
                        condition=models.Q(
                            ("state__in", ("planned", "in hand", "submitted", "returned"))
                        ),
                        name="one_open_job_per_point",
                        violation_error_message="This measuring point already has an open job.",
                    ),
                    models.UniqueConstraint(
                        models.F("round"),
                        models.F("stop_number"),
                        name="one_job_per_stop_of_a_round",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("round", None), ("stop_number", None)),
                            models.Q(("round__isnull", False), ("stop_number__isnull", False)),
                            _connector="OR",
                        ),
                        name="a_stop_has_round_and_number_or_neither",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "state__in",
                                [
                                    "planned",
                                    "in hand",
                                    "submitted",
                                    "returned",
                                    "approved",
                                    "cancelled",
                                ],
                            )
                        ),
                        name="job_state_is_known",
                    ),
                ],
            },
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
                "indexes": [],
                "constraints": [],
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
                (
                    "procedure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="versions",
                        to="calibration.procedure",
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
                    "published_on",
                    models.DateField(blank=True, null=True, verbose_name="published on"),
                ),
                (
                    "reason",
                    models.CharField(
                        blank=True, max_length=300, verbose_name="what changed and why"
                    ),
                ),
            ],
            options={
                "ordering": ["procedure", "-number"],
                "constraints": [
                    models.UniqueConstraint(
                        models.F("procedure"),
                        models.F("number"),
                        name="procedure_version_number_unique",
                    )
                ],
                "indexes": [],
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
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="records",
                        to="plant.site",
                    ),
                ),
                (
                    "point",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="records",
                        to="plant.measuringpoint",
                    ),
                ),
                (
                    "transmitter",
                    models.ForeignKey(
                        db_constraint=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="records",
                        to="plant.transmitter",
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="records",
                        to="calibration.job",
                    ),
                ),
                (
                    "procedure_version",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="records",
                        to="calibration.procedureversion",
                    ),
                ),
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
                    "amend_reason",
                    models.TextField(blank=True, verbose_name="reason of the amendment"),
                ),
                (
                    "source",
                    models.CharField(
                        choices=[("typed", "typed in"), ("imported", "imported")],
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
                        default="simple acceptance", max_length=40, verbose_name="decision rule"
                    ),
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
                    "approved_by_name",
                    models.CharField(blank=True, max_length=120, verbose_name="approved by"),
                ),
                (
                    "approved_at",
                    models.DateTimeField(blank=True, null=True, verbose_name="approved"),
                ),
                ("approval_note", models.TextField(blank=True, verbose_name="approver's note")),
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
                ("returned_at", models.DateTimeField(blank=True, null=True)),
                ("return_reason", models.TextField(blank=True, verbose_name="why returned")),
            ],
            options={
                "verbose_name": "record",
                "ordering": ["-done_on", "-id"],
                "indexes": [
                    models.Index(fields=["point", "-done_on", "-id"], name="record_by_point"),
                    models.Index(
                        fields=["transmitter", "-done_on", "-id"], name="record_by_transmitter"
                    ),
                    models.Index(fields=["site", "-done_on", "-id"], name="record_by_site"),
                    models.Index(
                        condition=models.Q(("state", "submitted")),
                        fields=["site", "submitted_at"],
                        name="record_waiting",
                    ),
                ],
                "constraints": [
                    models.CheckConstraint(
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
                    models.CheckConstraint(
                        condition=models.Q(
                            ("approved_by", None),
                            ("performed_by", None),
                            models.Q(("approved_by", models.F("performed_by")), _negated=True),
                            _connector="OR",
                        ),
                        name="nobody_approves_their_own_work",
                        violation_error_message="Nobody approves their own work; ask another approver.",
                    ),
                    models.CheckConstraint(
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
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("amend_reason", ""), ("amends", None)),
                            models.Q(
                                ("amends__isnull", False),
                                models.Q(("amend_reason", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="an_amendment_has_a_reason",
                        violation_error_message="Say why the earlier record is amended.",
                    ),
                    models.UniqueConstraint(
                        models.F("amends"),
                        condition=models.Q(("state__in", ("submitted", "approved"))),
                        name="one_amendment_per_record",
                        violation_error_message="This record already has an amendment; amend that one.",
                    ),
                    models.UniqueConstraint(
                        models.F("job"),
                        condition=models.Q(
                            ("amends", None), ("state__in", ("submitted", "approved"))
                        ),
                        name="one_record_per_job",
                        violation_error_message="This job already has a record.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("found_verdict__in", ["pass", "fail", "inconclusive"]),
                            models.Q(
                                ("found_verdict", ""),
                                models.Q(("no_as_found_reason", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="as_found_or_the_reason_why_not",
                        violation_error_message="Without as-found readings the record needs the reason why.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("left_verdict__in", ["pass", "fail", "inconclusive"])),
                        name="as_left_verdict_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("source", "imported"),
                            models.Q(
                                ("performed_by__isnull", False),
                                ("procedure_version__isnull", False),
                                ("source", "typed"),
                            ),
                            _connector="OR",
                        ),
                        name="typed_record_has_its_performer_and_procedure",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ["submitted", "approved", "returned"])),
                        name="record_state_is_known",
                    ),
                ],
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
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="findings",
                        to="plant.site",
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
                    "assessed_at",
                    models.DateTimeField(blank=True, null=True, verbose_name="assessed"),
                ),
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
                ("closed_at", models.DateTimeField(blank=True, null=True, verbose_name="closed")),
            ],
            options={
                "ordering": ["-opened_at"],
                "indexes": [
                    models.Index(
                        condition=models.Q(("closed_at", None)),
                        fields=["site", "-opened_at"],
                        name="finding_open",
                    ),
                    models.Index(fields=["point", "-opened_at"], name="finding_by_point"),
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("assessed_at", None), ("assessed_by", None), ("assessment", "")
                            ),
                            models.Q(
                                models.Q(("assessment", ""), _negated=True),
                                ("assessed_at__isnull", False),
                                ("assessed_by__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="an_assessment_has_text_person_and_time",
                    ),
                    models.CheckConstraint(
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
                    models.CheckConstraint(
                        condition=models.Q(
                            ("agreed_by", None),
                            models.Q(("agreed_by", models.F("assessed_by")), _negated=True),
                            _connector="OR",
                        ),
                        name="assessment_is_agreed_by_another_person",
                        violation_error_message="Another person than the assessor must agree.",
                    ),
                ],
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
                (
                    "version",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="steps",
                        to="calibration.procedureversion",
                    ),
                ),
                ("number", models.PositiveSmallIntegerField(verbose_name="step")),
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
                ("text", models.TextField(verbose_name="text")),
            ],
            options={
                "ordering": ["version", "number"],
                "constraints": [
                    models.UniqueConstraint(
                        models.F("version"), models.F("number"), name="procedure_step_number_unique"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("kind__in", ["caution", "prepare", "read", "adjust", "restore"])
                        ),
                        name="step_kind_is_known",
                    ),
                ],
                "indexes": [],
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
                    "record",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="readings",
                        to="calibration.calibration",
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
            ],
            options={
                "ordering": ["record", "stage", "run", "sequence"],
                "constraints": [
                    models.UniqueConstraint(
                        models.F("record"),
                        models.F("stage"),
                        models.F("run"),
                        models.F("sequence"),
                        name="one_reading_per_place_in_the_run",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("observed__isnull", False),
                            ("observed_indication__isnull", False),
                            _connector="OR",
                        ),
                        name="reading_observed_something",
                        violation_error_message="A reading needs the observed output or the observed indication.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("stage__in", ["as it stands", "as found", "as left"])),
                        name="reading_stage_is_known",
                    ),
                ],
                "indexes": [],
            },
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
                (
                    "record",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="adjustments",
                        to="calibration.calibration",
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
            ],
            options={
                "ordering": ["record", "number"],
                "constraints": [
                    models.UniqueConstraint(
                        models.F("record"), models.F("number"), name="one_adjustment_per_number"
                    )
                ],
                "indexes": [],
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
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="standards",
                        to="plant.site",
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
            ],
            options={
                "verbose_name": "reference standard",
                "ordering": ["name"],
                "constraints": [
                    models.UniqueConstraint(
                        models.F("site"),
                        models.F("name"),
                        name="standard_name_unique_in_its_site",
                        violation_error_message="This site already has a reference standard of that identity.",
                    ),
                    models.UniqueConstraint(
                        models.F("id"), models.F("site"), name="standard_and_site"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("withdrawn_on", None),
                            models.Q(("withdrawn_why", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="standard_withdrawal_has_a_reason",
                        violation_error_message="Say why the standard is withdrawn.",
                    ),
                ],
                "indexes": [],
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
                (
                    "standard",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="certificates",
                        to="calibration.referencestandard",
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
            ],
            options={
                "verbose_name": "certificate",
                "ordering": ["-valid_until"],
                "constraints": [
                    models.UniqueConstraint(
                        models.F("standard"),
                        models.F("number"),
                        name="certificate_number_unique_per_standard",
                        violation_error_message="This standard already has a certificate of that number.",
                    ),
                    models.UniqueConstraint(
                        models.F("id"), models.F("standard"), name="certificate_and_standard"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("valid_until__gte", models.F("issued_on"))),
                        name="certificate_valid_after_issue",
                        violation_error_message="A certificate cannot end before it was issued.",
                    ),
                    models.CheckConstraint(
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
                    models.CheckConstraint(
                        condition=models.Q(
                            ("withdrawn_on", None),
                            models.Q(("withdrawn_why", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="certificate_withdrawal_has_a_reason",
                        violation_error_message="Say why the certificate is withdrawn.",
                    ),
                ],
                "indexes": [],
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
                (
                    "certificate",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="uses",
                        to="calibration.standardcertificate",
                    ),
                ),
            ],
            options={
                "ordering": ["record", "standard"],
                "constraints": [
                    models.UniqueConstraint(
                        models.F("record"),
                        models.F("standard"),
                        name="a_standard_is_named_once_in_a_record",
                    )
                ],
                "indexes": [],
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
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="reminder_scans",
                        to="plant.site",
                    ),
                ),
                ("day", models.DateField(verbose_name="day")),
                ("at", models.DateTimeField(verbose_name="written")),
                ("lines", models.PositiveIntegerField(default=0, verbose_name="lines")),
                ("held", models.BooleanField(default=False, verbose_name="held")),
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
                    "released_at",
                    models.DateTimeField(blank=True, null=True, verbose_name="released"),
                ),
            ],
            options={
                "ordering": ["-day", "site"],
                "constraints": [
                    models.UniqueConstraint(
                        models.F("site"), models.F("day"), name="one_reminder_scan_per_site_and_day"
                    ),
                    models.CheckConstraint(
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
                ],
                "indexes": [],
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
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="digests",
                        to="plant.site",
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
            ],
            options={
                "ordering": ["-day", "-id"],
                "indexes": [
                    models.Index(
                        condition=models.Q(("left_out", ""), ("sent_at", None)),
                        fields=["made_at"],
                        name="digest_waiting",
                    )
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("sent_at", None), ("left_out", ""), _connector="OR"),
                        name="digest_is_sent_or_left_out",
                    ),
                    models.UniqueConstraint(
                        models.F("person"),
                        models.F("site"),
                        models.F("day"),
                        name="one_digest_per_person_site_and_day",
                    ),
                ],
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
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="plant.site",
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
                ("due_on", models.DateField(verbose_name="due date")),
                (
                    "rung",
                    models.SmallIntegerField(
                        help_text="−30, −7, 0, then 7, 14, …",
                        verbose_name="days after the due date",
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
                    "digest",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="lines",
                        to="calibration.digest",
                    ),
                ),
            ],
            options={
                "ordering": ["due_on", "id"],
                "constraints": [
                    models.UniqueConstraint(
                        models.F("point"),
                        models.F("due_on"),
                        models.F("rung"),
                        models.F("person"),
                        name="a_reminder_is_made_once",
                    )
                ],
                "indexes": [],
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
            options={
                "indexes": [],
                "constraints": [],
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
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="plant.site",
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
                    "transmitter",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="plant.transmitter",
                    ),
                ),
                ("results", models.PositiveSmallIntegerField()),
                ("zero_rate", models.FloatField(blank=True, null=True)),
                ("zero_rate_se", models.FloatField(blank=True, null=True)),
                ("span_rate", models.FloatField(blank=True, null=True)),
                ("span_rate_se", models.FloatField(blank=True, null=True)),
                ("crossing_on", models.DateField(blank=True, null=True)),
                ("crossing_of", models.CharField(blank=True, max_length=4)),
            ],
            options={
                "indexes": [],
                "constraints": [],
            },
        ),
    ]
