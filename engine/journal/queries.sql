-- What the journal is asked that is longer than a line or two: "== NAME" begins a query, which C knows as sql_NAME
-- (sql.h); the Makefile makes a string of each. "use NAME" is all of an earlier one, "use NAME X" that with X for ?1;
-- lines that begin with -- are left out.

-- ==== the schema ====

-- Beside the records: acts that can be undone (journal.h), and the words of all records (query.c keeps them); what is
-- found in these is looked up before it is believed, so nothing is ever taken out.
== beside_records
CREATE TABLE IF NOT EXISTS act (id INTEGER PRIMARY KEY, at INTEGER NOT NULL, at_offset INTEGER NOT NULL,
  words TEXT NOT NULL, changes BLOB, undone INTEGER NOT NULL) STRICT;
CREATE VIRTUAL TABLE IF NOT EXISTS wording USING fts5(body, content = '', columnsize = 0,
  tokenize = 'unicode61 remove_diacritics 0');

-- What is looked for by.
== indexes
CREATE INDEX index_0 ON parent(parent);
CREATE INDEX index_1 ON parent(vessel);
CREATE INDEX index_2 ON batch(starter);
CREATE INDEX index_3 ON batch(lot);
CREATE INDEX index_4 ON batch(cook);
CREATE INDEX index_5 ON batch(session);
CREATE INDEX index_6 ON vessel(place);
CREATE INDEX index_7 ON vessel(stands);
CREATE INDEX index_8 ON vessel(stood);
CREATE INDEX index_9 ON vessel(due) WHERE due > 0;
CREATE INDEX index_10 ON vessel(control, fate, last_look);
CREATE INDEX index_11 ON vessel(batch, control, state, fate);
CREATE INDEX index_12 ON vessel(id) WHERE due = 0 AND state IN ('growing', 'isolated');
CREATE INDEX index_13 ON look(vessel);
CREATE INDEX index_14 ON event(vessel);
CREATE INDEX index_15 ON outcome(vessel);

-- What older versions had names of their own for.
== older_names
ALTER TABLE deed RENAME TO event;
ALTER TABLE batch RENAME COLUMN dose TO inoculum;

-- ==== what a vessel has become ====

-- The derived columns of the vessel ?1. Standing are rows that no later one corrects; a correction keeps the turn of what
-- it corrects. A loss is of the kind that is known of it, else untold. One that broke, or was there by mistake, has told
-- nothing of its growth; nor has anybody lost it to that. A clean outcome gives way to a later look that says discard.
-- The columns beside a max() or min() are those of its row; of none, there is one row of NULL.
== derived
WITH
  looks AS NOT MATERIALIZED (
    SELECT id, at, at_offset, action, status, coalesce(turn, id) AS chain FROM look AS a
    WHERE vessel = ?1 AND action <> 'withdrawn' AND NOT EXISTS (SELECT 1 FROM look WHERE corrects = a.id)),
  events AS NOT MATERIALIZED (
    SELECT at, at_offset, kind, place, because, coalesce(turn, id) AS chain FROM event AS a
    WHERE vessel = ?1 AND NOT EXISTS (SELECT 1 FROM event WHERE corrects = a.id)),
  outcomes AS NOT MATERIALIZED (
    SELECT at, at_offset, status, coalesce(turn, id) AS chain FROM outcome AS a
    WHERE vessel = ?1 AND status <> 'withdrawn' AND NOT EXISTS (SELECT 1 FROM outcome WHERE corrects = a.id)),
  facts AS (
    SELECT seen.id AS last_look, seen.at AS seen_at, ifnull(seen.action = 'discard', 0) AS discards,
      ifnull(seen.status, '') AS status, ifnull(done.kind, '') AS done, ifnull(gone.because, '') AS because,
      ifnull(told.status, '') AS told, lost.at AS lost_at, lost.at_offset AS lost_offset, used.at AS used_at,
      used.at_offset AS used_offset, gone.at AS gone_at, gone.at_offset AS gone_offset, told.at AS told_at,
      told.at_offset AS told_offset,
      iif(moved.chain IS NULL, (SELECT place FROM vessel WHERE id = ?1), moved.place) AS stands
    FROM (SELECT max(chain), * FROM looks) AS seen,
      (SELECT min(at), * FROM looks WHERE action = 'discard') AS lost,
      (SELECT max(chain), * FROM events WHERE kind = 'use') AS used,
      (SELECT max(chain), * FROM events WHERE kind = 'discard') AS gone,
      (SELECT max(chain), * FROM events WHERE kind IN ('isolate', 'return', 'discard', 'use')) AS done,
      (SELECT max(chain), * FROM outcomes) AS told,
      (SELECT max(chain), * FROM events WHERE kind = 'move') AS moved),
  known AS (
    SELECT *, discards OR done = 'discard' AS over, told IN ('contaminated', 'stuck') AS ill,
      told = 'clean' AND NOT (discards AND seen_at > told_at) AS well,
      iif(status IN ('contaminated', 'stuck'), status, 'untold') AS loss FROM facts),
  ends AS (
    SELECT *, iif(well OR (done = 'use' AND NOT over), used_at, NULL) AS use_end,
      iif(ill OR (over AND NOT well), lost_at, NULL) AS loss_end, iif(well OR over, gone_at, NULL) AS discard_end,
      iif(ill, told_at, NULL) AS told_end FROM known),
  ended AS (
    SELECT *, nullif(min(ifnull(use_end, 9223372036854775807), ifnull(loss_end, 9223372036854775807), ifnull(discard_end, 9223372036854775807),
      ifnull(told_end, 9223372036854775807)), 9223372036854775807) AS at FROM ends)
