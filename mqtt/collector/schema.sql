-- What the presses tell, in PostgreSQL 14 or newer, in a database of its own.
-- May be run again at any time: psql -f schema.sql, or collector --create.
--
-- One function takes everything in: take_event(topic, payload). It keeps an
-- event once, however often it comes, and puts what is no event into refused
-- with the reason. The Go collector calls it; so may any other program that
-- subscribes to a broker and speaks SQL. Acknowledge a message to the broker
-- after the commit, not before, and nothing is lost in between.

CREATE TABLE IF NOT EXISTS event (
  source    text        NOT NULL, -- "/" and the topic of the press
  id        text        NOT NULL, -- <store>-<run>-<sequence>
  store     text        NOT NULL, -- a new card is a new store
  run       text        NOT NULL, -- a start of the press's program
  sequence  bigint      NOT NULL, -- 1, 2, 3 … in one store, over all kinds
  kind      text        NOT NULL,
  time      timestamptz NOT NULL, -- by the press's clock; the order is sequence, not time
  received  timestamptz NOT NULL DEFAULT clock_timestamp(),
  data      jsonb       NOT NULL, -- the record
  PRIMARY KEY (source, id)
);
CREATE INDEX IF NOT EXISTS event_sequence ON event (source, store, sequence) INCLUDE (received);
CREATE INDEX IF NOT EXISTS event_received ON event (source, received);
CREATE INDEX IF NOT EXISTS event_kind ON event (kind, time);

-- The newest word of each press on whether it is there; see the view press.
CREATE TABLE IF NOT EXISTS status (
  source   text        PRIMARY KEY,
  online   boolean     NOT NULL,
  session  bigint      NOT NULL, -- counts the connections of one store
  time     timestamptz NOT NULL,
  expires  timestamptz NOT NULL, -- nothing is known after it
  reason   text,
  received timestamptz NOT NULL DEFAULT clock_timestamp()
);

CREATE TABLE IF NOT EXISTS refused (
  received timestamptz NOT NULL DEFAULT clock_timestamp(),
  topic    text        NOT NULL,
  reason   text        NOT NULL,
  size     integer     NOT NULL, -- bytes, of which payload has the first 4,096
  payload  bytea       NOT NULL
);
CREATE INDEX IF NOT EXISTS refused_received ON refused (received);

-- A card that lost its last commits: it gave the sequences from first on a
-- second time, in the run kept_run. What the run told from there on happened,
-- and the press knows nothing of it; the numbers leave it out, as the press does.
CREATE TABLE IF NOT EXISTS lost_commit (
  source   text        NOT NULL,
  store    text        NOT NULL,
  run      text        NOT NULL,
  first    bigint      NOT NULL,
  kept_run text        NOT NULL,
  seen     timestamptz NOT NULL DEFAULT clock_timestamp(),
  PRIMARY KEY (source, store, run)
);

-- Gaps that nobody needs to ask for any more, entered by a person: the press has
-- pruned those records, or its card is gone.
CREATE TABLE IF NOT EXISTS given_up (
  source text        NOT NULL,
  store  text        NOT NULL,
  first  bigint      NOT NULL,
  last   bigint      NOT NULL,
  reason text        NOT NULL,
  at     timestamptz NOT NULL DEFAULT clock_timestamp(),
  CHECK (first <= last)
);

-- What presses were asked to send again, and what was answered.
CREATE TABLE IF NOT EXISTS asked (
  source text        NOT NULL,
  store  text        NOT NULL,
  first  bigint      NOT NULL,
  last   bigint      NOT NULL,
  times  integer     NOT NULL DEFAULT 1,
  at     timestamptz NOT NULL DEFAULT clock_timestamp(),
  answer text        NOT NULL DEFAULT '',
  PRIMARY KEY (source, store, first, last)
);

