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

CREATE TRIGGER plant_ledgerentry_only_added BEFORE UPDATE OR DELETE ON plant_ledgerentry
    FOR EACH ROW EXECUTE FUNCTION refuse_change('Rows of plant_ledgerentry are never changed or deleted.');

CREATE TRIGGER plant_ledgerentry_no_truncate BEFORE TRUNCATE ON plant_ledgerentry
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('plant_ledgerentry cannot be emptied.');

CREATE TRIGGER plant_rowhistory_only_added BEFORE UPDATE OR DELETE ON plant_rowhistory
    FOR EACH ROW EXECUTE FUNCTION refuse_change('Rows of plant_rowhistory are never changed or deleted.');

CREATE TRIGGER plant_rowhistory_no_truncate BEFORE TRUNCATE ON plant_rowhistory
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('plant_rowhistory cannot be emptied.');

ALTER TABLE plant_site ADD COLUMN entered_at timestamptz NOT NULL DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER plant_site_kept_update AFTER UPDATE ON plant_site
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER plant_site_kept_delete AFTER DELETE ON plant_site
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER plant_site_no_truncate BEFORE TRUNCATE ON plant_site
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('plant_site cannot be emptied.');

ALTER TABLE plant_area ADD COLUMN entered_at timestamptz NOT NULL DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER plant_area_kept_update AFTER UPDATE ON plant_area
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER plant_area_kept_delete AFTER DELETE ON plant_area
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER plant_area_no_truncate BEFORE TRUNCATE ON plant_area
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('plant_area cannot be emptied.');

ALTER TABLE plant_tank ADD COLUMN entered_at timestamptz NOT NULL DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER plant_tank_kept_update AFTER UPDATE ON plant_tank
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER plant_tank_kept_delete AFTER DELETE ON plant_tank
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER plant_tank_no_truncate BEFORE TRUNCATE ON plant_tank
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('plant_tank cannot be emptied.');

ALTER TABLE plant_strappingrow ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER plant_strappingrow_kept_update AFTER UPDATE ON plant_strappingrow
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER plant_strappingrow_kept_delete AFTER DELETE ON plant_strappingrow
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER plant_strappingrow_no_truncate BEFORE TRUNCATE ON plant_strappingrow
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('plant_strappingrow cannot be emptied.');

ALTER TABLE plant_product ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER plant_product_kept_update AFTER UPDATE ON plant_product
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER plant_product_kept_delete AFTER DELETE ON plant_product
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER plant_product_no_truncate BEFORE TRUNCATE ON plant_product
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('plant_product cannot be emptied.');

ALTER TABLE plant_measuringpoint ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER plant_measuringpoint_kept_update AFTER UPDATE ON plant_measuringpoint
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER plant_measuringpoint_kept_delete AFTER DELETE ON plant_measuringpoint
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER plant_measuringpoint_no_truncate BEFORE TRUNCATE ON plant_measuringpoint
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('plant_measuringpoint cannot be emptied.');

ALTER TABLE plant_transmitter ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER plant_transmitter_kept_update AFTER UPDATE ON plant_transmitter
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER plant_transmitter_kept_delete AFTER DELETE ON plant_transmitter
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER plant_transmitter_no_truncate BEFORE TRUNCATE ON plant_transmitter
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('plant_transmitter cannot be emptied.');

ALTER TABLE plant_installation ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER plant_installation_kept_update AFTER UPDATE ON plant_installation
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER plant_installation_kept_delete AFTER DELETE ON plant_installation
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER plant_installation_no_truncate BEFORE TRUNCATE ON plant_installation
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('plant_installation cannot be emptied.');

ALTER TABLE plant_person ADD COLUMN entered_at timestamptz NOT NULL DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER plant_person_kept_update AFTER UPDATE ON plant_person
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{password,last_login}');
CREATE TRIGGER plant_person_kept_delete AFTER DELETE ON plant_person
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{password,last_login}');

CREATE TRIGGER plant_person_no_truncate BEFORE TRUNCATE ON plant_person
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('plant_person cannot be emptied.');

ALTER TABLE plant_appointment ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER plant_appointment_kept_update AFTER UPDATE ON plant_appointment
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER plant_appointment_kept_delete AFTER DELETE ON plant_appointment
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER plant_appointment_no_truncate BEFORE TRUNCATE ON plant_appointment
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('plant_appointment cannot be emptied.');

ALTER TABLE plant_tank ADD CONSTRAINT plant_tank_area_id_of_its_site FOREIGN KEY (area_id, site_id)
    REFERENCES plant_area (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE plant_tank ADD CONSTRAINT plant_tank_product_id_of_its_site
    FOREIGN KEY (product_id, site_id)
    REFERENCES plant_product (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE plant_measuringpoint ADD CONSTRAINT plant_measuringpoint_tank_id_of_its_site
    FOREIGN KEY (tank_id, site_id)
    REFERENCES plant_tank (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE plant_installation ADD CONSTRAINT plant_installation_point_id_of_its_site
    FOREIGN KEY (point_id, site_id)
    REFERENCES plant_measuringpoint (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE plant_installation ADD CONSTRAINT plant_installation_transmitter_id_of_its_site FOREIGN KEY (transmitter_id, site_id)
    REFERENCES plant_transmitter (id, site_id) DEFERRABLE INITIALLY DEFERRED;

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
            USING ERRCODE = 'check_violation',
                CONSTRAINT = 'range_inside_tank', TABLE = TG_TABLE_NAME;
    END IF;
    RETURN NULL;
END $$;

CREATE TRIGGER range_inside_tank_new AFTER INSERT ON plant_measuringpoint
    REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION range_inside_tank();
CREATE TRIGGER range_inside_tank_changed AFTER UPDATE ON plant_measuringpoint
    REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION range_inside_tank();
CREATE TRIGGER range_inside_tank_tank AFTER UPDATE ON plant_tank
    REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION range_inside_tank();

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
            SELECT due_share(o, -1) FROM old_rows o UNION ALL SELECT due_share(n, 1)
                FROM new_rows n));
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

ALTER TABLE plant_productchange ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER plant_productchange_kept_update AFTER UPDATE ON plant_productchange
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER plant_productchange_kept_delete AFTER DELETE ON plant_productchange
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER plant_productchange_no_truncate BEFORE TRUNCATE ON plant_productchange
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('plant_productchange cannot be emptied.');

ALTER TABLE plant_productchange ADD CONSTRAINT plant_productchange_tank_id_of_its_site
    FOREIGN KEY (tank_id, site_id)
    REFERENCES plant_tank (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE plant_productchange ADD CONSTRAINT plant_productchange_product_id_of_its_site
    FOREIGN KEY (product_id, site_id)
    REFERENCES plant_product (id, site_id) DEFERRABLE INITIALLY DEFERRED;