SELECT stands,
  CASE WHEN at IS NULL THEN stands ELSE (
    SELECT iif(chain IS NULL, (SELECT place FROM vessel WHERE id = ?1), place)
    FROM (SELECT max(chain), * FROM events WHERE kind = 'move' AND events.at <= ended.at)) END AS stood,
  CASE done WHEN 'isolate' THEN 'isolated' WHEN 'discard' THEN 'discarded' WHEN 'use' THEN 'used'
    ELSE 'growing' END AS state,
  CASE WHEN well THEN 'sound' WHEN ill THEN told WHEN discards THEN loss
    WHEN over AND because IN ('contaminated', 'stuck') THEN because
    WHEN over AND because IN ('broken', 'slip') THEN 'open'
    WHEN over AND because IN ('sold', 'given', 'used') THEN 'sound'
    WHEN over THEN loss WHEN done = 'use' THEN 'sound' ELSE 'open' END AS fate,
  at AS ended, CASE at WHEN use_end THEN used_offset WHEN loss_end THEN lost_offset
    WHEN discard_end THEN gone_offset WHEN told_end THEN told_offset END AS ended_offset,
  last_look
FROM ended

-- Writes them down for the vessel ?1.
== refresh
UPDATE vessel SET (stands, stood, state, fate, ended, ended_offset, last_look) = (
use derived
) WHERE id = ?1

-- The day of the next look at the vessel ?1 becomes ?2, because of ?3; what is lost and still there is to be discarded.
== set_due
UPDATE vessel SET (due, due_for) = (
  SELECT CASE WHEN NOT lost THEN max(?2, 0) WHEN due > 0 AND due_for = 'discard' THEN min(due, ?2)
      ELSE max(?2, 1) END, iif(lost, 'discard', ?3)
  FROM (SELECT fate = 'contaminated' AND state IN ('growing', 'isolated') AS lost))
WHERE id = ?1

-- The days on which the vessel ?1 was shaken, in order, from that of its inoculation on.
== shaken_days
SELECT DISTINCT (a.at + 60 * a.at_offset) / 86400 - (b.at + 60 * b.at_offset) / 86400 AS day
FROM event AS a JOIN vessel AS v ON v.id = a.vessel JOIN batch AS b ON b.id = v.batch
WHERE a.vessel = ?1 AND a.kind = 'shake' AND NOT EXISTS (SELECT 1 FROM event WHERE corrects = a.id)
ORDER BY day

-- ==== what became of the others ====

