ALTER TABLE calibration_referencestandard ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_referencestandard_kept_update AFTER UPDATE
    ON calibration_referencestandard
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_referencestandard_kept_delete AFTER DELETE
    ON calibration_referencestandard
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_referencestandard_no_truncate BEFORE TRUNCATE
    ON calibration_referencestandard
    FOR EACH STATEMENT
        EXECUTE FUNCTION refuse_change('calibration_referencestandard cannot be emptied.');

ALTER TABLE calibration_standardcertificate ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_standardcertificate_kept_update AFTER UPDATE
    ON calibration_standardcertificate
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_standardcertificate_kept_delete AFTER DELETE
    ON calibration_standardcertificate
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_standardcertificate_no_truncate BEFORE TRUNCATE
    ON calibration_standardcertificate
    FOR EACH STATEMENT
        EXECUTE FUNCTION refuse_change('calibration_standardcertificate cannot be emptied.');

ALTER TABLE calibration_procedure ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_procedure_kept_update AFTER UPDATE ON calibration_procedure
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_procedure_kept_delete AFTER DELETE ON calibration_procedure
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_procedure_no_truncate BEFORE TRUNCATE ON calibration_procedure
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('calibration_procedure cannot be emptied.');

ALTER TABLE calibration_procedureversion ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_procedureversion_kept_update AFTER UPDATE ON calibration_procedureversion
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_procedureversion_kept_delete AFTER DELETE ON calibration_procedureversion
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_procedureversion_no_truncate BEFORE TRUNCATE
    ON calibration_procedureversion
    FOR EACH STATEMENT
        EXECUTE FUNCTION refuse_change('calibration_procedureversion cannot be emptied.');

ALTER TABLE calibration_procedurestep ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_procedurestep_kept_update AFTER UPDATE ON calibration_procedurestep
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_procedurestep_kept_delete AFTER DELETE ON calibration_procedurestep
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_procedurestep_no_truncate BEFORE TRUNCATE ON calibration_procedurestep
    FOR EACH STATEMENT
        EXECUTE FUNCTION refuse_change('calibration_procedurestep cannot be emptied.');

ALTER TABLE calibration_job ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_job_kept_update AFTER UPDATE ON calibration_job
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_job_kept_delete AFTER DELETE ON calibration_job
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_job_no_truncate BEFORE TRUNCATE ON calibration_job
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('calibration_job cannot be emptied.');

ALTER TABLE calibration_round ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_round_kept_update AFTER UPDATE ON calibration_round
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_round_kept_delete AFTER DELETE ON calibration_round
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_round_no_truncate BEFORE TRUNCATE ON calibration_round
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('calibration_round cannot be emptied.');

ALTER TABLE calibration_calibration ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_calibration_kept_update AFTER UPDATE ON calibration_calibration
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{drift_row}');
CREATE TRIGGER calibration_calibration_kept_delete AFTER DELETE ON calibration_calibration
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{drift_row}');

CREATE TRIGGER calibration_calibration_no_truncate BEFORE TRUNCATE ON calibration_calibration
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('calibration_calibration cannot be emptied.');

ALTER TABLE calibration_reading ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_reading_kept_update AFTER UPDATE ON calibration_reading
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_reading_kept_delete AFTER DELETE ON calibration_reading
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_reading_no_truncate BEFORE TRUNCATE ON calibration_reading
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('calibration_reading cannot be emptied.');

ALTER TABLE calibration_adjustment ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_adjustment_kept_update AFTER UPDATE ON calibration_adjustment
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_adjustment_kept_delete AFTER DELETE ON calibration_adjustment
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_adjustment_no_truncate BEFORE TRUNCATE ON calibration_adjustment
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('calibration_adjustment cannot be emptied.');

ALTER TABLE calibration_standarduse ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_standarduse_kept_update AFTER UPDATE ON calibration_standarduse
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_standarduse_kept_delete AFTER DELETE ON calibration_standarduse
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_standarduse_no_truncate BEFORE TRUNCATE ON calibration_standarduse
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('calibration_standarduse cannot be emptied.');

