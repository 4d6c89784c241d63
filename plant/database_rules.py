"""Rules that live in the database, as migration operations: what Django's constraints cannot say.

Each maker returns a RunSQL. Triggers work per statement over transition tables, so that 100,000
rows cost one pass.
"""

from __future__ import annotations

from django.db.migrations import RunSQL

KEEP_FUNCTION = RunSQL(
    """
    -- A plan is kept for the session, made for as many rows as its first statement touched. A nested loop, right for
    -- one row, takes the square of the rows when a set comes later: minutes for 20,000.
    CREATE FUNCTION keep_row_history() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER
    SET search_path = public, pg_temp SET enable_nestloop = off AS $$
    DECLARE left_out text[] := coalesce(TG_ARGV[0]::text[], '{}');
    BEGIN
        IF TG_OP = 'UPDATE' THEN
            INSERT INTO plant_rowhistory (table_name, row_id, act, before, db_role)
            SELECT TG_TABLE_NAME, o.id, 'update', to_jsonb(o) - left_out, session_user
            FROM old_rows o LEFT JOIN new_rows n ON n.id = o.id
            WHERE to_jsonb(o) - left_out IS DISTINCT FROM to_jsonb(n) - left_out;
        ELSE
            INSERT INTO plant_rowhistory (table_name, row_id, act, before, db_role)
            SELECT TG_TABLE_NAME, o.id, 'delete', to_jsonb(o) - left_out, session_user FROM old_rows o;
        END IF;
        RETURN NULL;
    END $$;

    CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        RAISE EXCEPTION '%', TG_ARGV[0] USING ERRCODE = 'integrity_constraint_violation',
            CONSTRAINT = TG_NAME, TABLE = TG_TABLE_NAME;
    END $$;
    """,
    "DROP FUNCTION refuse_change; DROP FUNCTION keep_row_history;",
)


def kept(table: str, *, without: tuple[str, ...] = ()) -> RunSQL:
    """Keep every former version of the table's rows, and note when and in which transaction a row
    came in.

    The two columns are the database's own: the application neither writes nor reads them, but for
    history pages. ``without`` names columns that must not be kept (a password's hash, the last
    sign-in).
    """
    left_out = "{" + ",".join(without) + "}"
    return RunSQL(
        f"""
        ALTER TABLE {table} ADD COLUMN entered_at timestamptz NOT NULL DEFAULT transaction_timestamp(),
            ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
        CREATE TRIGGER {table}_kept_update AFTER UPDATE ON {table}
            REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
            FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{left_out}');
        CREATE TRIGGER {table}_kept_delete AFTER DELETE ON {table}
            REFERENCING OLD TABLE AS old_rows
            FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{left_out}');
        {_no_truncate(table)}
        """,
        f"""
        DROP TRIGGER {table}_no_truncate ON {table};
        DROP TRIGGER {table}_kept_delete ON {table};
        DROP TRIGGER {table}_kept_update ON {table};
        ALTER TABLE {table} DROP COLUMN entered_at, DROP COLUMN entered_in;
        """,
    )


def only_added(table: str) -> RunSQL:
    """Rows may come in but never change or go."""
    said = f"Rows of {table} are never changed or deleted."
    return RunSQL(
        f"""
        CREATE TRIGGER {table}_only_added BEFORE UPDATE OR DELETE ON {table}
            FOR EACH ROW EXECUTE FUNCTION refuse_change('{said}');
        {_no_truncate(table)}
        """,
        f"DROP TRIGGER {table}_no_truncate ON {table}; DROP TRIGGER {table}_only_added ON {table};",
    )


def _no_truncate(table: str) -> str:
    return f"""
        CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table}
            FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('{table} cannot be emptied.');
    """


def same_site(table: str, column: str, target: str) -> RunSQL:
    """A foreign key that carries the site: a row can only point at a row of its own site."""
    name = f"{table}_{column}_of_its_site"
    return RunSQL(
        f"""
        ALTER TABLE {table} ADD CONSTRAINT {name} FOREIGN KEY ({column}, site_id)
            REFERENCES {target} (id, site_id) DEFERRABLE INITIALLY DEFERRED;
        """,
        f"ALTER TABLE {table} DROP CONSTRAINT {name};",
    )


RANGE_INSIDE_TANK = RunSQL(
    """
    CREATE FUNCTION range_inside_tank() RETURNS trigger LANGUAGE plpgsql AS $$
    DECLARE wrong text;
    BEGIN
        IF TG_TABLE_NAME = 'plant_measuringpoint' THEN
            SELECT string_agg(p.tag, ', ') INTO wrong FROM
                (SELECT n.* FROM new_rows n JOIN plant_tank t ON t.id = n.tank_id
                 WHERE NOT range_fits(n, t) ORDER BY n.tag LIMIT 5) p;
        ELSE
            SELECT string_agg(p.tag, ', ') INTO wrong FROM
                (SELECT q.* FROM plant_measuringpoint q JOIN new_rows n ON n.id = q.tank_id
                 JOIN plant_tank t ON t.id = q.tank_id
                 WHERE NOT range_fits(q, t) ORDER BY q.tag LIMIT 5) p;
        END IF;
        IF wrong IS NOT NULL THEN
            RAISE EXCEPTION 'The range of % lies outside the tank.', wrong
                USING ERRCODE = 'check_violation', CONSTRAINT = 'range_inside_tank', TABLE = TG_TABLE_NAME;
        END IF;
        RETURN NULL;
    END $$;

    CREATE TRIGGER range_inside_tank_new AFTER INSERT ON plant_measuringpoint
        REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION range_inside_tank();
    CREATE TRIGGER range_inside_tank_changed AFTER UPDATE ON plant_measuringpoint
        REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION range_inside_tank();
    CREATE TRIGGER range_inside_tank_tank AFTER UPDATE ON plant_tank
        REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION range_inside_tank();
    """,
    """
    DROP TRIGGER range_inside_tank_tank ON plant_tank;
    DROP TRIGGER range_inside_tank_changed ON plant_measuringpoint;
    DROP TRIGGER range_inside_tank_new ON plant_measuringpoint;
    DROP FUNCTION range_inside_tank;
    """,
)

