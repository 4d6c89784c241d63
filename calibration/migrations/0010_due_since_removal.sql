-- A point whose transmitter was removed, swapped or ranged anew is due since that day, not since its
-- last calibration: of a swap the removal comes first, when nothing is installed for a moment.
CREATE OR REPLACE FUNCTION end_earlier_results(ids bigint[]) RETURNS void LANGUAGE sql SECURITY DEFINER
SET search_path = public, pg_temp AS $$
    DELETE FROM calibration_trend t WHERE t.point_id = ANY (ids) AND NOT EXISTS (
        SELECT FROM plant_installation i WHERE i.point_id = t.point_id AND i.removed_on IS NULL
            AND i.transmitter_id = t.transmitter_id);
    UPDATE calibration_proposal q SET state = 'replaced'
    WHERE q.point_id = ANY (ids) AND q.state IN ('open', 'agreed')
        AND NOT EXISTS (SELECT FROM calibration_completeresult c WHERE c.point_id = q.point_id);
    UPDATE plant_measuringpoint p SET due_on = s.since, deferred_until = NULL
    FROM (
        SELECT m.id,
            greatest(max(i.installed_on), max(i.removed_on), m.ranged_on, max(r.done_on)) AS since
        FROM plant_measuringpoint m
        JOIN calibration_calibration r ON r.point_id = m.id AND r.state = 'approved'
        LEFT JOIN plant_installation i ON i.point_id = m.id
        WHERE m.id = ANY (ids)
            AND NOT EXISTS (SELECT FROM calibration_completeresult c WHERE c.point_id = m.id)
        GROUP BY m.id
    ) s
    WHERE p.id = s.id AND p.due_on > s.since;
$$;
