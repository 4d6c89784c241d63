from django.db import migrations


class Migration(migrations.Migration):
    """The function's plan is made for the first statement of a session and kept: it must suit a large one too."""

    dependencies = [("plant", "0004_walls")]

    operations = [
        migrations.RunSQL(
            "ALTER FUNCTION keep_row_history() SET enable_nestloop = off",
            "ALTER FUNCTION keep_row_history() RESET enable_nestloop",
        ),
    ]
