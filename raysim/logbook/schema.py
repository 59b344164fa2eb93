"""Tables of the logbook, and why the file is kept as it is.

Everything that a person enters is one row of `entry`, with the details in a second table for that
kind of entry. Rows are never changed or deleted (triggers refuse both): a correction is a later row
about the same thing, and the last row about a thing counts.

Journal: SQLite's rollback journal with `synchronous = EXTRA`, not write-ahead logging. A logbook
sees a few writes an hour, so speed does not matter. While nobody writes, it is one single
file that can be copied to a memory stick without losing the last rows, and it also works on
shared folders, which write-ahead logging does not. EXTRA makes a row that was reported as written
survive a power cut.

Source: SQLite documentation, "Write-Ahead Logging" and "PRAGMA synchronous" (from memory).
"""

APPLICATION_ID = 0x72617973  # "rays", tells a logbook from any other SQLite file
SCHEMA_VERSION = 1

# Times are UTC, "2026-03-01T08:30:00Z"; doses J/m2; running times s; lamp ages h.
TABLES = """
CREATE TABLE entry (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    kind TEXT NOT NULL CHECK (kind IN ('respirator', 'cycle', 'closing', 'lamp')),
    written TEXT NOT NULL,
    at TEXT NOT NULL,
    operator TEXT NOT NULL CHECK (length(operator) > 0),
    note TEXT NOT NULL
);
CREATE TABLE respirator (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    code TEXT NOT NULL COLLATE NOCASE CHECK (length(code) > 0),
    owner TEXT NOT NULL CHECK (length(owner) > 0),
    model TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('in use', 'retired')),
    donnings_limit INTEGER NOT NULL CHECK (donnings_limit > 0),
    cycles_limit INTEGER CHECK (cycles_limit > 0),
    dose_limit REAL NOT NULL CHECK (dose_limit > 0),
    strap_dose_limit REAL NOT NULL CHECK (strap_dose_limit > 0)
);
CREATE INDEX respirator_code ON respirator (code, entry);
CREATE TABLE cycle (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    box TEXT NOT NULL CHECK (length(box) > 0),
    scene TEXT NOT NULL,
    scene_sha256 TEXT NOT NULL,
    timer REAL NOT NULL CHECK (timer > 0),
    dose REAL CHECK (dose >= 0),
    strap_dose REAL CHECK (strap_dose >= 0)
);
CREATE TABLE load (
    cycle INTEGER NOT NULL REFERENCES cycle (entry),
    code TEXT NOT NULL COLLATE NOCASE,
    PRIMARY KEY (cycle, code)
);
CREATE INDEX load_code ON load (code);
CREATE TABLE closing (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    cycle INTEGER NOT NULL REFERENCES cycle (entry),
    outcome TEXT NOT NULL CHECK (outcome IN ('ended', 'interrupted', 'void')),
    ran REAL NOT NULL CHECK (ran >= 0)
);
CREATE INDEX closing_cycle ON closing (cycle, entry);
CREATE TABLE lamp (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    box TEXT NOT NULL COLLATE NOCASE CHECK (length(box) > 0),
    name TEXT NOT NULL COLLATE NOCASE CHECK (length(name) > 0),
    event TEXT NOT NULL CHECK (event IN ('fitted', 'read', 'removed')),
    hours REAL NOT NULL CHECK (hours >= 0)
);
CREATE VIEW respirator_now AS
    SELECT * FROM respirator AS r
    WHERE entry = (SELECT max(entry) FROM respirator WHERE code = r.code);
CREATE VIEW cycle_now AS
    SELECT c.*, e.at AS started, e.operator, e.note,
        coalesce(k.outcome, 'running') AS outcome,
        coalesce(k.ran, c.timer) AS ran,
        CASE WHEN k.outcome = 'void' THEN 0.0
             WHEN k.outcome = 'interrupted' THEN min(1.0, k.ran / c.timer)
             ELSE 1.0 END AS worn
    FROM cycle AS c JOIN entry AS e ON e.number = c.entry
    LEFT JOIN closing AS k
        ON k.entry = (SELECT max(entry) FROM closing WHERE cycle = c.entry);
CREATE VIEW lamp_now AS
    SELECT l.*, e.at FROM lamp AS l JOIN entry AS e ON e.number = l.entry
    WHERE l.entry = (SELECT max(entry) FROM lamp WHERE box = l.box AND name = l.name);
"""
KEPT = ("entry", "respirator", "cycle", "load", "closing", "lamp")
REFUSED = "rows of the logbook are never changed or deleted; add a correction"


def statements() -> list[str]:
    """SQL statements that make an empty logbook, including triggers that refuse changes."""
    made = [part.strip() for part in TABLES.split(";\n") if part.strip()]
    for table in KEPT:
        made += [
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{REFUSED}'); END"
            for verb in ("UPDATE", "DELETE")
        ]
    return [
        *made,
        f"PRAGMA application_id = {APPLICATION_ID}",
        f"PRAGMA user_version = {SCHEMA_VERSION}",
    ]
