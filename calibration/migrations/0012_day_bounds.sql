-- A day of the first or the tenth millennium is a slip of the keyboard: counted in days from today it
-- fits no column, and one such due date stopped the reminders of all sites. What is derived (trends,
-- counts) follows from what is entered and needs no bound of its own. NOT VALID: a day that was stored
-- before stays to be corrected.
DO $$
DECLARE r record;
BEGIN
    FOR r IN
        SELECT c.relname, a.attname
        FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid
        WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r'
            AND c.relname ~ '^(plant|calibration)_' AND a.atttypid = 'date'::regtype
            AND NOT a.attisdropped AND a.attgenerated = ''
            AND c.relname NOT IN ('calibration_trend', 'plant_duecount')
    LOOP
        EXECUTE format(
            'ALTER TABLE %I ADD CONSTRAINT %I CHECK (%I BETWEEN ''1950-01-01'' AND ''2149-12-31'') NOT VALID',
            r.relname, r.relname || '_' || r.attname || '_check', r.attname);
    END LOOP;
END $$;