-- Missing sequences between the lowest and the highest received, as ranges. seen
-- is when the event above came: a young gap may still fill by itself.
CREATE OR REPLACE VIEW gap AS
WITH step AS (
  SELECT source, store, sequence, received, lag(sequence) OVER (PARTITION BY source, store ORDER BY sequence) AS below
  FROM event
), hole AS (
  SELECT source, store, received, int8multirange(int8range(below + 1, sequence)) AS missing
  FROM step WHERE sequence > below + 1
)
SELECT h.source, h.store, lower(r) AS first, upper(r) - 1 AS last, h.received AS seen
FROM hole h
CROSS JOIN LATERAL unnest(h.missing - coalesce((
  SELECT range_agg(int8range(g.first, g.last, '[]')) FROM given_up g WHERE g.source = h.source AND g.store = h.store
), '{}')) AS r;

-- ask_for gives the gaps that are to be asked for now, and notes that they are.
-- Only the store that a press works with can send again. A gap inside one that
-- was asked for lately is being filled.
CREATE OR REPLACE FUNCTION ask_for(older interval, again interval) RETURNS SETOF asked LANGUAGE sql
SET jit = off AS $$ -- compiling takes longer than looking
  INSERT INTO asked AS a (source, store, first, last)
  SELECT g.source, g.store, g.first, g.last
  FROM gap g
  WHERE g.seen < clock_timestamp() - older
    AND g.store = (SELECT e.store FROM event e WHERE e.source = g.source ORDER BY e.received DESC LIMIT 1)
    AND NOT EXISTS (SELECT FROM asked b WHERE b.source = g.source AND b.store = g.store
                    AND b.first <= g.first AND b.last >= g.last AND b.at > clock_timestamp() - again)
  ORDER BY g.source, g.first
  LIMIT 8 -- a press lets 16 such requests wait
  ON CONFLICT (source, store, first, last) DO UPDATE SET times = a.times + 1, at = excluded.at, answer = ''
  RETURNING *
$$;

-- read_json is text::jsonb, but for NUL, which JSON can write and jsonb cannot
-- keep: an unreadable line of a caliper may have one in "raw". It becomes U+FFFD.
CREATE OR REPLACE FUNCTION read_json(body text) RETURNS jsonb LANGUAGE plpgsql IMMUTABLE AS $$
BEGIN
  RETURN body::jsonb;
EXCEPTION WHEN untranslatable_character THEN
  RETURN regexp_replace(body, '(?<!\\)((?:\\\\)*)\\u0000', '\1\\ufffd', 'g')::jsonb;
END
$$;

-- read_time takes RFC 3339 alone: PostgreSQL would take "tomorrow" too.
CREATE OR REPLACE FUNCTION read_time(value text) RETURNS timestamptz LANGUAGE plpgsql AS $$
BEGIN
  IF value ~ '^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)$' THEN
    RETURN value::timestamptz;
  END IF;
  RAISE data_exception USING MESSAGE = 'no time as RFC 3339 writes it';
END
$$;

-- take_event keeps one message and says what became of it: kept, repeat, status
-- or refused. It fails only where the database does, never for what a message
-- holds.
CREATE OR REPLACE FUNCTION take_event(topic text, payload bytea) RETURNS text LANGUAGE plpgsql AS $$
DECLARE
  most  CONSTANT integer := 65536; -- bytes; an event has less than 4 KiB
  level CONSTANT text := '[a-z0-9-]+(?:/[a-z0-9-]+){1,8}';
  part  text[];
  e     jsonb;
  new   event;
  said  status;