RANGE_FITS = RunSQL(
    """
    CREATE FUNCTION metres_of(amount numeric, unit text) RETURNS double precision LANGUAGE sql IMMUTABLE AS $$
        SELECT (amount * CASE unit WHEN 'mm' THEN 0.001 WHEN 'cm' THEN 0.01 WHEN 'm' THEN 1
                                   WHEN 'in' THEN 0.0254 WHEN 'ft' THEN 0.3048 END)::double precision;
    $$;

    -- A hundredth of a millimetre (or a millionth of the volume) of slack: typed digits are rounded.
    -- No SET here: it would keep the planner from folding the function into its query, at 20 µs a row.
    CREATE FUNCTION range_fits(p plant_measuringpoint, t plant_tank) RETURNS boolean LANGUAGE sql IMMUTABLE AS $$
        SELECT CASE p.quantity
            WHEN 'volume' THEN least(p.lower_base, p.upper_base) >= 0
                AND greatest(p.lower_base, p.upper_base) <= t.capacity_m3 * 1.000001
            ELSE least(p.lower_base, p.upper_base) >= -metres_of(t.datum, t.unit) - 0.00001
                AND greatest(p.lower_base, p.upper_base)
                    <= t.inside_height_m - metres_of(t.datum, t.unit) + 0.00001
        END;
    $$;
    """,
    "DROP FUNCTION range_fits; DROP FUNCTION metres_of;",
)

DUE_COUNTS = RunSQL(
    """
    CREATE FUNCTION count_due() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER
    SET search_path = public, pg_temp AS $$
    BEGIN
        -- Rows are taken in one order, so that two approvals at once wait for each other instead of dying.
        IF TG_OP = 'INSERT' THEN
            PERFORM add_to_due_counts(array(SELECT due_share(n, 1) FROM new_rows n));
        ELSIF TG_OP = 'DELETE' THEN
            PERFORM add_to_due_counts(array(SELECT due_share(o, -1) FROM old_rows o));
        ELSE
            PERFORM add_to_due_counts(array(
                SELECT due_share(o, -1) FROM old_rows o UNION ALL SELECT due_share(n, 1) FROM new_rows n));
        END IF;
        RETURN NULL;
    END $$;
    CREATE TYPE due_share AS (site_id bigint, next_due date, is_deferred boolean, points int, hours numeric);
    CREATE FUNCTION due_share(p plant_measuringpoint, sign int) RETURNS due_share LANGUAGE sql IMMUTABLE AS $$
        SELECT CASE WHEN p.out_of_service_on IS NULL THEN
            ROW(p.site_id, p.next_due, p.deferred_until IS NOT NULL, sign, sign * p.job_hours)::due_share END;
    $$;
    CREATE FUNCTION add_to_due_counts(shares due_share[]) RETURNS void LANGUAGE sql
    SET search_path = public, pg_temp AS $$
        INSERT INTO plant_duecount AS c (site_id, next_due, is_deferred, points, hours)
        SELECT s.site_id, s.next_due, s.is_deferred, sum(s.points), sum(s.hours)
        FROM unnest(shares) s WHERE s.site_id IS NOT NULL
        GROUP BY 1, 2, 3 HAVING sum(s.points) <> 0 OR sum(s.hours) <> 0 ORDER BY 1, 2, 3
        ON CONFLICT (site_id, next_due, is_deferred)
        DO UPDATE SET points = c.points + excluded.points, hours = c.hours + excluded.hours;
    $$;
    CREATE TRIGGER count_due_new AFTER INSERT ON plant_measuringpoint
        REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION count_due();
    CREATE TRIGGER count_due_changed AFTER UPDATE ON plant_measuringpoint
        REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
        FOR EACH STATEMENT EXECUTE FUNCTION count_due();
    CREATE TRIGGER count_due_gone AFTER DELETE ON plant_measuringpoint
        REFERENCING OLD TABLE AS old_rows FOR EACH STATEMENT EXECUTE FUNCTION count_due();
    """,
    """
    DROP TRIGGER count_due_gone ON plant_measuringpoint;
    DROP TRIGGER count_due_changed ON plant_measuringpoint;
    DROP TRIGGER count_due_new ON plant_measuringpoint;
    DROP FUNCTION count_due; DROP FUNCTION add_to_due_counts; DROP FUNCTION due_share; DROP TYPE due_share;
    """,
)
