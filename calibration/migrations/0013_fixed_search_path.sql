-- A function finds a session's temporary tables before ours unless its search path says otherwise: a
-- temporary table of the name of one of ours let readings be added to an approved record. What is
-- written in plain SQL and reads no table (units) stays as it is, so that it can be planned inline.
DO $$
DECLARE r record;
BEGIN
    FOR r IN
        SELECT p.oid::regprocedure AS name
        FROM pg_proc p JOIN pg_language l ON l.oid = p.prolang
        WHERE p.pronamespace = 'public'::regnamespace AND l.lanname = 'plpgsql'
            AND p.proowner = current_user::regrole
            AND NOT EXISTS (SELECT FROM unnest(p.proconfig) c WHERE c LIKE 'search_path=%')
    LOOP
        EXECUTE format('ALTER FUNCTION %s SET search_path = public, pg_temp', r.name);
    END LOOP;
END $$;
