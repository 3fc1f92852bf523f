-- The shop's numbers, as views over what schema.sql keeps. May be run again at
-- any time. Lengths are millimetres. Times are shown in the time zone of the
-- session: ALTER DATABASE … SET timezone = 'Europe/Berlin' sets the shop's, and
-- with it where hours, days and shifts begin.
--
-- What an operator took back is honoured: a stroke that was dry or on the piece
-- before, a reading withdrawn, a piece measured anew.

-- When shifts begin and end; change the rows to the shop's. One that passes
-- midnight belongs to the day on which it began.
CREATE TABLE IF NOT EXISTS shift (
  name   text PRIMARY KEY,
  begins time NOT NULL,
  ends   time NOT NULL
);
INSERT INTO shift SELECT * FROM (VALUES
  ('early', time '06:00', time '14:00'), ('late', '14:00', '22:00'), ('night', '22:00', '06:00')
) AS usual WHERE NOT EXISTS (SELECT FROM shift);

-- After how many strokes a work on a cage is due; write here what the presses
-- are configured to. Common practice, no source.
CREATE TABLE IF NOT EXISTS care_limit (
  work    text PRIMARY KEY,
  strokes integer NOT NULL
);
INSERT INTO care_limit SELECT * FROM (VALUES ('lubricate', 50), ('teardown', 1000)) AS usual
WHERE NOT EXISTS (SELECT FROM care_limit);

ANALYZE shift; -- else their few rows are taken for a thousand, and plans are made for that
ANALYZE care_limit;

-- The records that the presses know of. Their order is seq, within one store.
CREATE OR REPLACE VIEW fact AS
SELECT e.source, e.store, e.sequence AS seq, e.kind, e.time AS at, e.received,
  e.data ->> 'order' AS order_id, e.data ->> 'piece' AS piece, (e.data ->> 'crimp')::integer AS crimp,
  e.data ->> 'cage' AS cage, (e.data ->> 'of')::bigint AS of, e.data
FROM event e
WHERE NOT EXISTS (SELECT FROM lost_commit l
                  WHERE l.source = e.source AND l.store = e.store AND l.run = e.run AND e.sequence >= l.first);

-- Which crimp of which piece a stroke was, from record since up to record until;
-- until is absent for what holds now. same moves a stroke, dry ends it.
CREATE OR REPLACE VIEW belongs AS
SELECT source, store, stroke, since, until, order_id, piece, crimp
FROM (SELECT source, store, coalesce(of, seq) AS stroke, seq AS since,
        lead(seq) OVER (PARTITION BY source, store, coalesce(of, seq) ORDER BY seq) AS until,
        kind, order_id, piece, crimp
      FROM fact WHERE kind IN ('stroke', 'same', 'dry')) AS s
WHERE kind <> 'dry' AND piece IS NOT NULL;

-- Judgements taken back at record seq: a reading of the piece was withdrawn, or
-- it is measured anew. That is always about the latest crimp of the time.
CREATE OR REPLACE VIEW taken_back AS
SELECT b.source, b.store, b.piece, max(p.crimp) AS crimp, b.seq
FROM fact b
JOIN belongs p ON p.source = b.source AND p.store = b.store AND p.piece = b.piece
              AND p.since < b.seq AND (p.until IS NULL OR p.until > b.seq)
WHERE b.kind IN ('undo', 'measure')
GROUP BY b.source, b.store, b.piece, b.seq;

-- Every crimp as it stands now, with its verdict where it has one that stands.
-- nth is the cage's stroke that made it.
CREATE OR REPLACE VIEW crimp AS
SELECT DISTINCT ON (p.source, p.store, p.stroke)
  p.source, p.store, p.stroke, s.at, p.order_id, p.piece, p.crimp, s.cage, (s.data ->> 'setting')::integer AS setting,
  s.nth, v.seq AS verdict, v.data ->> 'spec' AS spec, v.data ->> 'outcome' AS outcome,
  (v.data ->> 'mean_mm')::numeric AS mean_mm, (v.data ->> 'deviation_mm')::numeric AS deviation_mm
