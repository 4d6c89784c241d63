"""What the role that serves pages may do in the database: work with rows, but not alter what has
been entered.

The owner's role makes and changes tables; it is used by ``manage.py prepare`` alone. The row
history is written by triggers that act with the owner's rights, so the app needs no right to write
it.
"""

from __future__ import annotations

from django.db import connection
from psycopg import sql

ONLY_BY_TRIGGER = ("plant_rowhistory",)
NOT_TO_BE_CHANGED = ("django_migrations",)


def grant(role: str) -> None:
    """Give ``role`` what it needs and take the rest; running it again changes nothing. Commits at
    once.
    """
    app = sql.Identifier(role)
    with connection.cursor() as cursor:

        def run(command: str, *names: str) -> None:
            parts = [sql.Identifier(name) for name in names]
            cursor.execute(sql.SQL(command).format(*parts, app=app))

        run("GRANT USAGE ON SCHEMA public TO {app}")
        run("GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {app}")
        run("GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {app}")
        for table in tables_only_added_to():
            run("REVOKE UPDATE, DELETE, TRUNCATE ON {} FROM {app}", table)
        for table in (*ONLY_BY_TRIGGER, *NOT_TO_BE_CHANGED):
            run("REVOKE INSERT, UPDATE, DELETE, TRUNCATE ON {} FROM {app}", table)


def tables_only_added_to() -> list[str]:
    """The tables that refuse every change."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT relname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid "
            r"WHERE tgname LIKE '%\_only\_added' ORDER BY relname"
        )
        return [name for (name,) in cursor.fetchall()]
