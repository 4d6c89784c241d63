from decimal import Decimal

import django.contrib.postgres.fields
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("calibration", "0002_walls"),
        ("plant", "0003_product_change"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
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
        migrations.RemoveField(
            model_name="trend",
            name="span_rate_se",
        ),
        migrations.RemoveField(
            model_name="trend",
            name="zero_rate_se",
        ),
        migrations.AddField(
            model_name="calibration",
            name="budget",
            field=models.JSONField(blank=True, null=True, verbose_name="uncertainty budget"),
        ),
        migrations.AddField(
            model_name="calibration",
            name="coverage_factor",
            field=models.FloatField(blank=True, null=True, verbose_name="coverage factor"),
        ),
        migrations.AddField(
            model_name="calibration",
            name="expanded_percent",
            field=models.FloatField(blank=True, null=True, verbose_name="largest U, % of span"),
        ),
        migrations.AddField(
            model_name="calibration",
            name="tur",
            field=models.FloatField(blank=True, null=True, verbose_name="test uncertainty ratio"),
        ),
        migrations.AddField(
            model_name="calibration",
            name="u_span",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="calibration",
            name="u_span_shared",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="calibration",
            name="u_zero",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="calibration",
            name="u_zero_shared",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="job",
            name="product_change",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="jobs",
                to="plant.productchange",
            ),
        ),
        migrations.AddField(
            model_name="job",
            name="shift_percent",
            field=models.FloatField(
                blank=True, null=True, verbose_name="computed shift, % of span"
            ),
        ),
        migrations.AddField(
            model_name="reading",
            name="expanded_percent",
            field=models.FloatField(blank=True, null=True, verbose_name="U, % of span"),
        ),
        migrations.AddField(
            model_name="trend",
            name="fitted_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="trend",
            name="in_tolerance",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="trend",
            name="own_weight",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="trend",
            name="span_rate_high",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="trend",
            name="span_rate_low",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="trend",
            name="zero_rate_high",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="trend",
            name="zero_rate_low",
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AlterField(
            model_name="calibration",
            name="decision_rule",
            field=models.CharField(
                default="simple acceptance", max_length=60, verbose_name="decision rule"
            ),
        ),
        migrations.AddField(
            model_name="trend",
            name="family",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="trends",
                to="calibration.family",
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
                "constraints": [
                    models.UniqueConstraint(
                        models.F("site"),
                        models.F("duty"),
                        condition=models.Q(("point", None)),
                        name="one_policy_a_duty_and_site",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("point", None), models.Q(("duty", ""), _negated=True)),
                            models.Q(("duty", ""), ("point__isnull", False)),
                            _connector="OR",
                        ),
                        name="policy_is_of_a_duty_or_a_point",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("guard_share__gt", 0), ("guard_share__lte", 2)),
                        name="guard_band_from_0_to_2_U",
                        violation_error_message="The guard band must be above zero and at most 2 U.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("risk_percent__gt", 0), ("risk_percent__lt", 50)),
                        name="risk_below_half",
                        violation_error_message="The risk must lie between 0 and 50 %.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("target_percent__gte", 50), ("target_percent__lte", Decimal("99.9"))
                        ),
                        name="target_from_50_to_99_9",
                        violation_error_message="The target must lie between 50 and 99.9 %.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("longest_months__lte", 120),
                            ("shortest_months__gte", 1),
                            ("shortest_months__lt", models.F("longest_months")),
                        ),
                        name="shortest_below_longest_interval",
                        violation_error_message="The shortest interval must lie below the longest, within 1 to 120 months.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("least_tur__gte", 1),
                            ("lengthen__gte", 1),
                            ("stair_longer_percent__gt", 0),
                            ("stair_shorter_percent__gt", 0),
                            ("stair_shorter_percent__lt", 100),
                        ),
                        name="policy_steps_make_sense",
                        violation_error_message="Longer at most: 1 times or more. Staircase: longer by more than 0 %, shorter by 0 to 100 %.",
                    ),
                ],
            },
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
                "indexes": [
                    models.Index(
                        condition=models.Q(("state__in", ["open", "agreed"])),
                        fields=["site", "-made_at", "-id"],
                        name="proposal_waiting",
                    ),
                    models.Index(fields=["point", "-made_at"], name="proposal_by_point"),
                ],
                "constraints": [
                    models.UniqueConstraint(
                        models.F("point"),
                        condition=models.Q(("state__in", ["open", "agreed"])),
                        name="one_waiting_proposal_a_point",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("months", models.F("months_now")), _negated=True),
                            ("months__gte", 1),
                            ("months__lte", 120),
                        ),
                        name="a_proposal_changes_the_interval",
                    ),
                    models.CheckConstraint(
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
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "declined"), _negated=True),
                            models.Q(("why", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="a_declined_proposal_has_a_reason",
                        violation_error_message="Say why it is declined.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="StepQuestion",
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
                            ("step", "step"),
                            ("bad reading", "single bad reading"),
                            ("either", "step or single bad reading"),
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
                        related_name="steps",
                        to="plant.measuringpoint",
                    ),
                ),
                (
                    "record",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="steps",
                        to="calibration.calibration",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="steps",
                        to="plant.site",
                    ),
                ),
            ],
            options={
                "verbose_name": "step",
                "ordering": ["-raised_at", "-id"],
                "indexes": [
                    models.Index(
                        condition=models.Q(("cause", "")),
                        fields=["site", "-raised_at"],
                        name="step_open",
                    ),
                    models.Index(fields=["point", "-raised_at"], name="step_by_point"),
                ],
                "constraints": [
                    models.UniqueConstraint(
                        models.F("record"), models.F("end"), name="one_step_a_record_and_end"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("end__in", ["zero", "span"])), name="step_end_is_known"
                    ),
                    models.CheckConstraint(
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
                ],
            },
        ),
    ]