FROM belongs p
JOIN (
  SELECT *, row_number() OVER (PARTITION BY source, cage ORDER BY at, seq) AS nth FROM fact WHERE kind = 'stroke'
) AS s ON s.source = p.source AND s.store = p.store AND s.seq = p.stroke
LEFT JOIN (
  SELECT * FROM fact w
  WHERE w.kind = 'verdict'
    AND NOT EXISTS (SELECT FROM taken_back b WHERE b.source = w.source AND b.store = w.store
                      AND b.piece = w.piece AND b.crimp = w.crimp AND b.seq > w.seq)
) AS v ON v.source = p.source AND v.store = p.store AND v.piece = p.piece AND v.crimp = p.crimp AND v.seq > p.since
WHERE p.until IS NULL
ORDER BY p.source, p.store, p.stroke, v.seq DESC NULLS LAST;

-- Every piece with its outcome: scrap if a person gave it or its assembly up,
-- else that of its last crimp that was judged; open if there is none.
CREATE OR REPLACE VIEW piece AS
WITH lost AS (
  SELECT DISTINCT ON (source, store, order_id, piece, assembly) *
  FROM (SELECT source, store, seq, order_id, piece, data ->> 'assembly' AS assembly, data ->> 'state' AS state
        FROM fact WHERE kind = 'scrap') AS s
  ORDER BY source, store, order_id, piece, assembly, seq DESC
)
SELECT c.source, c.store, c.order_id, c.piece, min(c.at) AS at,
  coalesce(max(c.spec), max(o.spec)) AS spec, max(c.cage) AS cage, max(c.crimp) AS crimps,
  max(c.outcome) FILTER (WHERE c.crimp = 1) AS first_outcome,
  CASE WHEN bool_or(l.source IS NOT NULL) THEN 'scrap'
    ELSE coalesce((array_agg(c.outcome ORDER BY c.crimp DESC) FILTER (WHERE c.outcome IS NOT NULL))[1], 'open')
  END AS outcome
FROM crimp c
JOIN fact s ON s.source = c.source AND s.store = c.store AND s.seq = c.stroke
LEFT JOIN lost l ON l.source = c.source AND l.store = c.store AND l.order_id = c.order_id AND l.state = 'on'
                AND (l.piece = c.piece OR l.piece IS NULL AND l.assembly = s.data ->> 'assembly')
LEFT JOIN (SELECT source, store, order_id, max(data ->> 'spec') AS spec FROM fact WHERE kind = 'start'
           GROUP BY source, store, order_id HAVING count(DISTINCT data ->> 'spec') = 1) AS o
       ON o.source = c.source AND o.store = c.store AND o.order_id = c.order_id
GROUP BY c.source, c.store, c.order_id, c.piece;

-- Strokes of each press in each hour: all closures; of them dry ones, those that
-- crimped a piece again, and those without an order.
CREATE OR REPLACE VIEW stroke AS
SELECT s.source, s.store, s.seq, s.at, s.cage, d.seq IS NOT NULL AS dry,
  coalesce(p.crimp > 1, false) AS again, s.piece IS NULL AND d.seq IS NULL AS no_order
FROM fact s
LEFT JOIN belongs p ON p.source = s.source AND p.store = s.store AND p.stroke = s.seq AND p.until IS NULL
LEFT JOIN fact d ON d.source = s.source AND d.store = s.store AND d.kind = 'dry' AND d.of = s.seq
WHERE s.kind = 'stroke';

CREATE OR REPLACE VIEW strokes_by_hour AS
SELECT source, date_trunc('hour', at) AS hour, count(*) AS strokes,
  count(*) FILTER (WHERE dry) AS dry, count(*) FILTER (WHERE again) AS again, count(*) FILTER (WHERE no_order) AS no_order
FROM stroke GROUP BY source, date_trunc('hour', at);

-- The same for each shift of the table shift.
CREATE OR REPLACE VIEW strokes_by_shift AS
WITH s AS MATERIALIZED (SELECT *, at::time AS clock, at::date AS date FROM stroke)
SELECT s.source, CASE WHEN h.begins > h.ends AND s.clock < h.ends THEN s.date - 1 ELSE s.date END AS day,
  h.name AS shift, count(*) AS strokes,
  count(*) FILTER (WHERE s.dry) AS dry, count(*) FILTER (WHERE s.again) AS again, count(*) FILTER (WHERE s.no_order) AS no_order
