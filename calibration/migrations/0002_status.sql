-- What of the policy that holds for a point its status needs.
CREATE VIEW calibration_statuspolicy AS
SELECT p.id AS point_id,
    coalesce(own.parts_within_days, duty.parts_within_days, 30) AS parts_within_days,
    coalesce(own.least_chance_percent, duty.least_chance_percent, 80) AS least_chance_percent
FROM plant_measuringpoint p
LEFT JOIN calibration_policy own ON own.point_id = p.id
LEFT JOIN calibration_policy duty
    ON duty.site_id = p.site_id AND duty.duty = p.duty AND duty.point_id IS NULL;

-- Standing records that speak for a point as it is: of the transmitter that is there, since it was
-- installed, at the present range.
CREATE VIEW calibration_currentrecord AS
SELECT r.id AS record_id, r.point_id, r.done_on, r.is_check, r.covers_output, r.covers_primary,
    r.left_verdict, k.parts_within_days
FROM plant_measuringpoint p
JOIN calibration_statuspolicy k ON k.point_id = p.id
JOIN plant_installation i ON i.point_id = p.id AND i.removed_on IS NULL
JOIN calibration_calibration r ON r.point_id = p.id AND r.transmitter_id = i.transmitter_id
WHERE r.state = 'approved' AND r.done_on >= i.installed_on
    AND (p.ranged_on IS NULL OR r.done_on >= p.ranged_on)
    AND r.quantity = p.quantity AND r.signal = p.signal
    AND abs(base_of(r.lower, r.unit) - p.lower_base) < 1e-6
    AND abs(base_of(r.upper, r.unit) - p.upper_base) < 1e-6
    AND NOT EXISTS (SELECT FROM calibration_calibration a
                    WHERE a.amends_id = r.id AND a.state = 'approved');

-- Calibrations, not checks, that by themselves or with one before them cover output and primary
-- element, and left neither out of tolerance. The interval counts from the older of the two parts.
CREATE VIEW calibration_completeresult AS
SELECT w.record_id, w.point_id, w.done_on, least(w.output_on, w.primary_on) AS counts_from
FROM (
    SELECT c.*,
        max(c.done_on) FILTER (WHERE c.covers_output) OVER earlier AS output_on,
        max(c.done_on) FILTER (WHERE c.covers_primary) OVER earlier AS primary_on
    FROM calibration_currentrecord c WHERE NOT c.is_check AND c.left_verdict <> 'fail'
    WINDOW earlier AS (PARTITION BY c.point_id ORDER BY c.done_on, c.record_id)
) w
WHERE w.output_on IS NOT NULL AND w.primary_on IS NOT NULL
    AND least(w.output_on, w.primary_on) >= w.done_on - w.parts_within_days;

-- The status of these points as it follows from all that is recorded: the worst level of its reasons
-- (0 no transmitter, 1 not calibrated, 2 in doubt, 3 nothing but the calendar), and all of them.
CREATE FUNCTION status_of(ids bigint[])
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
        jsonb_build_object('why', j.why, 'shift', j.shift_percent)
    FROM point p JOIN calibration_job j ON j.point_id = p.id
    WHERE j.state IN ('planned', 'in hand', 'submitted', 'returned')
        AND (j.why <> 'interval' OR j.product_change_id IS NOT NULL)
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
    SELECT p.id, 2, 'chance',
        (SELECT max(c.record_id) FROM current c WHERE c.point_id = p.id),
        jsonb_build_object('on', d.doubt_on, 'floor', p.least_chance_percent)
    FROM point p JOIN calibration_trend d ON d.point_id = p.id
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

-- Keeps it with the points; in the transaction of whatever changed it, since triggers call this.
CREATE FUNCTION settle_status(ids bigint[]) RETURNS void LANGUAGE sql SECURITY DEFINER
SET search_path = public, pg_temp AS $$
    UPDATE plant_measuringpoint p SET condition = s.condition, reasons = s.reasons
    FROM (SELECT * FROM status_of(ids) ORDER BY point_id) s
    WHERE p.id = s.point_id AND (p.condition, p.reasons) IS DISTINCT FROM (s.condition, s.reasons);
$$;

-- The word of earlier results ends with another transmitter, with none, or at another range: the
-- point is due since that day, its deferral and its open proposal end, and the drift of what was
-- there says nothing.
CREATE FUNCTION end_earlier_results(ids bigint[]) RETURNS void LANGUAGE sql SECURITY DEFINER
SET search_path = public, pg_temp AS $$
    DELETE FROM calibration_trend t WHERE t.point_id = ANY (ids) AND NOT EXISTS (
        SELECT FROM plant_installation i WHERE i.point_id = t.point_id AND i.removed_on IS NULL
            AND i.transmitter_id = t.transmitter_id);
    UPDATE calibration_proposal q SET state = 'replaced'
    WHERE q.point_id = ANY (ids) AND q.state IN ('open', 'agreed')
        AND NOT EXISTS (SELECT FROM calibration_completeresult c WHERE c.point_id = q.point_id);
    UPDATE plant_measuringpoint p SET due_on = s.since, deferred_until = NULL
    FROM (
        SELECT m.id, greatest(i.installed_on, m.ranged_on, max(r.done_on)) AS since
        FROM plant_measuringpoint m
        JOIN calibration_calibration r ON r.point_id = m.id AND r.state = 'approved'
        LEFT JOIN plant_installation i ON i.point_id = m.id AND i.removed_on IS NULL
        WHERE m.id = ANY (ids)
            AND NOT EXISTS (SELECT FROM calibration_completeresult c WHERE c.point_id = m.id)
        GROUP BY m.id, i.installed_on
    ) s
    WHERE p.id = s.id AND p.due_on > s.since;
