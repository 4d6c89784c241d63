"""The status of a measuring point: its columns, and counts of the due list by condition."""

from pathlib import Path

from django.db import migrations, models

RULES = Path(__file__).with_suffix(".sql").read_text(encoding="utf-8")


class Migration(migrations.Migration):
    dependencies = [
        ("plant", "0001_tables_and_rules"),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name="duecount",
            name="one_due_count_a_day",
        ),
        migrations.AddField(
            model_name="duecount",
            name="condition",
            field=models.PositiveSmallIntegerField(db_default=3, default=3),
        ),
        migrations.AddField(
            model_name="measuringpoint",
            name="condition",
            field=models.PositiveSmallIntegerField(db_default=0, default=0, editable=False),
        ),
        migrations.AddField(
            model_name="measuringpoint",
            name="known_on",
            field=models.DateField(blank=True, editable=False, null=True),
        ),
        migrations.AddField(
            model_name="measuringpoint",
            name="ranged_on",
            field=models.DateField(
                blank=True, editable=False, null=True, verbose_name="range as it is since"
            ),
        ),
        migrations.AddField(
            model_name="measuringpoint",
            name="reasons",
            field=models.JSONField(default=list, editable=False),
        ),
        migrations.AddIndex(
            model_name="measuringpoint",
            index=models.Index(
                condition=models.Q(("out_of_service_on", None)),
                fields=["site", "condition", "next_due", "id"],
                name="point_by_status",
            ),
        ),
        migrations.AddConstraint(
            model_name="duecount",
            constraint=models.UniqueConstraint(
                models.F("site"),
                models.F("next_due"),
                models.F("is_deferred"),
                models.F("condition"),
                name="one_due_count_a_day",
            ),
        ),
        migrations.RunSQL(RULES, migrations.RunSQL.noop),
    ]
