"""
How the log's file came to be: each version's changes, in order, never edited afterwards.

Every recording is an entry; what it says stands in the table of its kind. An entry is
never changed nor deleted: a later one adds to it, a reversal takes it back. Beds and the
last call list are the program's own notes of a scan and are replaced by the next.

References
----------
.. [1] SQLite documentation, "ALTER TABLE", section 7: removing a check needs no new table.
"""

from __future__ import annotations

_FIRST = (
    "CREATE TABLE meta (name TEXT PRIMARY KEY, value TEXT NOT NULL)",
    "CREATE TABLE migrations (version INTEGER PRIMARY KEY, made_on TEXT NOT NULL)",
    """
    CREATE TABLE entries (
        entry_id INTEGER PRIMARY KEY AUTOINCREMENT,
        kind TEXT NOT NULL CHECK (
            kind IN ('call', 'answer', 'visit', 'measurement', 'job', 'reversal')
        ),
        recorded_at TEXT NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%SZ', 'now')),
        recorded_on TEXT NOT NULL,
        takes_back INTEGER UNIQUE REFERENCES entries (entry_id),
        CHECK ((kind = 'reversal') = (takes_back IS NOT NULL))
    )
    """,
    """
    CREATE TABLE calls (
        entry_id INTEGER PRIMARY KEY REFERENCES entries (entry_id),
        client_id TEXT NOT NULL, called_on TEXT NOT NULL, outcome TEXT NOT NULL,
        note TEXT NOT NULL, next_action TEXT NOT NULL, next_date TEXT NOT NULL,
        bed_ids TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE answers (
        entry_id INTEGER PRIMARY KEY REFERENCES entries (entry_id),
        client_id TEXT NOT NULL, question TEXT NOT NULL, answer TEXT NOT NULL,
        seen_on TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE visits (
        entry_id INTEGER PRIMARY KEY REFERENCES entries (entry_id),
        client_id TEXT NOT NULL, visited_on TEXT NOT NULL, visited_by TEXT NOT NULL,
        note TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE measurements (
        entry_id INTEGER PRIMARY KEY REFERENCES entries (entry_id),
        client_id TEXT NOT NULL, along TEXT NOT NULL, measured_on TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE measured_edges (
        entry_id INTEGER NOT NULL REFERENCES measurements (entry_id),
        place INTEGER NOT NULL, length_ft REAL NOT NULL, room_ft REAL,
        openings_ft REAL NOT NULL, note TEXT NOT NULL,
        PRIMARY KEY (entry_id, place)
    )
    """,
    """
    CREATE TABLE jobs (
        entry_id INTEGER PRIMARY KEY REFERENCES entries (entry_id),
        job_id TEXT NOT NULL, client_id TEXT NOT NULL, bed_ids TEXT NOT NULL,
        finish TEXT NOT NULL, method TEXT NOT NULL, built_on TEXT NOT NULL,
        area_ft2 REAL NOT NULL, quick_low_cents INTEGER NOT NULL,
        quick_high_cents INTEGER NOT NULL, sold_cents INTEGER NOT NULL,
        invoiced_cents INTEGER NOT NULL, note TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE job_tasks (
        entry_id INTEGER NOT NULL REFERENCES jobs (entry_id),
        place INTEGER NOT NULL, task TEXT NOT NULL, rate_key TEXT NOT NULL,
        quantity REAL NOT NULL, unit TEXT NOT NULL, estimated_hours REAL, actual_hours REAL,
        estimated_cents INTEGER NOT NULL, actual_cents REAL,
        PRIMARY KEY (entry_id, task)
    )
    """,
    """
    CREATE TABLE beds (
        bed_id TEXT PRIMARY KEY, client_id TEXT NOT NULL, along TEXT NOT NULL,
        area_ft2 REAL NOT NULL, last_seen TEXT NOT NULL, shape BLOB NOT NULL
    )
    """,
)

_LIST_OF_THE_LAST_SCAN = (
    """
    CREATE TABLE listed (
        offer_id TEXT PRIMARY KEY, client_id TEXT NOT NULL, scanned_on TEXT NOT NULL,
        offer TEXT NOT NULL, bed_ids TEXT NOT NULL, along TEXT NOT NULL,
        area_ft2 REAL NOT NULL, crew_days REAL NOT NULL,
        price_low_cents INTEGER NOT NULL, price_high_cents INTEGER NOT NULL,
        gross_profit_cents INTEGER NOT NULL, chance REAL NOT NULL, chance_low REAL NOT NULL,
        chance_high REAL NOT NULL, expected_profit_cents INTEGER NOT NULL,
        reasons TEXT NOT NULL, cautions TEXT NOT NULL
    )
    """,
)