FROM s
JOIN shift h ON CASE WHEN h.begins < h.ends THEN s.clock >= h.begins AND s.clock < h.ends
                     ELSE s.clock >= h.begins OR s.clock < h.ends END
GROUP BY 1, 2, 3;

-- Pieces of each press by order, by spec and by cage (column "by" says which):
-- how many of which outcome. judged are those that passed, wait for a re-crimp
-- or are scrap. Shares are parts of one: of the judged, those that passed at their
-- first crimp, and those that are scrap; of all, those crimped more than once.
CREATE OR REPLACE VIEW pieces AS
SELECT source, CASE WHEN GROUPING(order_id) = 0 THEN 'order' WHEN GROUPING(spec) = 0 THEN 'spec' ELSE 'cage' END AS by,
  coalesce(order_id, spec, cage) AS name, count(*) AS pieces,
  count(*) FILTER (WHERE outcome = 'pass') AS pass, count(*) FILTER (WHERE outcome = 'recrimp') AS recrimp,
  count(*) FILTER (WHERE outcome = 'scrap') AS scrap, count(*) FILTER (WHERE outcome = 'unsure') AS unsure,
  count(*) FILTER (WHERE outcome = 'open') AS open,
  count(*) FILTER (WHERE outcome IN ('pass', 'recrimp', 'scrap')) AS judged,
  count(*) FILTER (WHERE outcome = 'pass' AND crimps = 1)::numeric
    / nullif(count(*) FILTER (WHERE outcome IN ('pass', 'recrimp', 'scrap')), 0) AS first_pass_share,
  count(*) FILTER (WHERE crimps > 1)::numeric / count(*) AS recrimp_share,
  count(*) FILTER (WHERE outcome = 'scrap')::numeric
    / nullif(count(*) FILTER (WHERE outcome IN ('pass', 'recrimp', 'scrap')), 0) AS scrap_share
FROM piece
GROUP BY GROUPING SETS ((source, order_id), (source, spec), (source, cage));

-- First crimps by spec and cage: how far their means lie from the target, and
-- their spread (sample standard deviation, n - 1).
CREATE OR REPLACE VIEW first_crimps AS
SELECT source, spec, cage, count(*) AS n, avg(deviation_mm) AS mean_deviation_mm, stddev_samp(deviation_mm) AS sd_mm,
  min(deviation_mm) AS least_mm, max(deviation_mm) AS most_mm
FROM crimp
WHERE crimp = 1 AND mean_mm IS NOT NULL
GROUP BY source, spec, cage;

-- The offset that the press estimates after each first crimp (measured minus what
-- the setting should give), and where it goes: least squares over the cage's
-- strokes, as millimetres in 1,000 strokes.
CREATE OR REPLACE VIEW offset_trend AS
WITH both_kinds AS ( -- one pass in the order of records, which stays fast where a join would not
  SELECT source, store, piece, verdict AS seq, cage, spec, crimp, nth, NULL AS data FROM crimp WHERE verdict IS NOT NULL
  UNION ALL
  SELECT source, store, piece, seq, NULL, NULL, NULL, NULL, data FROM fact WHERE kind = 'correction' AND data ->> 'for' = 'next'
), told AS (
  SELECT *, lead(data) OVER (PARTITION BY source, store, piece ORDER BY seq) AS advice FROM both_kinds
)
SELECT source, cage, spec, count(*) AS n, (array_agg((advice ->> 'offset_mm')::numeric ORDER BY nth DESC))[1] AS offset_mm,
  (array_agg((advice ->> 'setting')::integer ORDER BY nth DESC))[1] AS setting, max((advice ->> 'at')::timestamptz) AS at,
  regr_slope((advice ->> 'offset_mm')::double precision, nth) * 1000 AS mm_per_1000_strokes
FROM told WHERE crimp = 1 AND advice IS NOT NULL
GROUP BY source, cage, spec;

