-- Rights. A site's role may append rows of its own site, and read nothing.
--
-- Functions name pg_temp last in their search_path: unnamed it comes first, and a role's own type "text" would run the
-- role's code as the owner (PostgreSQL 15, CREATE FUNCTION, "Writing SECURITY DEFINER Functions Safely").

-- The site of the role that is connected; NULL = it has none.
CREATE FUNCTION ohmkeep.own_site() RETURNS integer LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, pg_temp
AS $$ SELECT id FROM ohmkeep.site WHERE role = session_user $$;

-- The site of a name. The owner adds it; a site's role gets its own under any name.
CREATE FUNCTION ohmkeep.enter(site_name text) RETURNS TABLE (id integer, name text) LANGUAGE plpgsql SECURITY INVOKER SET search_path = pg_catalog, pg_temp
AS $$
BEGIN
    IF ohmkeep.own_site() IS NOT NULL THEN
        RETURN QUERY SELECT * FROM ohmkeep.own();
        RETURN;
    END IF;
    IF NOT has_table_privilege('ohmkeep.site', 'INSERT') THEN
        RAISE insufficient_privilege USING MESSAGE = format('role %s belongs to no site', session_user),
            HINT = 'ohmkeep fleet enrol SITE --role ' || session_user;
    END IF;
    INSERT INTO ohmkeep.site (name) VALUES (site_name) ON CONFLICT DO NOTHING;
    RETURN QUERY SELECT s.id, s.name FROM ohmkeep.site s WHERE s.name = site_name;
END $$;

CREATE FUNCTION ohmkeep.own() RETURNS TABLE (id integer, name text) LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, pg_temp
AS $$ SELECT s.id, s.name FROM ohmkeep.site s WHERE s.role = session_user $$;

-- Refuses another site than the role's own. The owner may write for any.
CREATE FUNCTION ohmkeep.check_site(of integer) RETURNS void LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = pg_catalog, pg_temp
AS $$
BEGIN
    IF (of IS NULL OR of IS DISTINCT FROM ohmkeep.own_site()) AND NOT has_table_privilege(session_user, 'ohmkeep.site', 'INSERT') THEN
        RAISE insufficient_privilege USING MESSAGE = format('role %s may not write for site %s', session_user, of);
    END IF;
END $$;

-- Up to which moment the readings of a run have arrived.
CREATE FUNCTION ohmkeep.arrived(of integer, run_name text) RETURNS bigint LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp
AS $$
BEGIN
    PERFORM ohmkeep.check_site(of);
    INSERT INTO ohmkeep.run (site, name) VALUES (of, run_name) ON CONFLICT DO NOTHING;
    RETURN (SELECT arrived FROM ohmkeep.run WHERE site = of AND name = run_name);
END $$;

-- Records that a site has sent something, and up to which moment its readings have arrived.
CREATE FUNCTION ohmkeep.heard(of integer, run_name text, until bigint) RETURNS void LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp
AS $$
BEGIN
    PERFORM ohmkeep.check_site(of);
    UPDATE ohmkeep.run SET heard = clock_timestamp(), arrived = coalesce(until, arrived) WHERE site = of AND name = run_name;
END $$;

-- Records which verdicts of a run are the newest; NULL = there are no new ones.
CREATE FUNCTION ohmkeep.judged(of integer, run_name text, assessed bigint, analysed bigint) RETURNS void LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp
AS $$
BEGIN
    PERFORM ohmkeep.check_site(of);
    UPDATE ohmkeep.run SET assess = greatest(assess, assessed), drift = greatest(drift, analysed) WHERE site = of AND name = run_name;
    UPDATE ohmkeep.run SET (elements, unproven) = (SELECT count(*), count(*) FILTER (WHERE verdict = 'unproven') FROM ohmkeep.latest l WHERE l.site = of AND l.run = run_name)
    WHERE site = of AND name = run_name;
END $$;