ALTER TABLE calibration_finding ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_finding_kept_update AFTER UPDATE ON calibration_finding
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_finding_kept_delete AFTER DELETE ON calibration_finding
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_finding_no_truncate BEFORE TRUNCATE ON calibration_finding
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('calibration_finding cannot be emptied.');

ALTER TABLE calibration_deferral ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_deferral_kept_update AFTER UPDATE ON calibration_deferral
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_deferral_kept_delete AFTER DELETE ON calibration_deferral
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_deferral_no_truncate BEFORE TRUNCATE ON calibration_deferral
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('calibration_deferral cannot be emptied.');

ALTER TABLE calibration_job ADD CONSTRAINT calibration_job_point_id_of_its_site
    FOREIGN KEY (point_id, site_id)
    REFERENCES plant_measuringpoint (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE calibration_job ADD CONSTRAINT calibration_job_round_id_of_its_site
    FOREIGN KEY (round_id, site_id)
    REFERENCES calibration_round (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE calibration_calibration ADD CONSTRAINT calibration_calibration_point_id_of_its_site FOREIGN KEY (point_id, site_id)
    REFERENCES plant_measuringpoint (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE calibration_calibration ADD CONSTRAINT calibration_calibration_transmitter_id_of_its_site FOREIGN KEY (transmitter_id, site_id)
    REFERENCES plant_transmitter (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE calibration_finding ADD CONSTRAINT calibration_finding_point_id_of_its_site
    FOREIGN KEY (point_id, site_id)
    REFERENCES plant_measuringpoint (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE calibration_deferral ADD CONSTRAINT calibration_deferral_point_id_of_its_site
    FOREIGN KEY (point_id, site_id)
    REFERENCES plant_measuringpoint (id, site_id) DEFERRABLE INITIALLY DEFERRED;

CREATE FUNCTION record_stays_as_sent() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE signatures text[] := ARRAY['state', 'approved_by_id', 'approved_by_name', 'approved_at',
    'approval_note', 'returned_by_id', 'returned_at', 'return_reason'];
BEGIN
    IF TG_OP = 'DELETE' THEN
        RAISE EXCEPTION 'Record % is never deleted.', OLD.id
            USING ERRCODE = 'integrity_constraint_violation', CONSTRAINT = 'record_stays_as_sent';
    END IF;
    IF OLD.state <> 'submitted' THEN
        RAISE EXCEPTION 'Record % is %: it never changes. Correct it by an amendment.', OLD.id, OLD.state
            USING ERRCODE = 'integrity_constraint_violation', CONSTRAINT = 'record_stays_as_sent';
    END IF;
    IF to_jsonb(OLD) - signatures <> to_jsonb(NEW) - signatures THEN
        RAISE EXCEPTION 'Record % stays as it was sent; return it and send a new one.', OLD.id
            USING ERRCODE = 'integrity_constraint_violation', CONSTRAINT = 'record_stays_as_sent';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER record_stays_as_sent AFTER UPDATE OR DELETE ON calibration_calibration
    FOR EACH ROW EXECUTE FUNCTION record_stays_as_sent();

CREATE FUNCTION parts_come_with_their_record() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE late bigint;
BEGIN
    SELECT n.record_id INTO late FROM new_rows n JOIN calibration_calibration r
        ON r.id = n.record_id
    WHERE r.entered_in <> pg_current_xact_id()::text::bigint LIMIT 1;
    IF late IS NOT NULL THEN
        RAISE EXCEPTION 'Record % is complete: nothing is added to it.', late
            USING ERRCODE = 'integrity_constraint_violation',
                CONSTRAINT = 'parts_come_with_their_record';
    END IF;
    RETURN NULL;
END $$;

CREATE TRIGGER calibration_reading_with_record AFTER INSERT ON calibration_reading
    REFERENCING NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION parts_come_with_their_record();
CREATE TRIGGER calibration_reading_stays BEFORE UPDATE OR DELETE ON calibration_reading
    FOR EACH ROW EXECUTE FUNCTION refuse_change('What belongs to a record never changes.');

CREATE TRIGGER calibration_adjustment_with_record AFTER INSERT ON calibration_adjustment
    REFERENCING NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION parts_come_with_their_record();
CREATE TRIGGER calibration_adjustment_stays BEFORE UPDATE OR DELETE ON calibration_adjustment
    FOR EACH ROW EXECUTE FUNCTION refuse_change('What belongs to a record never changes.');

CREATE TRIGGER calibration_standarduse_with_record AFTER INSERT
    ON calibration_standarduse REFERENCING NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION parts_come_with_their_record();
CREATE TRIGGER calibration_standarduse_stays BEFORE UPDATE OR DELETE ON calibration_standarduse
    FOR EACH ROW EXECUTE FUNCTION refuse_change('What belongs to a record never changes.');

ALTER TABLE calibration_standarduse ADD CONSTRAINT certificate_of_that_standard
    FOREIGN KEY (certificate_id, standard_id)
        REFERENCES calibration_standardcertificate (id, standard_id)
    DEFERRABLE INITIALLY DEFERRED;

CREATE FUNCTION standard_covers_the_day() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE wrong text;
BEGIN
    SELECT s.name || ' on ' || r.done_on INTO wrong
    FROM new_rows n
    JOIN calibration_calibration r ON r.id = n.record_id
    JOIN calibration_referencestandard s ON s.id = n.standard_id
    JOIN calibration_standardcertificate c ON c.id = n.certificate_id
    WHERE r.done_on NOT BETWEEN c.issued_on AND c.valid_until
       OR c.withdrawn_on <= r.done_on OR s.withdrawn_on <= r.done_on OR s.site_id <> r.site_id
    LIMIT 1;
    IF wrong IS NOT NULL THEN
        RAISE EXCEPTION 'No valid certificate: %.', wrong
            USING ERRCODE = 'check_violation', CONSTRAINT = 'standard_covers_the_day';
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER standard_covers_the_day AFTER INSERT ON calibration_standarduse
    REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION standard_covers_the_day();

CREATE TRIGGER published_version_stays BEFORE UPDATE OR DELETE ON calibration_procedureversion
    FOR EACH ROW WHEN (OLD.published_on IS NOT NULL)
    EXECUTE FUNCTION refuse_change('A published procedure version never changes; publish a new one.');

CREATE FUNCTION published_steps_stay() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF EXISTS (SELECT 1 FROM calibration_procedureversion v WHERE v.published_on IS NOT NULL
               AND v.id IN (OLD.version_id, NEW.version_id)) THEN
        RAISE EXCEPTION 'The steps of a published procedure version never change; publish a new one.'
            USING ERRCODE = 'integrity_constraint_violation', CONSTRAINT = 'published_steps_stay';
    END IF;
    RETURN coalesce(NEW, OLD);
END $$;
CREATE TRIGGER published_steps_stay BEFORE INSERT OR UPDATE OR DELETE ON calibration_procedurestep
    FOR EACH ROW EXECUTE FUNCTION published_steps_stay();

ALTER TABLE calibration_policy ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_policy_kept_update AFTER UPDATE ON calibration_policy
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_policy_kept_delete AFTER DELETE ON calibration_policy
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_policy_no_truncate BEFORE TRUNCATE ON calibration_policy
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('calibration_policy cannot be emptied.');

ALTER TABLE calibration_proposal ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_proposal_kept_update AFTER UPDATE ON calibration_proposal
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_proposal_kept_delete AFTER DELETE ON calibration_proposal
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_proposal_no_truncate BEFORE TRUNCATE ON calibration_proposal
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('calibration_proposal cannot be emptied.');

ALTER TABLE calibration_stepquestion ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_stepquestion_kept_update AFTER UPDATE ON calibration_stepquestion
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_stepquestion_kept_delete AFTER DELETE ON calibration_stepquestion
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_stepquestion_no_truncate BEFORE TRUNCATE ON calibration_stepquestion
    FOR EACH STATEMENT
        EXECUTE FUNCTION refuse_change('calibration_stepquestion cannot be emptied.');

ALTER TABLE calibration_policy ADD CONSTRAINT calibration_policy_point_id_of_its_site
    FOREIGN KEY (point_id, site_id)
    REFERENCES plant_measuringpoint (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE calibration_proposal ADD CONSTRAINT calibration_proposal_point_id_of_its_site
    FOREIGN KEY (point_id, site_id)
    REFERENCES plant_measuringpoint (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE calibration_stepquestion ADD CONSTRAINT calibration_stepquestion_point_id_of_its_site FOREIGN KEY (point_id, site_id)
    REFERENCES plant_measuringpoint (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE calibration_job ADD CONSTRAINT calibration_job_product_change_id_of_its_site
    FOREIGN KEY (product_change_id, site_id)
    REFERENCES plant_productchange (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE calibration_fieldwork ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_fieldwork_kept_update AFTER UPDATE ON calibration_fieldwork
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_fieldwork_kept_delete AFTER DELETE ON calibration_fieldwork
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_fieldwork_no_truncate BEFORE TRUNCATE ON calibration_fieldwork
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('calibration_fieldwork cannot be emptied.');

ALTER TABLE calibration_sitewording ADD COLUMN entered_at timestamptz NOT NULL
    DEFAULT transaction_timestamp(),
    ADD COLUMN entered_in bigint NOT NULL DEFAULT pg_current_xact_id()::text::bigint;
CREATE TRIGGER calibration_sitewording_kept_update AFTER UPDATE ON calibration_sitewording
    REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');
CREATE TRIGGER calibration_sitewording_kept_delete AFTER DELETE ON calibration_sitewording
    REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{}');

CREATE TRIGGER calibration_sitewording_no_truncate BEFORE TRUNCATE ON calibration_sitewording
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('calibration_sitewording cannot be emptied.');

CREATE FUNCTION field_work_stays_as_signed() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'DELETE' THEN
        RAISE EXCEPTION 'Work % is never deleted.', OLD.id
            USING ERRCODE = 'integrity_constraint_violation',
                CONSTRAINT = 'field_work_stays_as_signed';
    END IF;
    IF (OLD.submission, OLD.job_id, OLD.person_id, OLD.content_sha256, OLD.signed_at)
        IS DISTINCT FROM (NEW.submission, NEW.job_id, NEW.person_id, NEW.content_sha256, NEW.signed_at)
        OR (OLD.content <> '' AND OLD.content <> NEW.content) THEN
        RAISE EXCEPTION 'Work % stays as it was signed.', OLD.id
            USING ERRCODE = 'integrity_constraint_violation',
                CONSTRAINT = 'field_work_stays_as_signed';
    END IF;
    IF NEW.content <> ''
        AND encode(sha256(convert_to(NEW.content, 'UTF8')), 'hex') <> NEW.content_sha256 THEN
        RAISE EXCEPTION 'What came in for work % is not what was signed.', OLD.id
            USING ERRCODE = 'integrity_constraint_violation',
                CONSTRAINT = 'field_work_stays_as_signed';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER field_work_stays_as_signed BEFORE UPDATE OR DELETE ON calibration_fieldwork
    FOR EACH ROW EXECUTE FUNCTION field_work_stays_as_signed();

CREATE TRIGGER calibration_fieldphoto_only_added BEFORE UPDATE OR DELETE ON calibration_fieldphoto
    FOR EACH ROW EXECUTE FUNCTION refuse_change('Rows of calibration_fieldphoto are never changed or deleted.');

CREATE TRIGGER calibration_fieldphoto_no_truncate BEFORE TRUNCATE ON calibration_fieldphoto
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('calibration_fieldphoto cannot be emptied.');

CREATE TRIGGER calibration_steptaken_with_record AFTER INSERT ON calibration_steptaken
    REFERENCING NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION parts_come_with_their_record();
CREATE TRIGGER calibration_steptaken_stays BEFORE UPDATE OR DELETE ON calibration_steptaken
    FOR EACH ROW EXECUTE FUNCTION refuse_change('What belongs to a record never changes.');

ALTER TABLE calibration_fieldwork ADD CONSTRAINT calibration_fieldwork_job_id_of_its_site
    FOREIGN KEY (job_id, site_id)
    REFERENCES calibration_job (id, site_id) DEFERRABLE INITIALLY DEFERRED;

ALTER TABLE calibration_trend SET (fillfactor = 45);

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
) STORED;
CREATE INDEX record_drift_rows ON calibration_calibration (point_id, done_on, id)
    INCLUDE (drift_row)
    WHERE state = 'approved';