_WHO_WAS_LEFT_OUT = (
    """
    CREATE TABLE left_out (
        client_id TEXT PRIMARY KEY, has_offer INTEGER NOT NULL, reason TEXT NOT NULL
    )
    """,
)

_WHAT_TO_SAY = (
    "ALTER TABLE listed ADD COLUMN price_cents INTEGER NOT NULL DEFAULT 0",
    "ALTER TABLE listed ADD COLUMN say TEXT NOT NULL DEFAULT ''",
)

_WHO_HAD_NEIGHBORS_ALIKE = (
    "ALTER TABLE listed ADD COLUMN alike_clients INTEGER NOT NULL DEFAULT 0",
    "CREATE TABLE alike (client_id TEXT PRIMARY KEY, listed_on TEXT NOT NULL)",
)

_WHAT_THE_OFFICE_ADDED = (
    # The kinds stand in the program; a list of them here would have to be changed with each new one [1]_
    "PRAGMA writable_schema = ON",
    """
    UPDATE sqlite_master SET sql = replace(sql, substr(
        sql, instr(sql, 'CHECK ('), instr(sql, 'recorded_at') - instr(sql, 'CHECK (')
    ), ', ') WHERE name = 'entries'
    """,
    "PRAGMA writable_schema = RESET",
    """
    CREATE TABLE remarks (
        entry_id INTEGER PRIMARY KEY REFERENCES entries (entry_id),
        client_id TEXT NOT NULL, heading TEXT NOT NULL, text TEXT NOT NULL, instead_of TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE printed (
        client_id TEXT NOT NULL, heading TEXT NOT NULL, text TEXT NOT NULL,
        PRIMARY KEY (client_id, heading, text)
    )
    """,
)

_FROM_QUOTE_TO_JOB = (
    "ALTER TABLE calls ADD COLUMN price_cents INTEGER NOT NULL DEFAULT 0",
    """
    CREATE TABLE quotes (
        entry_id INTEGER PRIMARY KEY REFERENCES entries (entry_id),
        quote_id TEXT NOT NULL, client_id TEXT NOT NULL, bed_ids TEXT NOT NULL,
        finish TEXT NOT NULL, method TEXT NOT NULL, area_ft2 REAL NOT NULL,
        quick_low_cents INTEGER NOT NULL, quick_high_cents INTEGER NOT NULL,
        price_cents INTEGER NOT NULL, quoted_on TEXT NOT NULL, good_until TEXT NOT NULL,
        outcome TEXT NOT NULL, ended_on TEXT NOT NULL, why TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE quote_tasks (
        entry_id INTEGER NOT NULL REFERENCES quotes (entry_id),
        place INTEGER NOT NULL, task TEXT NOT NULL, rate_key TEXT NOT NULL,
        quantity REAL NOT NULL, unit TEXT NOT NULL, estimated_hours REAL,
        estimated_cents INTEGER NOT NULL,
        PRIMARY KEY (entry_id, task)
    )
    """,
    """
    CREATE TABLE schedule (
        entry_id INTEGER PRIMARY KEY REFERENCES entries (entry_id),
        client_id TEXT NOT NULL, job_id TEXT NOT NULL, week TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE tickets (
        entry_id INTEGER PRIMARY KEY REFERENCES entries (entry_id),
        client_id TEXT NOT NULL, ticket TEXT NOT NULL, dig_from TEXT NOT NULL,
        dig_until TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE letters (
        entry_id INTEGER PRIMARY KEY REFERENCES entries (entry_id),
        client_id TEXT NOT NULL, wave_on TEXT NOT NULL, letter TEXT NOT NULL,
        told_on TEXT NOT NULL
    )
    """,
)

_WHICH_BED_WAS_MEASURED = ("ALTER TABLE measured_edges ADD COLUMN bed_id TEXT NOT NULL DEFAULT ''",)

_WHAT_WAS_RECORDED_TOGETHER = (
    "ALTER TABLE entries ADD COLUMN batch INTEGER NOT NULL DEFAULT 0",
    "UPDATE entries SET batch = entry_id",
)

STEPS = (
    _FIRST, _LIST_OF_THE_LAST_SCAN, _WHO_WAS_LEFT_OUT, _WHAT_TO_SAY, _WHO_HAD_NEIGHBORS_ALIKE,
    _WHAT_THE_OFFICE_ADDED, _FROM_QUOTE_TO_JOB,
    # Notes without a call: the table of calls takes them, and an earlier version must not read them
    (),
    _WHICH_BED_WAS_MEASURED,
    _WHAT_WAS_RECORDED_TOGETHER,
)  # fmt: skip
"""Statements that lead from each version to the next; the first starts an empty file."""
