"""The tables of the catalogue, and how one of an older lapsekit is brought to them."""

#: Each entry brings a catalogue of the version before to its own (1, 2, …).
MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE frame (
        id INTEGER PRIMARY KEY,
        camera TEXT NOT NULL,
        taken_at TEXT NOT NULL,
        day TEXT NOT NULL,
        path TEXT NOT NULL UNIQUE,
        sha256 TEXT NOT NULL,
        size INTEGER NOT NULL,
        width INTEGER NOT NULL,
        height INTEGER NOT NULL,
        arrived_by TEXT NOT NULL
    );
    CREATE INDEX frame_by_day ON frame (camera, day, taken_at, path);
    CREATE INDEX frame_by_content ON frame (camera, sha256);
    CREATE TABLE screening (
        frame_id INTEGER PRIMARY KEY REFERENCES frame ON DELETE CASCADE,
        mark TEXT NOT NULL,
        reasons TEXT NOT NULL,
        luminance REAL,
        clipped REAL,
        blur REAL
    );
    CREATE TABLE measurement (
        frame_id INTEGER NOT NULL REFERENCES frame ON DELETE CASCADE,
        region TEXT NOT NULL,
        mark TEXT NOT NULL,
        region_px INTEGER NOT NULL,
        canopy_px INTEGER NOT NULL,
        cover REAL NOT NULL,
        area_cm2 REAL,
        PRIMARY KEY (frame_id, region)
    ) WITHOUT ROWID;
    CREATE TABLE daily (
        region TEXT NOT NULL,
        day TEXT NOT NULL,
        cover REAL,
        cover_low REAL,
        cover_high REAL,
        area_cm2 REAL,
        area_low_cm2 REAL,
        area_high_cm2 REAL,
        frames_used INTEGER NOT NULL,
        left_out TEXT NOT NULL,
        PRIMARY KEY (region, day)
    ) WITHOUT ROWID;
    """,
    """
    CREATE TABLE placement (
        frame_id INTEGER PRIMARY KEY REFERENCES frame ON DELETE CASCADE,
        matrix TEXT,
        residual_px REAL,
        error_px REAL,
        how TEXT NOT NULL
    );
    """,
    # Screenings of before came without the figures that verdicts are made from: screen again.
    """
    DELETE FROM screening;
    DELETE FROM daily;
    ALTER TABLE screening ADD COLUMN figures TEXT;
    ALTER TABLE screening ADD COLUMN told TEXT NOT NULL DEFAULT '';
    ALTER TABLE screening ADD COLUMN watched INTEGER NOT NULL DEFAULT 0;
    CREATE TABLE judging (
        camera TEXT PRIMARY KEY,
        basis TEXT NOT NULL,
        settled INTEGER NOT NULL,
        settled_basis TEXT NOT NULL,
        memory TEXT NOT NULL
    ) WITHOUT ROWID;
    """,
    # Days are worked out from covers that overlap outlines and neighbours: all once more.
    """
    DELETE FROM measurement;
    DELETE FROM daily;
    ALTER TABLE measurement ADD COLUMN greenness REAL;
    ALTER TABLE measurement ADD COLUMN yellow_share REAL;
    ALTER TABLE measurement ADD COLUMN red_share REAL;
    ALTER TABLE daily ADD COLUMN parts TEXT NOT NULL DEFAULT '{}';
    ALTER TABLE daily ADD COLUMN touches TEXT NOT NULL DEFAULT '[]';
    ALTER TABLE daily ADD COLUMN crowded INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE daily ADD COLUMN range_share REAL;
    ALTER TABLE daily ADD COLUMN midday_change REAL;
    ALTER TABLE daily ADD COLUMN greenness REAL;
    ALTER TABLE daily ADD COLUMN yellow_share REAL;
    ALTER TABLE daily ADD COLUMN red_share REAL;
    """,
    # What a classifier was unsure of goes into the interval: all once more.
    """
    DELETE FROM measurement;
    DELETE FROM daily;
    ALTER TABLE measurement ADD COLUMN unsure REAL NOT NULL DEFAULT 0;
    CREATE TABLE daily_basis (region TEXT PRIMARY KEY, mark TEXT NOT NULL) WITHOUT ROWID;
    """,
    # Frames thinned out, as thinned/frames.csv lists them, with the figures that others are
    # judged beside.
    """
    CREATE TABLE thinned (
        path TEXT PRIMARY KEY,
        camera TEXT NOT NULL,
        taken_at TEXT NOT NULL,
        day TEXT NOT NULL,
        sha256 TEXT NOT NULL,
        size INTEGER NOT NULL,
        width INTEGER NOT NULL,
        height INTEGER NOT NULL,
        reasons TEXT NOT NULL,
        mark TEXT,
        figures TEXT
    );
    CREATE INDEX thinned_by_content ON thinned (camera, sha256);
    """,
)
SCHEMA_VERSION = len(MIGRATIONS)
