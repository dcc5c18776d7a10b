-- The tables of many logbooks: those of logbook/schema.py, each row with its shed as the last column.
-- A tenant is a role. It is a member of curewatch_tenant and sees the sheds that it began, one at a time:
-- the one that the setting curewatch.shed names. So the questions need not name tenant or shed.

CREATE TABLE sheds (
    number integer GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    tenant text NOT NULL DEFAULT current_user,
    name text NOT NULL,
    holder text NOT NULL DEFAULT '',        -- its one daemon, in words
    UNIQUE (tenant, name)
);
ALTER TABLE sheds ENABLE ROW LEVEL SECURITY;
ALTER TABLE sheds FORCE ROW LEVEL SECURITY;
CREATE POLICY own ON sheds USING (tenant = current_user) WITH CHECK (tenant = current_user);

CREATE FUNCTION this_shed() RETURNS integer STABLE LANGUAGE sql AS
    $$ SELECT nullif(current_setting('curewatch.shed', true), '')::integer $$;

CREATE TABLE sensors (
    number integer NOT NULL, name text NOT NULL,
    readings bigint NOT NULL, earliest bigint NOT NULL, latest bigint NOT NULL,
    form integer NOT NULL, last bytea NOT NULL,
    shed integer NOT NULL DEFAULT this_shed() REFERENCES sheds,
    PRIMARY KEY (shed, number), UNIQUE (shed, name)
) WITH (fillfactor = 70);
CREATE TABLE chain (
    number bigint NOT NULL, form integer NOT NULL, closed boolean NOT NULL, opened bigint NOT NULL,
    previous text NOT NULL,
    readings integer NOT NULL, readings_digest text NOT NULL,
    entries integer NOT NULL, entries_digest text NOT NULL, head text NOT NULL,
    body bytea,                             -- of a closed block; null: open, or removed by retention
    shed integer NOT NULL DEFAULT this_shed() REFERENCES sheds,
    PRIMARY KEY (shed, number)
) WITH (fillfactor = 70);
ALTER TABLE chain ALTER body SET STORAGE EXTERNAL;  -- it is deflated already
CREATE TABLE tail (                         -- rows of the open block, as each commit appended them
    block bigint NOT NULL, part integer NOT NULL, body bytea NOT NULL,
    shed integer NOT NULL DEFAULT this_shed() REFERENCES sheds,
    PRIMARY KEY (shed, block, part)
);
ALTER TABLE tail ALTER body SET STORAGE EXTERNAL;
CREATE TABLE spans (
    sensor integer NOT NULL, earliest bigint NOT NULL, block bigint NOT NULL, latest bigint NOT NULL,
    shed integer NOT NULL DEFAULT this_shed() REFERENCES sheds,
    PRIMARY KEY (shed, sensor, earliest, block)
);
CREATE INDEX spans_by_block ON spans (shed, block);
CREATE TABLE entries (
    number bigint NOT NULL, block bigint NOT NULL, kind text NOT NULL, job text,
    at bigint NOT NULL, key text, line text NOT NULL,
    shed integer NOT NULL DEFAULT this_shed() REFERENCES sheds,
    PRIMARY KEY (shed, number), UNIQUE (shed, key)
);
CREATE INDEX entries_by_kind ON entries (shed, kind, number);
CREATE INDEX entries_by_job ON entries (shed, job, number) WHERE job IS NOT NULL;
CREATE TABLE hours (
    sensor integer NOT NULL, hour bigint NOT NULL, quantity integer NOT NULL,
    readings bigint NOT NULL, lowest bigint NOT NULL, total bigint NOT NULL, highest bigint NOT NULL,
    shed integer NOT NULL DEFAULT this_shed() REFERENCES sheds,
    PRIMARY KEY (shed, sensor, hour, quantity)
) WITH (fillfactor = 90);
CREATE TABLE rejected (
    day bigint NOT NULL, source text NOT NULL, sensor text NOT NULL, reason text NOT NULL,
    count bigint NOT NULL, last_at bigint NOT NULL, last_raw bytea NOT NULL, told bigint NOT NULL DEFAULT 0,
    shed integer NOT NULL DEFAULT this_shed() REFERENCES sheds,
    PRIMARY KEY (shed, day, source, sensor, reason)
);
CREATE TABLE notes (
    key text NOT NULL, value bytea NOT NULL,
    shed integer NOT NULL DEFAULT this_shed() REFERENCES sheds,
    PRIMARY KEY (shed, key)
);
CREATE TABLE writers (                      -- how many commits each opened store has made
    writer uuid NOT NULL, commits bigint NOT NULL, at timestamptz NOT NULL DEFAULT now(),
    shed integer NOT NULL DEFAULT this_shed() REFERENCES sheds,
    PRIMARY KEY (shed, writer)
) WITH (fillfactor = 50);

CREATE VIEW blocks WITH (security_invoker = true) AS
    SELECT number, form, closed, opened, previous, readings, readings_digest, entries, entries_digest, head,
        CASE WHEN closed THEN body ELSE coalesce(
            (SELECT string_agg(t.body, ''::bytea ORDER BY t.part) FROM tail t
             WHERE t.shed = c.shed AND t.block = c.number), ''::bytea) END AS body
    FROM chain c;

DO $$
DECLARE one text;
BEGIN
    FOREACH one IN ARRAY ARRAY['sensors', 'chain', 'tail', 'spans', 'entries', 'hours', 'rejected', 'notes',
        'writers'] LOOP
        EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', one);
        EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', one);
        EXECUTE format(
            'CREATE POLICY own_shed ON %I USING (shed = (SELECT number FROM sheds WHERE number = this_shed()))'
            ' WITH CHECK (shed = (SELECT number FROM sheds WHERE number = this_shed()))', one);
    END LOOP;
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'curewatch_tenant') THEN
        CREATE ROLE curewatch_tenant NOLOGIN;
    END IF;
END $$;
GRANT SELECT, INSERT (name), UPDATE (holder) ON sheds TO curewatch_tenant;
GRANT SELECT, INSERT ON entries TO curewatch_tenant;  -- nothing that was told is ever changed
GRANT SELECT, INSERT, UPDATE ON sensors, chain, hours, rejected, notes TO curewatch_tenant;
GRANT SELECT, INSERT, DELETE ON tail, spans TO curewatch_tenant;
GRANT SELECT, INSERT, UPDATE, DELETE ON writers TO curewatch_tenant;
GRANT SELECT ON blocks, layout TO curewatch_tenant;
GRANT USAGE ON SCHEMA curewatch TO curewatch_tenant;
