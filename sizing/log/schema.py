"""The tables of the log's index, as steps from nothing to the present version (`PRAGMA user_version`).

A step that has been in use is never changed; a new one is added at the end.
"""

from __future__ import annotations

_RUNS = (
    """CREATE TABLE runs (
        id INTEGER PRIMARY KEY, path TEXT NOT NULL UNIQUE, folder TEXT, job_file TEXT NOT NULL, run TEXT NOT NULL,
        job TEXT NOT NULL, verdict TEXT NOT NULL, units TEXT NOT NULL, sha256 TEXT NOT NULL, program TEXT NOT NULL,
        measured_by TEXT, measured_on TEXT, checked_at TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE openings (
        id INTEGER PRIMARY KEY, run_id INTEGER NOT NULL REFERENCES runs ON DELETE CASCADE, label TEXT NOT NULL,
        verdict TEXT NOT NULL, why TEXT NOT NULL, inputs_sha256 TEXT NOT NULL, other_opening INTEGER NOT NULL
    ) STRICT""",
    """CREATE TABLE readings (
        opening_id INTEGER NOT NULL REFERENCES openings ON DELETE CASCADE, name TEXT NOT NULL, visit INTEGER NOT NULL,
        in_force INTEGER NOT NULL, by TEXT, read_on TEXT, tape TEXT, tape_mm REAL NOT NULL, photo_mm REAL,
        difference_mm REAL, U95_mm REAL, verdict TEXT, slip TEXT
    ) STRICT""",
    "CREATE INDEX runs_by_time ON runs (checked_at)",
    "CREATE INDEX openings_of_run ON openings (run_id)",
    "CREATE INDEX readings_of_opening ON readings (opening_id)",
)
_DECISIONS = (
    """CREATE TABLE folders (
        folder TEXT PRIMARY KEY, decisions_mtime_ns INTEGER NOT NULL, decisions_size INTEGER NOT NULL
    ) STRICT""",
    """CREATE TABLE decisions (
        folder TEXT NOT NULL REFERENCES folders ON DELETE CASCADE, line INTEGER NOT NULL, time TEXT NOT NULL,
        by TEXT NOT NULL, opening TEXT NOT NULL, decision TEXT NOT NULL, reason TEXT NOT NULL,
        risk_accepted TEXT NOT NULL, inputs_sha256 TEXT NOT NULL, verdict TEXT NOT NULL, width_mm REAL, height_mm REAL,
        PRIMARY KEY (folder, line)
    ) STRICT""",
    # Job folders of runs taken in before: time and size that no file has, so that the next look reads them.
    "INSERT INTO folders SELECT DISTINCT folder, -1, -1 FROM runs WHERE folder NOT NULL",
)
_CODES = ("CREATE TABLE codes (name TEXT PRIMARY KEY, code TEXT NOT NULL UNIQUE) STRICT",)
_SESSIONS_AND_RELEASES = (
    "ALTER TABLE runs ADD COLUMN unpointed TEXT NOT NULL DEFAULT ''",
    # Time that no folder has, so that the next look reads the releases of jobs taken in before.
    "ALTER TABLE folders ADD COLUMN releases_mtime_ns INTEGER NOT NULL DEFAULT -1",
    """CREATE TABLE releases (
        folder TEXT NOT NULL REFERENCES folders ON DELETE CASCADE, release TEXT NOT NULL, released_at TEXT NOT NULL,
        opening TEXT NOT NULL, quantity INTEGER NOT NULL, width_mm REAL NOT NULL, height_mm REAL NOT NULL,
        released_by TEXT NOT NULL, decided_by TEXT NOT NULL, inputs_sha256 TEXT NOT NULL,
        PRIMARY KEY (folder, release, opening)
    ) STRICT""",
    "CREATE INDEX runs_by_session ON runs (folder, job_file, unpointed)",
)
# Readings taken in before are said as lengths: their results may be gone.
_AS_WRITTEN = ("ALTER TABLE readings ADD COLUMN as_written TEXT NOT NULL DEFAULT ''",)

MIGRATIONS: tuple[tuple[str, ...], ...] = (_RUNS, _DECISIONS, _CODES, _SESSIONS_AND_RELEASES, _AS_WRITTEN)