$$;

CREATE FUNCTION status_after_installation() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE ids bigint[];
BEGIN
    IF TG_OP = 'INSERT' THEN
        ids := array(SELECT DISTINCT n.point_id FROM new_rows n);
    ELSIF TG_OP = 'DELETE' THEN
        ids := array(SELECT DISTINCT o.point_id FROM old_rows o);
    ELSE
        ids := array(SELECT n.point_id FROM new_rows n UNION SELECT o.point_id FROM old_rows o);
    END IF;
    PERFORM end_earlier_results(ids);
    PERFORM settle_status(ids);
    RETURN NULL;
END $$;
CREATE TRIGGER status_after_installation AFTER INSERT ON plant_installation
    REFERENCING NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION status_after_installation();
CREATE TRIGGER status_after_installation_changed AFTER UPDATE ON plant_installation
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION status_after_installation();
CREATE TRIGGER status_after_installation_gone AFTER DELETE ON plant_installation
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION status_after_installation();

CREATE FUNCTION status_after_point() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE ranged bigint[]; ids bigint[];
BEGIN
    ranged := array(SELECT n.id FROM new_rows n JOIN old_rows o ON o.id = n.id
                    WHERE n.ranged_on IS DISTINCT FROM o.ranged_on);
    ids := array(SELECT n.id FROM new_rows n JOIN old_rows o ON o.id = n.id
                 WHERE (n.ranged_on, n.procedure_key, n.duty, n.known_on, n.tank_id)
                     IS DISTINCT FROM (o.ranged_on, o.procedure_key, o.duty, o.known_on, o.tank_id));
    IF cardinality(ranged) > 0 THEN
        PERFORM end_earlier_results(ranged);
    END IF;
    IF cardinality(ids) > 0 THEN
        PERFORM settle_status(ids);
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER status_after_point AFTER UPDATE ON plant_measuringpoint
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION status_after_point();

-- A table whose rows name their point: settled are the points of new and changed rows.
CREATE FUNCTION status_after_row() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE ids bigint[];
BEGIN
    ids := array(SELECT DISTINCT n.point_id FROM new_rows n WHERE n.point_id IS NOT NULL);
    IF cardinality(ids) > 0 THEN
        PERFORM settle_status(ids);
    END IF;
    RETURN NULL;
END $$;
CREATE FUNCTION status_after_row_gone() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE ids bigint[];
BEGIN
    ids := array(SELECT DISTINCT o.point_id FROM old_rows o WHERE o.point_id IS NOT NULL);
    IF cardinality(ids) > 0 THEN
        PERFORM settle_status(ids);
    END IF;
    RETURN NULL;
END $$;
-- A new result replaces the proposal that waits: its figures were made without it.
CREATE FUNCTION status_after_record() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE ids bigint[];
BEGIN
    ids := array(SELECT DISTINCT n.point_id FROM new_rows n WHERE n.state = 'approved');
    IF cardinality(ids) > 0 THEN
        UPDATE calibration_proposal SET state = 'replaced'
        WHERE point_id = ANY (ids) AND state IN ('open', 'agreed');
        PERFORM settle_status(ids);
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER status_after_record AFTER INSERT ON calibration_calibration
    REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION status_after_record();
CREATE TRIGGER status_after_record_changed AFTER UPDATE ON calibration_calibration
    REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION status_after_record();
CREATE TRIGGER status_after_job AFTER INSERT ON calibration_job
    REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION status_after_row();
CREATE TRIGGER status_after_job_changed AFTER UPDATE ON calibration_job
    REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION status_after_row();
CREATE TRIGGER status_after_closing AFTER INSERT ON calibration_reasonclosing
    REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION status_after_row();
CREATE TRIGGER status_after_trend AFTER INSERT ON calibration_trend
    REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION status_after_row();
CREATE TRIGGER status_after_trend_gone AFTER DELETE ON calibration_trend
    REFERENCING OLD TABLE AS old_rows FOR EACH STATEMENT EXECUTE FUNCTION status_after_row_gone();

-- Of trends only a moved day of doubt matters: a pass over the fleet writes them all.
CREATE FUNCTION status_after_trend() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE ids bigint[];
BEGIN
    ids := array(SELECT n.point_id FROM new_rows n JOIN old_rows o ON o.id = n.id
                 WHERE (n.doubt_on, n.transmitter_id)
                     IS DISTINCT FROM (o.doubt_on, o.transmitter_id));
    IF cardinality(ids) > 0 THEN
        PERFORM settle_status(ids);
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER status_after_trend_changed AFTER UPDATE ON calibration_trend
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION status_after_trend();