-- Adds the run file if it is another one than the newest.
CREATE FUNCTION ohmkeep.describe(of integer, run_name text, file text, site_place text, installer_name text) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp
AS $$
BEGIN
    PERFORM ohmkeep.check_site(of);
    IF file IS DISTINCT FROM (SELECT f.text FROM ohmkeep.run_file f WHERE f.site = of AND f.run = run_name ORDER BY f.taken DESC LIMIT 1) THEN
        INSERT INTO ohmkeep.run_file (site, run, text) VALUES (of, run_name, file);
    END IF;
    UPDATE ohmkeep.run SET installer = installer_name WHERE site = of AND name = run_name AND installer <> installer_name;
    UPDATE ohmkeep.site SET place = site_place WHERE id = of AND place = '' AND site_place <> '';
END $$;

-- Makes the partition of the month of a moment.
CREATE FUNCTION ohmkeep.month(moment bigint) RETURNS void LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp
AS $$
DECLARE
    begins timestamp := date_trunc('month', to_timestamp(moment / 1000000000) AT TIME ZONE 'UTC');
    ends   timestamp := begins + interval '1 month';
    part   text := 'reading_' || to_char(begins, 'YYYY_MM');
    since  numeric := extract(epoch FROM begins) * 1000000000;
    before text := CASE WHEN begins >= timestamp '2262-04-01' THEN 'MAXVALUE'
        ELSE trunc(extract(epoch FROM ends) * 1000000000)::text END;
BEGIN
    PERFORM ohmkeep.check_site(ohmkeep.own_site());
    IF moment < 0 THEN
        RAISE data_exception USING MESSAGE = 'a reading is not dated before 1970';
    END IF;
    IF to_regclass('ohmkeep.' || part) IS NOT NULL THEN
        RETURN;
    END IF;
    BEGIN
        EXECUTE format('CREATE TABLE ohmkeep.%I PARTITION OF ohmkeep.reading FOR VALUES FROM (%s) TO (%s)', part, trunc(since)::text, before);
    EXCEPTION WHEN duplicate_table THEN
        NULL; -- another site has made it meanwhile
    END;
END $$;

-- Gives a role the right to append for a site.
CREATE FUNCTION ohmkeep.enrol(site_name text, role_name text) RETURNS integer LANGUAGE plpgsql SECURITY INVOKER SET search_path = pg_catalog, pg_temp
AS $$
DECLARE
    number integer;
BEGIN
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = role_name) THEN
        RAISE undefined_object USING MESSAGE = format('no role is named %s', role_name), HINT = 'createuser --pwprompt ' || role_name || ' makes it';
    END IF;
    INSERT INTO ohmkeep.site (name) VALUES (site_name) ON CONFLICT DO NOTHING;
    UPDATE ohmkeep.site SET role = role_name WHERE name = site_name RETURNING id INTO number;
    EXECUTE format('GRANT USAGE ON SCHEMA ohmkeep TO %I', role_name);
    EXECUTE format('GRANT INSERT ON ohmkeep.series, ohmkeep.reading, ohmkeep.revision, ohmkeep.mark, ohmkeep.verdict TO %I', role_name);
    RETURN number;
END $$;

DO $$
DECLARE
    t text;
BEGIN
    FOREACH t IN ARRAY ARRAY['series', 'reading', 'revision', 'mark', 'verdict'] LOOP
        EXECUTE format('ALTER TABLE ohmkeep.%I ENABLE ROW LEVEL SECURITY', t);
        EXECUTE format('CREATE POLICY own ON ohmkeep.%I FOR INSERT WITH CHECK (site = (SELECT ohmkeep.own_site()))', t);
    END LOOP;
END $$;

-- The latest verdicts of every run.
CREATE VIEW ohmkeep.latest AS
    SELECT v.* FROM ohmkeep.run r JOIN ohmkeep.verdict v ON v.site = r.site AND v.run = r.name AND v.source = 'assess' AND v.taken = r.assess
    UNION ALL
    SELECT v.* FROM ohmkeep.run r JOIN ohmkeep.verdict v ON v.site = r.site AND v.run = r.name AND v.source = 'drift' AND v.taken = r.drift;
