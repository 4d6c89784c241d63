-- Counts of the due list are kept by condition too.
ALTER TYPE due_share ADD ATTRIBUTE condition smallint CASCADE;
CREATE OR REPLACE FUNCTION add_to_due_counts(shares due_share[]) RETURNS void LANGUAGE sql
SET search_path = public, pg_temp AS $$
    INSERT INTO plant_duecount AS c (site_id, next_due, is_deferred, condition, points, hours)
    SELECT s.site_id, s.next_due, s.is_deferred, s.condition, sum(s.points), sum(s.hours)
    FROM unnest(shares) s WHERE s.site_id IS NOT NULL
    GROUP BY 1, 2, 3, 4 HAVING sum(s.points) <> 0 OR sum(s.hours) <> 0 ORDER BY 1, 2, 3, 4
    ON CONFLICT (site_id, next_due, is_deferred, condition)
    DO UPDATE SET points = c.points + excluded.points, hours = c.hours + excluded.hours;
$$;
CREATE OR REPLACE FUNCTION due_share(p plant_measuringpoint, sign int) RETURNS due_share LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE WHEN p.out_of_service_on IS NULL THEN
        ROW(p.site_id, p.next_due, p.deferred_until IS NOT NULL, sign, sign * p.job_hours, p.condition)::due_share END;
$$;
DELETE FROM plant_duecount;
SELECT add_to_due_counts(array(SELECT due_share(p, 1) FROM plant_measuringpoint p));

-- A range value in metres, or in m³ where volume is indicated.
CREATE FUNCTION base_of(amount numeric, unit text) RETURNS double precision LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE unit WHEN 'm3' THEN amount::double precision
        WHEN 'L' THEN (amount * 0.001)::double precision ELSE metres_of(amount, unit) END;
$$;

-- What is known of a point is derived, never set: of a statement of its own it keeps what it was, and
-- only a trigger that derives it is heard. A changed range begins on the day of its change.
CREATE FUNCTION status_is_derived() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF pg_trigger_depth() < 2 THEN
        NEW.condition := OLD.condition;
        NEW.reasons := OLD.reasons;
    END IF;
    IF (NEW.quantity, NEW.signal) IS DISTINCT FROM (OLD.quantity, OLD.signal)
        OR abs(base_of(NEW.lower, NEW.unit) - base_of(OLD.lower, OLD.unit)) > 1e-9
        OR abs(base_of(NEW.upper, NEW.unit) - base_of(OLD.upper, OLD.unit)) > 1e-9
    THEN
        NEW.ranged_on := (SELECT (now() AT TIME ZONE s.time_zone)::date FROM plant_site s
                          WHERE s.id = NEW.site_id);
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER status_is_derived BEFORE UPDATE ON plant_measuringpoint
    FOR EACH ROW EXECUTE FUNCTION status_is_derived();

-- Nothing is known of a new point yet, whatever the statement says.
CREATE FUNCTION status_begins() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    NEW.condition := 0;
    NEW.reasons := '[{"kind": "no transmitter", "level": 0, "of": null, "on": null}]';
    RETURN NEW;
END $$;
CREATE TRIGGER status_begins BEFORE INSERT ON plant_measuringpoint
    FOR EACH ROW EXECUTE FUNCTION status_begins();

-- What is derived is not kept as a change of the register: it follows from what is kept.
DROP TRIGGER plant_measuringpoint_kept_update ON plant_measuringpoint;
CREATE TRIGGER plant_measuringpoint_kept_update AFTER UPDATE ON plant_measuringpoint
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{condition,reasons,known_on}');
DROP TRIGGER plant_measuringpoint_kept_delete ON plant_measuringpoint;
CREATE TRIGGER plant_measuringpoint_kept_delete AFTER DELETE ON plant_measuringpoint
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{condition,reasons,known_on}');