-- Of the others of the vessel ?1 how many there are of each cell: from its lowest bits up, whether they stuck (1) or were
-- contaminated (2), are controls, and the relations they share (the last of relation_columns first). What is the same for
-- a whole batch is asked once of each. What was never inoculated shares no hand or starter. Seconds of age that count
-- whole are ?2.
== siblings
WITH
  own AS (
    SELECT b.id AS batch, b.cook, b.session, b.starter, b.lot, v.stood, v.position, v.control
    FROM vessel AS v JOIN batch AS b ON b.id = v.batch WHERE v.id = ?1),
  near AS (
    SELECT id FROM (SELECT id FROM batch ORDER BY id DESC LIMIT 400)
    UNION SELECT id FROM (SELECT b.id FROM batch AS b, own WHERE b.cook = own.cook ORDER BY b.id DESC LIMIT 400)
    UNION SELECT id FROM (SELECT b.id FROM batch AS b, own WHERE b.session = own.session ORDER BY b.id DESC LIMIT 400)
    UNION SELECT id FROM (SELECT b.id FROM batch AS b, own WHERE b.starter = own.starter ORDER BY b.id DESC LIMIT 400)
    UNION SELECT id FROM (SELECT b.id FROM batch AS b, own WHERE b.lot = own.lot ORDER BY b.id DESC LIMIT 400)
    UNION SELECT v.batch FROM parent AS p JOIN vessel AS v ON v.id = p.vessel, own WHERE p.starter = own.starter
    UNION SELECT batch FROM own),
  shared AS MATERIALIZED (
    SELECT b.id, b.at, own.stood, own.position,
      (ifnull(b.cook = own.cook, 0) << 6) + ((b.id = own.batch) << 5) + (ifnull(b.lot = own.lot, 0) << 4)
      + ((ifnull(b.session = own.session, 0) AND NOT own.control) << 3)
      + ((ifnull(b.starter = own.starter, 0) AND NOT own.control) << 2) AS bits
    FROM near JOIN batch AS b ON b.id = near.id, own),
  mixed AS MATERIALIZED (SELECT p.vessel FROM parent AS p, own WHERE p.starter = own.starter AND p.vessel IS NOT NULL AND NOT own.control)
SELECT ((iif(v.control, s.bits & ~12, s.bits | ((v.id IN mixed) << 2)) | (ifnull(v.stood = s.stood, 0) << 1)
    | (s.bits >= 64 AND v.position <> '' AND v.position = s.position)) << 3) + ((v.control <> 0) << 2)
    + CASE v.fate WHEN 'contaminated' THEN 2 WHEN 'stuck' THEN 1 ELSE 0 END AS cell,
  sum(CASE WHEN v.fate = 'open' THEN max(0.0, min(1.0, (l.at - s.at) / ?2)) ELSE 1.0 END)
FROM shared AS s JOIN vessel AS v ON v.batch = s.id
  LEFT JOIN look AS l ON l.id = iif(v.fate = 'open', v.last_look, NULL)
WHERE v.id <> ?1 AND (v.fate IN ('sound', 'stuck', 'contaminated')
  OR (v.fate = 'open' AND v.state = 'growing' AND l.action = 'keep'))
GROUP BY cell

-- ==== counts ====

-- Behind "WITH of AS (vessels)": what became of them, as JSON (query_tally); '' where a word is not known.
== tally
, v AS (
    SELECT control, state, fate, fate IN ('stuck', 'contaminated', 'untold') AS lost, count(*) AS n
    FROM of GROUP BY 1, 2, 3),
  g AS (SELECT * FROM v WHERE NOT control),
  states AS (SELECT value FROM json_each('["growing", "isolated", "discarded", "used"]')),
  fates AS (SELECT value FROM json_each('["open", "sound", "stuck", "contaminated", "untold"]'))
