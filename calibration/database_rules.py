"""Rules about records that live in the database, as migration operations (see
plant.database_rules).
"""

from __future__ import annotations

from django.db.migrations import RunSQL

RECORDS_NEVER_CHANGE = RunSQL(
    """
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
    CREATE TRIGGER record_stays_as_sent BEFORE UPDATE OR DELETE ON calibration_calibration
        FOR EACH ROW EXECUTE FUNCTION record_stays_as_sent();

    CREATE FUNCTION parts_come_with_their_record() RETURNS trigger LANGUAGE plpgsql AS $$
    DECLARE late bigint;
    BEGIN
        SELECT n.record_id INTO late FROM new_rows n JOIN calibration_calibration r ON r.id = n.record_id
        WHERE r.entered_in <> pg_current_xact_id()::text::bigint LIMIT 1;
        IF late IS NOT NULL THEN
            RAISE EXCEPTION 'Record % is complete: nothing is added to it.', late
                USING ERRCODE = 'integrity_constraint_violation', CONSTRAINT = 'parts_come_with_their_record';
        END IF;
        RETURN NULL;
    END $$;
    """,
    """
    DROP TRIGGER record_stays_as_sent ON calibration_calibration;
    DROP FUNCTION parts_come_with_their_record; DROP FUNCTION record_stays_as_sent;
    """,
)


def part_of_record(table: str) -> RunSQL:
    """Rows that belong to a record come in its own transaction and never change or go."""
    return RunSQL(
        f"""
        CREATE TRIGGER {table}_with_record AFTER INSERT ON {table} REFERENCING NEW TABLE AS new_rows
            FOR EACH STATEMENT EXECUTE FUNCTION parts_come_with_their_record();
        CREATE TRIGGER {table}_stays BEFORE UPDATE OR DELETE ON {table}
            FOR EACH ROW EXECUTE FUNCTION refuse_change('What belongs to a record never changes.');
        """,
        f"DROP TRIGGER {table}_stays ON {table}; DROP TRIGGER {table}_with_record ON {table};",
    )


STANDARD_COVERS_THE_DAY = RunSQL(
    """
    ALTER TABLE calibration_standarduse ADD CONSTRAINT certificate_of_that_standard
        FOREIGN KEY (certificate_id, standard_id) REFERENCES calibration_standardcertificate (id, standard_id)
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
    """,
    """
    DROP TRIGGER standard_covers_the_day ON calibration_standarduse;
    DROP FUNCTION standard_covers_the_day;
    ALTER TABLE calibration_standarduse DROP CONSTRAINT certificate_of_that_standard;
    """,
)

PUBLISHED_PROCEDURES_STAY = RunSQL(
    """
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
    """,
    """
    DROP TRIGGER published_steps_stay ON calibration_procedurestep; DROP FUNCTION published_steps_stay;
    DROP TRIGGER published_version_stays ON calibration_procedureversion;
    """,
)

FIELD_WORK_STAYS_AS_SIGNED = RunSQL(
    """
    CREATE FUNCTION field_work_stays_as_signed() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        IF TG_OP = 'DELETE' THEN
            RAISE EXCEPTION 'Work % is never deleted.', OLD.id
                USING ERRCODE = 'integrity_constraint_violation', CONSTRAINT = 'field_work_stays_as_signed';
        END IF;
        IF (OLD.submission, OLD.job_id, OLD.person_id, OLD.content_sha256, OLD.signed_at)
            IS DISTINCT FROM (NEW.submission, NEW.job_id, NEW.person_id, NEW.content_sha256, NEW.signed_at)
            OR (OLD.content <> '' AND OLD.content <> NEW.content) THEN
            RAISE EXCEPTION 'Work % stays as it was signed.', OLD.id
                USING ERRCODE = 'integrity_constraint_violation', CONSTRAINT = 'field_work_stays_as_signed';
        END IF;
        IF NEW.content <> '' AND encode(sha256(convert_to(NEW.content, 'UTF8')), 'hex') <> NEW.content_sha256 THEN
            RAISE EXCEPTION 'What came in for work % is not what was signed.', OLD.id
                USING ERRCODE = 'integrity_constraint_violation', CONSTRAINT = 'field_work_stays_as_signed';
        END IF;
        RETURN NEW;
    END $$;
    CREATE TRIGGER field_work_stays_as_signed BEFORE UPDATE OR DELETE ON calibration_fieldwork
        FOR EACH ROW EXECUTE FUNCTION field_work_stays_as_signed();
    """,
    """
    DROP TRIGGER field_work_stays_as_signed ON calibration_fieldwork;
    DROP FUNCTION field_work_stays_as_signed;
    """,
)

# What the database computes itself is not there yet before the change: the same look, after it.
RECORD_STAYS_AFTER = RunSQL(
    """
    DROP TRIGGER record_stays_as_sent ON calibration_calibration;
    CREATE TRIGGER record_stays_as_sent AFTER UPDATE OR DELETE ON calibration_calibration
        FOR EACH ROW EXECUTE FUNCTION record_stays_as_sent();
    """,
    """
    DROP TRIGGER record_stays_as_sent ON calibration_calibration;
    CREATE TRIGGER record_stays_as_sent BEFORE UPDATE OR DELETE ON calibration_calibration
        FOR EACH ROW EXECUTE FUNCTION record_stays_as_sent();
    """,
)


def _records_kept(left_out: str) -> str:
    """Row history of records as plant.database_rules.kept makes it, without these columns."""
    return f"""
        DROP TRIGGER calibration_calibration_kept_update ON calibration_calibration;
        CREATE TRIGGER calibration_calibration_kept_update AFTER UPDATE ON calibration_calibration
            REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
            FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{{{left_out}}}');
        DROP TRIGGER calibration_calibration_kept_delete ON calibration_calibration;
        CREATE TRIGGER calibration_calibration_kept_delete AFTER DELETE ON calibration_calibration
            REFERENCING OLD TABLE AS old_rows
            FOR EACH STATEMENT EXECUTE FUNCTION keep_row_history('{{{left_out}}}');
    """


# What a drift needs of a record, packed as calibration.drift.results.ROW reads it, in an index by
# itself: sending 15 columns of a wide row takes four times as long as one. Row history does
# without: it follows from the others.
DRIFT_ROW = RunSQL(
    f"""
    ALTER TABLE calibration_calibration ADD COLUMN drift_row bytea GENERATED ALWAYS AS (
        int8send(point_id) || int8send(id) || int8send(coalesce(amends_id, 0)) || int8send(transmitter_id)
        || int8send(coalesce(job_id, 0)) || int4send(done_on - DATE '2000-01-01')
        || int4send(adjusted::int + 2 * shows_failure::int + 4 * (found_verdict = 'fail')::int
            + 8 * (way = 'simulated output')::int)
        || float8send(coalesce(found_at_zero, 'NaN')) || float8send(coalesce(found_at_span, 'NaN'))
        || float8send(coalesce(left_at_zero, 'NaN')) || float8send(coalesce(left_at_span, 'NaN'))
        || float8send(coalesce(u_zero, 'NaN')) || float8send(coalesce(u_span, 'NaN'))
        || float8send(coalesce(u_zero_shared, 0)) || float8send(coalesce(u_span_shared, 0))
    ) STORED;
    CREATE INDEX record_drift_rows ON calibration_calibration (point_id, done_on, id) INCLUDE (drift_row)
        WHERE state = 'approved';
    {_records_kept("drift_row")}
    """,  # a new column of a full table: minutes for a million records, once
    f"{_records_kept('')} ALTER TABLE calibration_calibration DROP COLUMN drift_row;",
)
