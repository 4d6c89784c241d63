-- The planner takes any array for ten points, and loops over tables within tables: a chunk of the
-- night's pass, an import or a changed policy would take the square of their number. So many at once
-- are always planned anew, without such loops.
CREATE FUNCTION settle_status_of_many(ids bigint[]) RETURNS void LANGUAGE plpgsql SECURITY DEFINER
SET search_path = public, pg_temp SET enable_nestloop = off SET plan_cache_mode = force_custom_plan
AS $$
BEGIN
    UPDATE plant_measuringpoint p SET condition = s.condition, reasons = s.reasons
    FROM (SELECT * FROM status_of(ids) ORDER BY point_id) s
    WHERE p.id = s.point_id AND (p.condition, p.reasons) IS DISTINCT FROM (s.condition, s.reasons);
END $$;

CREATE OR REPLACE FUNCTION settle_status(ids bigint[]) RETURNS void LANGUAGE plpgsql SECURITY DEFINER
SET search_path = public, pg_temp AS $$
BEGIN
    IF cardinality(ids) > 100 THEN
        PERFORM settle_status_of_many(ids);
        RETURN;
    END IF;
    UPDATE plant_measuringpoint p SET condition = s.condition, reasons = s.reasons
    FROM (SELECT * FROM status_of(ids) ORDER BY point_id) s
    WHERE p.id = s.point_id AND (p.condition, p.reasons) IS DISTINCT FROM (s.condition, s.reasons);
END $$;