SELECT iif(EXISTS (SELECT 1 FROM v WHERE state NOT IN states OR fate NOT IN fates), '', json_object(
  'vessels', (SELECT ifnull(sum(n), 0) FROM g),
  'lost', (SELECT ifnull(sum(n), 0) FROM g WHERE lost),
  'state', (SELECT json_group_object(value, (SELECT ifnull(sum(n), 0) FROM g WHERE state = value)) FROM states),
  'fate', (SELECT json_group_object(value, (SELECT ifnull(sum(n), 0) FROM g WHERE fate = value)) FROM fates),
  'controls', (SELECT ifnull(sum(n), 0) FROM v WHERE control),
  'controls_lost', (SELECT ifnull(sum(n), 0) FROM v WHERE control AND fate = 'contaminated'),
  '_parts', (SELECT json_group_array(json_object('count', n, 'of', of)) FROM (
    SELECT sum(n) AS n, CASE WHEN NOT lost THEN state WHEN state IN ('growing', 'isolated') THEN 'to remove'
      ELSE 'lost' END AS of
    FROM g GROUP BY 2 ORDER BY instr('growing isolated discarded used lost to remove', of)))))

-- Behind "WITH made AS (batches, and their key)": the vessels of those in the JSON list ?1, or of all, from ?2 on, by
-- that key, which is called ?3.
== losses
SELECT json_group_array(json_object(?3, nullif(key, ''), 'open', open, 'sound', sound, 'lost', lost,
  '_all', open + sound + lost, '_share', lost * 1.0 / (sound + lost)))
FROM (
  SELECT key, sum(fate = 'open') AS open, sum(fate = 'sound') AS sound,
    sum(fate IN ('stuck', 'contaminated', 'untold')) AS lost
  FROM vessel AS v JOIN made AS b ON b.id = v.batch
  WHERE NOT v.control AND b.at >= ?2 AND (?1 = '[]' OR b.id IN (SELECT value FROM json_each(?1)))
  GROUP BY 1 ORDER BY 1)

-- ==== histories ====

-- Behind "WITH of (id) AS (vessels)": the newest ?3 looks at these, events and outcomes, and corrections of the record
-- called ?2 in the table ?4, in the order of their moments; how many there are of each kind.
== history
SELECT * FROM (
    SELECT 1 AS rank, 'look' AS kind, id, at, at_offset, vessel,
      EXISTS (SELECT 1 FROM look WHERE corrects = a.id), count(*) OVER ()
    FROM look AS a WHERE vessel IN of ORDER BY id DESC LIMIT ?3)
UNION ALL SELECT * FROM (
    SELECT 2, 'event', id, at, at_offset, vessel, EXISTS (SELECT 1 FROM event WHERE corrects = a.id), count(*) OVER ()
    FROM event AS a WHERE vessel IN of ORDER BY id DESC LIMIT ?3)
UNION ALL SELECT * FROM (
    SELECT 3, 'outcome', id, at, at_offset, vessel,
      EXISTS (SELECT 1 FROM outcome WHERE corrects = a.id), count(*) OVER ()
    FROM outcome AS a WHERE vessel IN of ORDER BY id DESC LIMIT ?3)
UNION ALL SELECT * FROM (
    SELECT 4, 'edit', id, at, at_offset, 0, 0, 0
    FROM edit WHERE "table" = ?4 AND label = ?2 ORDER BY id DESC LIMIT ?3)
ORDER BY at, rank, id

-- ==== of the table "WITH of AS (SELECT * FROM it)" ====

-- The turn of the row ?1 that is to be corrected, in a table called ?3, and what speaks against that: it must be of the
-- vessel ?2, and nobody may have corrected it yet.
== turn
SELECT coalesce(turn, id), CASE WHEN vessel <> ?2 THEN printf('%s %d is of another vessel', ?3, id)
  WHEN corrector > 0 THEN printf('%s %d was corrected already, by %s %d; correct that one', ?3, id, ?3, corrector) END
FROM (SELECT *, (SELECT id FROM of WHERE corrects = ?1) AS corrector FROM of WHERE id = ?1)

-- ==== for a review ====

-- The label of what the starter ?1 came from, so many steps back (?2), or as far as that is known.
== ancestor
WITH RECURSIVE line (id, steps) AS (
  VALUES (?1, 0)
  UNION ALL SELECT (SELECT parent FROM parent WHERE starter = line.id AND parent IS NOT NULL
    ORDER BY parent.id LIMIT 1), steps + 1
  FROM line WHERE id IS NOT NULL AND steps < ?2)
