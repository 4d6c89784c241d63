-- The shape of each record's tests: by position (0, 25, 50, 75, 100 % rising, 75, 50, 25, 0 % falling)
-- the error less the line between the errors at zero and span, the mean of as found and as left.
-- Then the packed row takes it along.
DROP INDEX record_drift_rows;
ALTER TABLE calibration_calibration DROP COLUMN drift_row;
ALTER TABLE calibration_calibration DISABLE TRIGGER USER;
UPDATE calibration_calibration c SET shape = s.shape FROM (
    SELECT record_id, ARRAY[
        coalesce(avg(rest) FILTER (WHERE position = 0), 'NaN'),
        coalesce(avg(rest) FILTER (WHERE position = 1), 'NaN'),
        coalesce(avg(rest) FILTER (WHERE position = 2), 'NaN'),
        coalesce(avg(rest) FILTER (WHERE position = 3), 'NaN'),
        coalesce(avg(rest) FILTER (WHERE position = 4), 'NaN'),
        coalesce(avg(rest) FILTER (WHERE position = 5), 'NaN'),
        coalesce(avg(rest) FILTER (WHERE position = 6), 'NaN'),
        coalesce(avg(rest) FILTER (WHERE position = 7), 'NaN'),
        coalesce(avg(rest) FILTER (WHERE position = 8), 'NaN')] AS shape
    FROM (
        SELECT record_id, stage, CASE WHEN rising THEN nearest ELSE 8 - nearest END AS position,
            avg(error - (1 - x) * zero - x * span) AS rest
        FROM (
            SELECT g.record_id, g.stage, g.rising, g.error_percent AS error, a.x,
                greatest(0, least(4, floor(4 * a.x + 0.5)))::int AS nearest,
                CASE g.stage WHEN 'as found' THEN r.found_at_zero ELSE r.left_at_zero END AS zero,
                CASE g.stage WHEN 'as found' THEN r.found_at_span ELSE r.left_at_span END AS span
            FROM calibration_reading g
            JOIN calibration_calibration r ON r.id = g.record_id
            CROSS JOIN LATERAL (
                SELECT ((g.applied - r.lower) / (r.upper - r.lower))::float8 AS x) a
            WHERE g.stage IN ('as found', 'as left') AND g.band NOT LIKE 'failure%'
                AND NOT (g.stage = 'as found' AND r.shows_failure)
        ) readings
        WHERE zero IS NOT NULL AND span IS NOT NULL
        GROUP BY 1, 2, 3
    ) stages
    GROUP BY 1
) s
WHERE s.record_id = c.id;
ALTER TABLE calibration_calibration ENABLE TRIGGER USER;
ALTER TABLE calibration_calibration ADD COLUMN drift_row bytea GENERATED ALWAYS AS (
    int8send(point_id) || int8send(id) || int8send(coalesce(amends_id, 0))
        || int8send(transmitter_id)
    || int8send(coalesce(job_id, 0)) || int4send(done_on - DATE '2000-01-01')
    || int4send(adjusted::int + 2 * shows_failure::int + 4 * (found_verdict = 'fail')::int
        + 8 * (way = 'simulated output')::int)
    || float8send(coalesce(found_at_zero, 'NaN')) || float8send(coalesce(found_at_span, 'NaN'))
    || float8send(coalesce(left_at_zero, 'NaN')) || float8send(coalesce(left_at_span, 'NaN'))
    || float8send(coalesce(u_zero, 'NaN')) || float8send(coalesce(u_span, 'NaN'))
    || float8send(coalesce(u_zero_shared, 0)) || float8send(coalesce(u_span_shared, 0))
    || float4send(coalesce(shape[1], 'NaN')::float4) || float4send(coalesce(shape[2], 'NaN')::float4)
    || float4send(coalesce(shape[3], 'NaN')::float4) || float4send(coalesce(shape[4], 'NaN')::float4)
    || float4send(coalesce(shape[5], 'NaN')::float4) || float4send(coalesce(shape[6], 'NaN')::float4)
    || float4send(coalesce(shape[7], 'NaN')::float4) || float4send(coalesce(shape[8], 'NaN')::float4)
    || float4send(coalesce(shape[9], 'NaN')::float4)
) STORED;
CREATE INDEX record_drift_rows ON calibration_calibration (point_id, done_on, id)
    INCLUDE (drift_row)
    WHERE state = 'approved';
-- Families know no shape yet: the next tick has all of them computed again.
INSERT INTO calibration_fleetrun (started_at, alive_at, points, done, proposals, steps, trouble)
SELECT now(), now() - interval '15 minutes', 0, 0, 0, 0, ''
WHERE EXISTS (SELECT FROM calibration_calibration);
