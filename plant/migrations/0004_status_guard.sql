-- Heard is only whoever owns the table, and only from a trigger: a trigger that another role makes
-- on a table of its own speaks with that role's rights. Since when the range is as it is follows from
-- its changes alone.
CREATE OR REPLACE FUNCTION status_is_derived() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF (NEW.condition, NEW.reasons) IS DISTINCT FROM (OLD.condition, OLD.reasons)
        AND (pg_trigger_depth() < 2 OR current_user::regrole::oid
            <> (SELECT c.relowner FROM pg_class c WHERE c.oid = TG_RELID))
    THEN
        NEW.condition := OLD.condition;
        NEW.reasons := OLD.reasons;
    END IF;
    NEW.ranged_on := OLD.ranged_on;
    IF (NEW.quantity, NEW.signal) IS DISTINCT FROM (OLD.quantity, OLD.signal)
        OR abs(base_of(NEW.lower, NEW.unit) - base_of(OLD.lower, OLD.unit)) > 1e-9
        OR abs(base_of(NEW.upper, NEW.unit) - base_of(OLD.upper, OLD.unit)) > 1e-9
    THEN
        NEW.ranged_on := (SELECT (now() AT TIME ZONE s.time_zone)::date FROM plant_site s
                          WHERE s.id = NEW.site_id);
    END IF;
    RETURN NEW;
END $$;