SELECT label FROM line JOIN starter ON starter.id = line.id ORDER BY steps DESC LIMIT 1

-- Where the vessel ?1 was put and moved to, how warm that is, and on which day.
== places
SELECT p.label, p.celsius, day
FROM (SELECT place, 0 AS day, 0 AS turn FROM vessel WHERE id = ?1
  UNION ALL SELECT place, (at + 60 * at_offset) / 86400, id FROM event AS a
  WHERE vessel = ?1 AND kind = 'move' AND NOT EXISTS (SELECT 1 FROM event WHERE corrects = a.id))
LEFT JOIN place AS p ON p.id = place ORDER BY turn > 0, day, turn

-- The finding of the look ?1, its facts, and how likely it held that finding, or any contamination.
== finding
SELECT finding, facts, ifnull(
  (SELECT value FROM json_each(iif(json_valid(posterior), posterior, '{}'), '$.findings')
    WHERE key = finding AND type IN ('real', 'integer')), contaminated)
FROM look WHERE id = ?1

-- ==== looks that are due ====

-- A row a batch and day until ?1: "B3-1, B3-2 (shake), B3-7 (wait)" is the description.
== calendar
SELECT b.label, b.at, b.at_offset, v.due, count(*), (
    SELECT group_concat(one, ', ') FROM (
      SELECT label || iif(due_for = '', '', ' (' || replace(due_for, '_', ' ') || ')') AS one
      FROM vessel WHERE due = v.due AND batch = b.id ORDER BY number, id))
FROM vessel AS v JOIN batch AS b ON b.id = v.batch
WHERE v.due BETWEEN 1 AND min(?1, unixepoch('9999-12-30') / 86400)
GROUP BY v.due, b.id ORDER BY v.due, b.id

-- ==== words that the rules do not know ====