BEGIN
  BEGIN -- only reading is in here, so that no trouble of the database is taken for a bad message
    IF octet_length(payload) > most THEN
      RAISE data_exception USING MESSAGE = format('longer than %s bytes', most);
    END IF;
    IF topic ~ ('^' || level || '/status$') THEN
      said.source := '/' || left(topic, -length('/status'));
      IF octet_length(payload) > 0 THEN -- else the retained status was cleared: the press is no more
        e := read_json(convert_from(payload, 'UTF8'));
        said.online := (e ->> 'online')::boolean;
        said.session := (e ->> 'session')::bigint;
        said.time := read_time(e ->> 'time');
        said.expires := read_time(e ->> 'expires');
        said.reason := left(e ->> 'reason', 1024);
        IF said.online IS NULL OR said.session IS NULL THEN
          RAISE data_exception USING MESSAGE = 'a status without online or session';
        END IF;
      END IF;
    ELSE
      part := regexp_match(topic, '^(' || level || ')/event/([a-z0-9-]+)$');
      IF part IS NULL THEN
        RAISE data_exception USING MESSAGE = 'a topic of neither events nor status';
      END IF;
      new.source := '/' || part[1];
      new.kind := part[2];
      e := read_json(convert_from(payload, 'UTF8'));
      new.id := e ->> 'id';
      new.data := e -> 'data';
      IF e ->> 'specversion' IS DISTINCT FROM '1.0' THEN
        RAISE data_exception USING MESSAGE = 'no CloudEvent 1.0 in JSON';
      ELSIF e ->> 'source' IS DISTINCT FROM new.source THEN
        RAISE data_exception USING MESSAGE = 'its source is not the press of its topic';
      ELSIF e ->> 'type' IS DISTINCT FROM 'benchtally.' || new.kind || '.v1' THEN
        RAISE data_exception USING MESSAGE = 'its type is not that of its topic, version 1';
      ELSIF jsonb_typeof(new.data) IS DISTINCT FROM 'object' THEN
        RAISE data_exception USING MESSAGE = 'no record in data';
      ELSIF length(new.id) > 200 THEN
        RAISE data_exception USING MESSAGE = 'its id is longer than 200 characters';
      END IF;
      part := regexp_match(new.id, '^([!-~]+)-([!-,.-~]+)-([0-9]{1,19})$');
      IF part IS NULL OR (e ->> 'sequence')::numeric IS DISTINCT FROM part[3]::numeric THEN
        RAISE data_exception USING MESSAGE = 'its id is not <store>-<run>-<sequence>';
      END IF;
      new.store := part[1];
      new.run := part[2];
      new.sequence := part[3];
      new.time := read_time(e ->> 'time');
    END IF;
  EXCEPTION WHEN data_exception OR program_limit_exceeded THEN
    INSERT INTO refused (topic, reason, size, payload)
    VALUES (left(topic, 1024), left(SQLERRM, 1024), octet_length(payload), substr(payload, 1, 4096));
    RETURN 'refused';
  END;

  IF said.source IS NOT NULL AND said.online IS NULL THEN
    DELETE FROM status s WHERE s.source = said.source;
    RETURN 'status';
  ELSIF said.source IS NOT NULL THEN
    INSERT INTO status AS s (source, online, session, time, expires, reason)
    VALUES (said.source, said.online, said.session, said.time, said.expires, said.reason)
    ON CONFLICT (source) DO UPDATE
    SET online = excluded.online, session = excluded.session, time = excluded.time, expires = excluded.expires,
        reason = excluded.reason, received = excluded.received
    WHERE excluded.session >= s.session -- the will of an older session says nothing any more,
       OR excluded.time > s.time;       -- but a new card counts sessions from 1
    RETURN 'status';
  END IF;

  INSERT INTO event (source, id, store, run, sequence, kind, time, data)
  VALUES (new.source, new.id, new.store, new.run, new.sequence, new.kind, new.time, new.data)
  ON CONFLICT (source, id) DO NOTHING;
  IF NOT FOUND THEN
    RETURN 'repeat';
  END IF;
  INSERT INTO lost_commit AS l (source, store, run, first, kept_run)
  SELECT new.source, new.store, o.run, new.sequence, new.run
  FROM event o
  WHERE o.source = new.source AND o.store = new.store AND o.sequence = new.sequence AND o.run <> new.run
    AND NOT EXISTS (SELECT FROM lost_commit k -- a straggler of the run that was lost
                    WHERE k.source = new.source AND k.store = new.store AND k.run = new.run AND k.first <= new.sequence)
  ON CONFLICT (source, store, run) DO UPDATE SET first = least(l.first, excluded.first);
  RETURN 'kept';
END
$$;

CREATE OR REPLACE FUNCTION take_event(topic text, payload text) RETURNS text LANGUAGE sql
AS $$ SELECT take_event(topic, convert_to(payload, 'UTF8')) $$;

CREATE OR REPLACE FUNCTION take_event(topic text, payload jsonb) RETURNS text LANGUAGE sql
AS $$ SELECT take_event(topic, convert_to(payload::text, 'UTF8')) $$;
