-- What has arrived of a run, and of which store.

ALTER TABLE ohmkeep.run
    ADD store text,                         -- identity of the store that sends it; NULL = of none yet
    ADD turn  bigint  NOT NULL DEFAULT 0,   -- newest delivery of that store
    ADD whole integer NOT NULL DEFAULT 0;   -- newest revision that has arrived whole: readers use it and those before
UPDATE ohmkeep.run SET whole = (SELECT coalesce(max(id), 0) FROM ohmkeep.revision v WHERE v.site = run.site AND v.run = run.name);

-- The stores of deleted sites, so that none of them brings its site back.
ALTER TABLE ohmkeep.removal ADD stores text[] NOT NULL DEFAULT '{}';

DROP FUNCTION ohmkeep.enter(text);
DROP FUNCTION ohmkeep.arrived(integer, text);
DROP FUNCTION ohmkeep.heard(integer, text, bigint);

-- The site of a name. The owner adds it, unless the store's site was deleted and it does not take over; a site's role
-- gets its own under any name.
CREATE FUNCTION ohmkeep.enter(site_name text, store_name text, take_over boolean) RETURNS TABLE (id integer, name text)
LANGUAGE plpgsql SECURITY INVOKER SET search_path = pg_catalog, pg_temp
AS $$
DECLARE
    removed timestamptz;
BEGIN
    IF ohmkeep.own_site() IS NOT NULL THEN
        RETURN QUERY SELECT * FROM ohmkeep.own();
        RETURN;
    END IF;
    IF NOT has_table_privilege('ohmkeep.site', 'INSERT') THEN
        RAISE insufficient_privilege USING MESSAGE = format('role %s belongs to no site', session_user),
            HINT = 'ohmkeep fleet enrol SITE --role ' || session_user;
    END IF;
    SELECT at INTO removed FROM ohmkeep.removal WHERE store_name = ANY (stores) ORDER BY at DESC LIMIT 1;
    IF FOUND AND NOT take_over AND NOT EXISTS (SELECT FROM ohmkeep.site s WHERE s.name = site_name) THEN
        RAISE unique_violation USING MESSAGE = format('the site of this store was deleted on %s', to_char(removed AT TIME ZONE 'UTC', 'YYYY-MM-DD')),
            HINT = 'ohmkeep ship with --take-over begins it again';
    END IF;
    INSERT INTO ohmkeep.site (name) VALUES (site_name) ON CONFLICT DO NOTHING;
    RETURN QUERY SELECT s.id, s.name FROM ohmkeep.site s WHERE s.name = site_name;
END $$;

-- Begins to receive of a run what a store sends, and returns what has arrived. Until the end of the transaction the
-- site cannot be deleted, and no other program sends for the run. Refuses a run that another store sends, unless this
-- one takes over.
CREATE FUNCTION ohmkeep.receive(of integer, run_name text, store_name text, take_over boolean) RETURNS TABLE (has_turn bigint, has_whole integer, is_empty boolean)
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp
AS $$
DECLARE
    sender text;
BEGIN
    PERFORM ohmkeep.check_site(of);
    PERFORM FROM ohmkeep.site WHERE id = of FOR KEY SHARE;
    IF NOT FOUND THEN
        RAISE foreign_key_violation USING MESSAGE = 'the site was deleted';
    END IF;
    INSERT INTO ohmkeep.run (site, name) VALUES (of, run_name) ON CONFLICT DO NOTHING;
    SELECT store INTO sender FROM ohmkeep.run WHERE site = of AND name = run_name FOR UPDATE;
    IF sender IS DISTINCT FROM store_name THEN
        IF sender IS NOT NULL AND NOT take_over THEN
            RAISE unique_violation USING MESSAGE = format('another store sends run %s of this site', run_name),
                HINT = 'two watches with one run file? Where this store replaces the other: ohmkeep ship with --take-over';
        END IF;
        UPDATE ohmkeep.run SET store = store_name, turn = 0 WHERE site = of AND name = run_name;
    END IF;
    RETURN QUERY SELECT turn, whole, arrived = 0 FROM ohmkeep.run WHERE site = of AND name = run_name;
END $$;

-- The revisions of a run, as the store that sends it may read them.
CREATE FUNCTION ohmkeep.revisions(of integer, run_name text) RETURNS TABLE (id integer, first bigint, last bigint)
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = pg_catalog, pg_temp
AS $$
BEGIN
    PERFORM ohmkeep.check_site(of);
    RETURN QUERY SELECT r.id, r.first, r.last FROM ohmkeep.revision r WHERE r.site = of AND r.run = run_name ORDER BY r.id;
END $$;

-- Deletes a revision that has not arrived whole, and of which no more will come.
CREATE FUNCTION ohmkeep.abandon(of integer, run_name text, revision integer) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp
AS $$
BEGIN
    PERFORM ohmkeep.check_site(of);
    DELETE FROM ohmkeep.revision v USING ohmkeep.run r WHERE v.site = of AND v.run = run_name AND v.id = revision
        AND r.site = of AND r.name = run_name AND v.id > r.whole;
END $$;

-- Records what has arrived of a run: up to a moment, the delivery of a turn, and a revision that is whole now. NULL = as before.
CREATE FUNCTION ohmkeep.received(of integer, run_name text, until bigint, delivery bigint, revision integer) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp
AS $$
BEGIN
    PERFORM ohmkeep.check_site(of);
    UPDATE ohmkeep.run SET heard = clock_timestamp(), arrived = coalesce(until, arrived), turn = greatest(turn, delivery), whole = greatest(whole, revision)
    WHERE site = of AND name = run_name;
END $$;

-- Records which verdicts of a run are the newest; NULL = there are no new ones. Those that came last are, whatever date
-- the site's clock gave them.
CREATE OR REPLACE FUNCTION ohmkeep.judged(of integer, run_name text, assessed bigint, analysed bigint) RETURNS void LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp
AS $$
BEGIN
    PERFORM ohmkeep.check_site(of);
    UPDATE ohmkeep.run SET assess = coalesce(assessed, assess), drift = coalesce(analysed, drift) WHERE site = of AND name = run_name;
    UPDATE ohmkeep.run SET (elements, unproven) = (SELECT count(*), count(*) FILTER (WHERE verdict = 'unproven') FROM ohmkeep.latest l WHERE l.site = of AND l.run = run_name)
    WHERE site = of AND name = run_name;
END $$;