-- Strokes of each cage since a work on it, dry ones too, against the limit.
CREATE OR REPLACE VIEW cage_care AS
WITH s AS MATERIALIZED (SELECT source, cage, at, seq FROM fact WHERE kind = 'stroke' AND cage IS NOT NULL)
SELECT s.source, s.cage, w.work, max(d.at) AS last_done,
  count(*) FILTER (WHERE d.at IS NULL OR (s.at, s.seq) > (d.at, d.seq)) AS strokes, w.strokes AS of,
  count(*) FILTER (WHERE d.at IS NULL OR (s.at, s.seq) > (d.at, d.seq)) >= w.strokes AS due
FROM s
CROSS JOIN care_limit w
LEFT JOIN (SELECT DISTINCT ON (source, cage, data ->> 'work') source, cage, data ->> 'work' AS work, at, seq
           FROM fact WHERE kind = 'care' AND data ->> 'state' = 'done'
           ORDER BY source, cage, data ->> 'work', at DESC, seq DESC) AS d
       ON d.source = s.source AND d.cage = s.cage AND d.work = w.work
GROUP BY s.source, s.cage, w.work, w.strokes;

-- Times of trouble: from the record that it came to the one that it went. One
-- that only changes its reason goes on. Without an end it lasts until now.
CREATE OR REPLACE VIEW outage AS
WITH told AS (
  SELECT source, store, seq, at, data ->> 'source' AS part, data ->> 'state' AS state, data ->> 'reason' AS reason,
    lag(data ->> 'state', 1, 'off') OVER (PARTITION BY source, store, data ->> 'source' ORDER BY seq) AS before
  FROM fact WHERE kind = 'fault'
), turn AS (
  SELECT *, lead(at) OVER (PARTITION BY source, store, part ORDER BY seq) AS ended FROM told WHERE state <> before
)
SELECT source, store, part, at AS began, ended, greatest(coalesce(ended, now()) - at, interval '0') AS lasted, reason
FROM turn WHERE state = 'on';

CREATE OR REPLACE VIEW downtime AS
SELECT source, part, count(*) AS times, count(*) FILTER (WHERE ended IS NULL) AS open, sum(lasted) AS lasted, max(lasted) AS longest
FROM outage GROUP BY source, part;

-- When records happened that were written before the press's clock was set: a later
-- one tells by how much it was wrong, and where there are several, all count. What
-- has no row here happened at the time that it says, or nobody can tell.
CREATE OR REPLACE VIEW happened AS
SELECT f.source, f.store, f.seq, f.at AS written, f.at + sum((c.data ->> 'behind_ms')::bigint) * interval '1 millisecond' AS at
FROM fact f
JOIN fact c ON c.source = f.source AND c.store = f.store AND c.kind = 'fault' AND c.data ? 'behind_ms'
           AND c.of <= f.seq AND f.seq < c.seq
WHERE f.data ->> 'clock' = 'unset'
GROUP BY f.source, f.store, f.seq, f.at;

-- Whether each press is there. Nothing is known of one whose word has expired.
CREATE OR REPLACE VIEW press AS
SELECT source, CASE WHEN now() > expires THEN 'unknown' WHEN online THEN 'online' ELSE 'offline' END AS state,
  time AS since, expires, reason
FROM status;

-- Events that came more than a minute after they happened: the broker was away,
-- they were sent again, or the press's clock is wrong.
CREATE OR REPLACE VIEW late AS
SELECT source, time::date AS day, count(*) AS events, max(received - time) AS latest,
  percentile_disc(0.5) WITHIN GROUP (ORDER BY received - time) AS median
FROM event WHERE received - time > interval '1 minute'
GROUP BY source, time::date;

-- Readings of each order, and how many of them were withdrawn.
CREATE OR REPLACE VIEW readings AS
SELECT r.source, r.order_id, count(*) AS readings, count(u.seq) AS withdrawn
FROM fact r
LEFT JOIN fact u ON u.source = r.source AND u.store = r.store AND u.kind = 'undo' AND u.of = r.seq
WHERE r.kind = 'reading'
GROUP BY r.source, r.order_id;
