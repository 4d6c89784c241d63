-- As in 0007_settled_demands.sql, but that no reason looks through all records once for each point.
CREATE OR REPLACE FUNCTION status_of(ids bigint[])
RETURNS TABLE (point_id bigint, condition smallint, reasons jsonb) LANGUAGE sql STABLE
SET search_path = public, pg_temp AS $$
WITH point AS (
    SELECT p.id, p.site_id, p.tank_id, p.procedure_key, p.ranged_on, k.parts_within_days,
        k.least_chance_percent,
        greatest((now() AT TIME ZONE s.time_zone)::date, p.known_on) AS today,
        i.transmitter_id, i.installed_on, t.serial, t.principle
    FROM plant_measuringpoint p
    JOIN plant_site s ON s.id = p.site_id
    JOIN calibration_statuspolicy k ON k.point_id = p.id
    LEFT JOIN plant_installation i ON i.point_id = p.id AND i.removed_on IS NULL
    LEFT JOIN plant_transmitter t ON t.id = i.transmitter_id
    WHERE p.id = ANY (ids)
), current AS (
    SELECT c.* FROM calibration_currentrecord c WHERE c.point_id = ANY (ids)
), complete AS (
    SELECT c.point_id, max(c.counts_from) AS counts_from
    FROM calibration_completeresult c WHERE c.point_id = ANY (ids) GROUP BY 1
), latest AS (
    SELECT c.point_id, max(c.done_on) FILTER (WHERE c.covers_output) AS output_on,
        max(c.done_on) FILTER (WHERE c.covers_primary) AS primary_on
    FROM current c WHERE NOT c.is_check AND c.left_verdict <> 'fail' GROUP BY 1
), newest AS (
    SELECT c.point_id, max(c.record_id) AS record_id FROM current c GROUP BY 1
), reason (point_id, level, kind, of, more) AS (
    SELECT p.id, 0, 'no transmitter', NULL::bigint, jsonb_build_object('on',
        (SELECT max(i.removed_on) FROM plant_installation i WHERE i.point_id = p.id))
    FROM point p WHERE p.transmitter_id IS NULL
  UNION ALL
    SELECT p.id, 1, CASE
            WHEN l.point_id IS NOT NULL THEN 'part'
            WHEN p.ranged_on > p.installed_on THEN 'range'
            WHEN EXISTS (SELECT FROM plant_installation i
                         WHERE i.point_id = p.id AND i.removed_on IS NOT NULL)
                OR EXISTS (SELECT FROM calibration_calibration r
                           WHERE r.point_id = p.id AND r.state = 'approved') THEN 'installed'
            ELSE 'never calibrated' END,
        NULL, jsonb_build_object('serial', p.serial,
            'on', CASE WHEN p.ranged_on > p.installed_on THEN p.ranged_on ELSE p.installed_on END,
            'part', CASE WHEN l.output_on IS NULL OR l.output_on < l.primary_on THEN 'output'
                    ELSE 'primary' END)
    FROM point p LEFT JOIN complete c ON c.point_id = p.id LEFT JOIN latest l ON l.point_id = p.id
    WHERE p.transmitter_id IS NOT NULL AND c.point_id IS NULL
  UNION ALL
    SELECT p.id, 2, 'demand', j.id,
        jsonb_build_object('why', j.why, 'shift', j.shift_percent, 'state', j.state)
    FROM point p JOIN calibration_job j ON j.point_id = p.id
    LEFT JOIN complete e ON e.point_id = p.id
    WHERE (j.why <> 'interval' OR j.product_change_id IS NOT NULL)
        AND (j.state IN ('planned', 'in hand', 'submitted', 'returned')
            -- Neither a check settles what was asked for, nor a part beside one from before it.
            OR j.state = 'approved' AND EXISTS (
                SELECT FROM calibration_calibration r
                WHERE r.job_id = j.id AND r.id IN (SELECT c.record_id FROM current c)
                    AND (e.counts_from IS NULL OR e.counts_from < r.done_on)))
  UNION ALL
    SELECT p.id, 2, 'product', c.id, jsonb_build_object('on', c."on")
    FROM point p JOIN plant_productchange c ON c.tank_id = p.tank_id
    WHERE c.demanded_at IS NULL
  UNION ALL
    SELECT c.point_id, 2, 'failed', c.record_id, jsonb_build_object('on', c.done_on)
    FROM current c
    WHERE c.left_verdict = 'fail' AND NOT EXISTS (
        SELECT FROM current d WHERE d.point_id = c.point_id
            AND (d.done_on, d.record_id) > (c.done_on, c.record_id)
            AND d.left_verdict <> 'fail' AND (c.is_check OR NOT d.is_check)
            AND (d.covers_output OR NOT c.covers_output)
            AND (d.covers_primary OR NOT c.covers_primary))
  UNION ALL
    SELECT c.point_id, 2, 'standard', c.record_id,
        jsonb_build_object('on', c.done_on, 'standard', string_agg(s.name, ', ' ORDER BY s.name))
    FROM current c JOIN complete e ON e.point_id = c.point_id AND c.done_on >= e.counts_from
    JOIN calibration_standarduse u ON u.record_id = c.record_id
    JOIN calibration_referencestandard s ON s.id = u.standard_id
    JOIN calibration_standardcertificate f ON f.id = u.certificate_id
    WHERE NOT c.is_check AND (s.withdrawn_on <= c.done_on OR f.withdrawn_on <= c.done_on)
    GROUP BY c.point_id, c.record_id, c.done_on
  UNION ALL
    SELECT p.id, 2, 'chance', n.record_id,
        jsonb_build_object('on', d.doubt_on, 'floor', p.least_chance_percent)
    FROM point p JOIN calibration_trend d ON d.point_id = p.id
    LEFT JOIN newest n ON n.point_id = p.id
    WHERE d.transmitter_id = p.transmitter_id AND d.doubt_on <= p.today
  UNION ALL
    SELECT p.id, 3, 'procedure', NULL, jsonb_build_object('principle', p.principle)
    FROM point p JOIN calibration_procedure q ON q.key = p.procedure_key
    WHERE p.principle IS NOT NULL AND p.principle <> ALL (q.principles)
), open AS (
    SELECT r.* FROM reason r
    WHERE NOT EXISTS (SELECT FROM calibration_reasonclosing c
                      WHERE c.point_id = r.point_id AND c.kind = r.kind AND c.of = r.of)
)
SELECT p.id, coalesce(min(r.level), 3)::smallint,
    coalesce(jsonb_agg(jsonb_build_object('kind', r.kind, 'level', r.level, 'of', r.of) || r.more
                       ORDER BY r.level, r.kind, r.of) FILTER (WHERE r.kind IS NOT NULL), '[]')