CREATE FUNCTION status_after_product_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM settle_status(array(SELECT p.id FROM plant_measuringpoint p
                                WHERE p.tank_id IN (SELECT n.tank_id FROM new_rows n)));
    RETURN NULL;
END $$;
CREATE TRIGGER status_after_product_change AFTER INSERT ON plant_productchange
    REFERENCING NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION status_after_product_change();
CREATE TRIGGER status_after_product_change_changed AFTER UPDATE ON plant_productchange
    REFERENCING NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION status_after_product_change();

CREATE FUNCTION status_after_withdrawal() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE changed bigint[]; ids bigint[];
BEGIN
    changed := array(SELECT n.id FROM new_rows n JOIN old_rows o ON o.id = n.id
                     WHERE n.withdrawn_on IS DISTINCT FROM o.withdrawn_on);
    IF cardinality(changed) = 0 THEN
        RETURN NULL;
    END IF;
    IF TG_TABLE_NAME = 'calibration_standardcertificate' THEN
        ids := array(SELECT DISTINCT r.point_id FROM calibration_standarduse u
                     JOIN calibration_calibration r ON r.id = u.record_id
                     WHERE u.certificate_id = ANY (changed));
    ELSE
        ids := array(SELECT DISTINCT r.point_id FROM calibration_standarduse u
                     JOIN calibration_calibration r ON r.id = u.record_id
                     WHERE u.standard_id = ANY (changed));
    END IF;
    PERFORM settle_status(ids);
    RETURN NULL;
END $$;
CREATE TRIGGER status_after_certificate AFTER UPDATE ON calibration_standardcertificate
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION status_after_withdrawal();
CREATE TRIGGER status_after_standard AFTER UPDATE ON calibration_referencestandard
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION status_after_withdrawal();

CREATE FUNCTION status_after_policy() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE ids bigint[];
BEGIN
    IF TG_OP = 'DELETE' THEN
        ids := array(SELECT p.id FROM plant_measuringpoint p JOIN old_rows o
                     ON o.point_id = p.id OR o.point_id IS NULL AND o.site_id = p.site_id
                         AND o.duty = p.duty);
    ELSE
        ids := array(SELECT p.id FROM plant_measuringpoint p JOIN new_rows n
                     ON n.point_id = p.id OR n.point_id IS NULL AND n.site_id = p.site_id
                         AND n.duty = p.duty);
    END IF;
    PERFORM settle_status(ids);
    RETURN NULL;
END $$;
CREATE TRIGGER status_after_policy AFTER INSERT ON calibration_policy
    REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION status_after_policy();
CREATE TRIGGER status_after_policy_changed AFTER UPDATE ON calibration_policy
    REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION status_after_policy();
CREATE TRIGGER status_after_policy_gone AFTER DELETE ON calibration_policy
    REFERENCING OLD TABLE AS old_rows FOR EACH STATEMENT EXECUTE FUNCTION status_after_policy();

CREATE FUNCTION status_after_procedure() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM settle_status(array(SELECT p.id FROM plant_measuringpoint p
                                WHERE p.procedure_key IN (SELECT n.key FROM new_rows n)));
    RETURN NULL;
END $$;
CREATE TRIGGER status_after_procedure AFTER INSERT ON calibration_procedure
    REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION status_after_procedure();
CREATE TRIGGER status_after_procedure_changed AFTER UPDATE ON calibration_procedure
    REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION status_after_procedure();

-- Standard uses and readings are stored after their record; an imported record is approved as it
-- comes, so its standards settle the status once more.
CREATE FUNCTION status_after_standard_use() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE ids bigint[];
BEGIN
    ids := array(SELECT DISTINCT r.point_id FROM new_rows n
                 JOIN calibration_calibration r ON r.id = n.record_id WHERE r.state = 'approved');
    IF cardinality(ids) > 0 THEN
        PERFORM settle_status(ids);
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER status_after_standard_use AFTER INSERT ON calibration_standarduse
    REFERENCING NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION status_after_standard_use();

-- Closings are only added.
ALTER TABLE calibration_reasonclosing ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_reasonclosing_only_added BEFORE UPDATE OR DELETE
    ON calibration_reasonclosing
    FOR EACH ROW
        EXECUTE FUNCTION refuse_change('Rows of calibration_reasonclosing are never changed or deleted.');
CREATE TRIGGER calibration_reasonclosing_no_truncate BEFORE TRUNCATE ON calibration_reasonclosing
    FOR EACH STATEMENT
        EXECUTE FUNCTION refuse_change('calibration_reasonclosing cannot be emptied.');
ALTER TABLE calibration_reasonclosing ADD CONSTRAINT calibration_reasonclosing_point_id_of_its_site
    FOREIGN KEY (point_id, site_id)
    REFERENCES plant_measuringpoint (id, site_id) DEFERRABLE INITIALLY DEFERRED;

-- The status of every point that is there already.
UPDATE plant_measuringpoint SET known_on = current_date;