-- Behind "WITH said AS (ids and words)" of the column ?1, where the JSON list ?2 is known: one warning a word, however
-- often it stands.
== unknown_words
SELECT min(id), printf('''%s'' is ''%.80s'' in %lld of them, which these rules do not know', ?1, word, count(*))
FROM said WHERE word <> '' AND word NOT IN (SELECT value FROM json_each(?2)) GROUP BY word

-- The same of the signs of "sign=value sign=value".
== unknown_signs
SELECT id, printf('''%s'' name a sign ''%.79s'', which these rules do not know', ?1, sign)
FROM (SELECT said.id, e.key, substr(e.value, 1, instr(e.value || '=', '=') - 1) AS sign
  FROM said, json_each('[' || replace(json_quote(word), ' ', '","') || ']') AS e)
WHERE sign <> '' AND sign NOT IN (SELECT value FROM json_each(?2)) ORDER BY id, key

-- ==== what is wrong with rows as a whole ====

-- Their ids, and what is to be said of them (`faults` in record.c). What ends in a condition is asked as a row is saved,
-- too. Days are those of the wall calendar: hours are no fault, since a date alone is noon.
== early_look
SELECT a.id, printf('%.200s was looked at before it was inoculated', v.label)
FROM look AS a JOIN vessel AS v ON v.id = a.vessel JOIN batch AS b ON b.id = v.batch
WHERE (a.at + 60 * a.at_offset) / 86400 < (b.at + 60 * b.at_offset) / 86400

== early_outcome
SELECT a.id, printf('%.200s had come to its end before it was inoculated', v.label)
FROM outcome AS a JOIN vessel AS v ON v.id = a.vessel JOIN batch AS b ON b.id = v.batch
WHERE (a.at + 60 * a.at_offset) / 86400 < (b.at + 60 * b.at_offset) / 86400

== early_event
SELECT a.id, printf('%.200s was shaken or used before it was inoculated', v.label)
FROM event AS a JOIN vessel AS v ON v.id = a.vessel JOIN batch AS b ON b.id = v.batch
WHERE a.kind IN ('shake', 'use') AND (a.at + 60 * a.at_offset) / 86400 < (b.at + 60 * b.at_offset) / 86400

== late_cook
SELECT a.id, printf('%.200s was cooked after batch %.200s was inoculated from it', a.label, b.label)
FROM cook AS a JOIN batch AS b ON b.cook = a.id
WHERE (a.at + 60 * a.at_offset) / 86400 > (b.at + 60 * b.at_offset) / 86400

== late_session
SELECT a.id, printf('%.200s is a session after batch %.200s was inoculated in it', a.label, b.label)
FROM session AS a JOIN batch AS b ON b.session = a.id
WHERE (a.at + 60 * a.at_offset) / 86400 > (b.at + 60 * b.at_offset) / 86400

== late_starter
SELECT a.id, printf('%.200s was made after batch %.200s was inoculated with it', a.label, b.label)
FROM starter AS a JOIN batch AS b ON b.starter = a.id
WHERE (a.made + 60 * a.made_offset) / 86400 > (b.at + 60 * b.at_offset) / 86400

== late_lot
SELECT a.id, printf('%.200s was bought after batch %.200s was inoculated', a.label, b.label)
FROM lot AS a JOIN batch AS b ON b.lot = a.id
WHERE (a.bought + 60 * a.bought_offset) / 86400 > (b.at + 60 * b.at_offset) / 86400

== late_parent
SELECT a.id, printf('%.200s was made before what it came from', s.label)
FROM parent AS a JOIN starter AS s ON s.id = a.starter JOIN starter AS b ON b.id = a.parent
WHERE (b.made + 60 * b.made_offset) / 86400 > (s.made + 60 * s.made_offset) / 86400

-- Which rows of the table X correct something they cannot.
== chained
SELECT a.id, iif(b.id IS NULL, 'it corrects nothing, but stands in a chain of corrections',
  printf('it corrects ?1 %lld, which is of another vessel or chain', b.id))
FROM ?1 AS a LEFT JOIN ?1 AS b ON b.id = a.corrects
WHERE iif(a.corrects IS NULL, a.turn IS NOT NULL,
  a.vessel <> b.vessel OR a.turn IS NOT coalesce(b.turn, b.id) OR b.id >= a.id)

== chained_look
use chained look

== chained_event
use chained event

== chained_outcome
use chained outcome

-- In one pass, since these are long: the rows with a wrong note, then which it is.
== unread_notes
WITH read AS MATERIALIZED (
    SELECT id, iif(facts = '', 'array', iif(json_valid(facts), json_type(facts), '')) AS a,
      iif(posterior = '', 'object', iif(json_valid(posterior), json_type(posterior), '')) AS o
    FROM look WHERE a <> 'array' OR o <> 'object')
SELECT id, iif(type = '', printf('''%s'' does not parse', name), printf('''%s'' should be a JSON %s', name, wanted))
FROM (SELECT id, 'facts' AS name, 'array' AS wanted, a AS type FROM read
  UNION ALL SELECT id, 'posterior', 'object', o FROM read)
WHERE type <> wanted

== stale
SELECT id, printf('the %s of %.200s is not what its looks, events and outcomes say', stale, label)
FROM (SELECT v.id, v.label, (
    SELECT CASE WHEN v.state IS NOT d.state THEN 'state' WHEN v.fate IS NOT d.fate THEN 'fate'
      WHEN v.ended IS NOT d.ended THEN 'end' WHEN v.last_look IS NOT d.last_look THEN 'last look'
      WHEN v.stands IS NOT d.stands OR v.stood IS NOT d.stood THEN 'place' END
    FROM (
use derived v.id
    ) AS d) AS stale FROM vessel AS v)
WHERE stale IS NOT NULL

== due_though_gone
SELECT id, printf('a look at %.200s is due, although it is gone', label)
FROM vessel WHERE due <> 0 AND state IN ('discarded', 'used')

== called_as_a_batch
SELECT id, printf('a batch has the same label; jarside correct vessel %.200s label=... tells them apart', label)
FROM vessel WHERE label IN (SELECT label FROM batch)