FROM point p LEFT JOIN open r ON r.point_id = p.id GROUP BY p.id;
$$;

-- Plans for very many are made anew, without loops over tables within tables (0011): they read whole
-- tables. Fewer are settled in parts so small that such loops are short.
CREATE OR REPLACE FUNCTION settle_status(ids bigint[]) RETURNS void LANGUAGE plpgsql SECURITY DEFINER
SET search_path = public, pg_temp AS $$
DECLARE size CONSTANT int := 40;
BEGIN
    IF cardinality(ids) > 1000 THEN
        PERFORM settle_status_of_many(ids);
        RETURN;
    END IF;
    FOR part IN 0 .. (cardinality(ids) - 1) / size LOOP
        UPDATE plant_measuringpoint p SET condition = s.condition, reasons = s.reasons
        FROM (SELECT * FROM status_of(ids[part * size + 1 : (part + 1) * size]) ORDER BY point_id) s
        WHERE p.id = s.point_id
            AND (p.condition, p.reasons) IS DISTINCT FROM (s.condition, s.reasons);
    END LOOP;
END $$;

-- A day of doubt is a reason once it has come, which each site sees by its own calendar: not all of
-- the days that a pass over the fleet moves.
CREATE FUNCTION status_after_new_trend() RETURNS trigger LANGUAGE plpgsql
SET search_path = public, pg_temp AS $$
DECLARE ids bigint[];
BEGIN
    ids := array(SELECT n.point_id FROM new_rows n
                 JOIN plant_measuringpoint p ON p.id = n.point_id
                 WHERE n.doubt_on <= greatest((now() + interval '1 day')::date, p.known_on));
    IF cardinality(ids) > 0 THEN
        PERFORM settle_status(ids);
    END IF;
    RETURN NULL;
END $$;
DROP TRIGGER status_after_trend ON calibration_trend;
CREATE TRIGGER status_after_trend AFTER INSERT ON calibration_trend
    REFERENCING NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION status_after_new_trend();
CREATE OR REPLACE FUNCTION status_after_trend() RETURNS trigger LANGUAGE plpgsql
SET search_path = public, pg_temp AS $$
DECLARE ids bigint[];
BEGIN
    ids := array(SELECT n.point_id FROM new_rows n JOIN old_rows o ON o.id = n.id
                 JOIN plant_measuringpoint p ON p.id = n.point_id
                 WHERE (n.doubt_on, n.transmitter_id)
                     IS DISTINCT FROM (o.doubt_on, o.transmitter_id)
                     AND least(n.doubt_on, o.doubt_on)
                         <= greatest((now() + interval '1 day')::date, p.known_on));
    IF cardinality(ids) > 0 THEN
        PERFORM settle_status(ids);
    END IF;
    RETURN NULL;
END $$;
