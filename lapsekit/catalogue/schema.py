"""The tables of the catalogue, and how one of an older lapsekit is brought to them.

Tables with a row a frame grow without end, so that no query of every morning reads one whole:
``day_count`` has the numbers of each day, kept by triggers; ``frame.done_mark`` says by which
settings a frame was found to be done, so that what waits is found by an index; ``folder`` says
when a day's folder was last read; figures, which are large, lie apart from the verdicts.
"""

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
    # A million frames: what every morning asks is found by an index, or counted as it changes.
    """
    ALTER TABLE frame ADD COLUMN done_mark TEXT NOT NULL DEFAULT '';
    CREATE INDEX frame_by_time ON frame (camera, taken_at, arrived_by);
    CREATE INDEX frame_by_work ON frame (camera, done_mark, width, height, day, taken_at);
    CREATE INDEX frame_by_name ON frame (replace(path, rtrim(path, replace(path, '/', '')), ''));
    CREATE TABLE seen (
        frame_id INTEGER PRIMARY KEY REFERENCES frame ON DELETE CASCADE,
        mark TEXT NOT NULL,
        reasons TEXT NOT NULL,
        luminance REAL,
        clipped REAL,
        blur REAL,
        told TEXT NOT NULL DEFAULT '',
        watched INTEGER NOT NULL DEFAULT 0
    );
    INSERT INTO seen SELECT frame_id, mark, reasons, luminance, clipped, blur, told, watched
        FROM screening;
    CREATE TABLE figures (
        frame_id INTEGER PRIMARY KEY REFERENCES frame ON DELETE CASCADE,
        figures TEXT NOT NULL
    );
    INSERT INTO figures SELECT frame_id, figures FROM screening WHERE figures IS NOT NULL;
    DROP TABLE screening;
    ALTER TABLE seen RENAME TO screening;
    CREATE INDEX screening_by_reasons ON screening (reasons) WHERE reasons <> '[]';
    CREATE INDEX screening_with_yes ON screening (frame_id) WHERE substr(told, 1, 8) = 'said yes';
    CREATE TABLE overruled (
        frame_id INTEGER PRIMARY KEY REFERENCES screening ON DELETE CASCADE,
        reasons TEXT NOT NULL,
        told TEXT NOT NULL,
        watched INTEGER NOT NULL
    );
    CREATE INDEX placement_lost ON placement (frame_id) WHERE matrix IS NULL;
    CREATE INDEX daily_by_day ON daily (day);
    CREATE INDEX thinned_by_time ON thinned (camera, taken_at) WHERE figures IS NOT NULL;
    CREATE INDEX thinned_by_mark ON thinned (camera, mark);
    DROP TABLE judging;
    CREATE TABLE judging (
        camera TEXT PRIMARY KEY,
        basis TEXT NOT NULL,
        ruled TEXT NOT NULL,
        settled INTEGER NOT NULL,
        settled_at TEXT,
        settled_path TEXT,
        memory TEXT NOT NULL,
        open_from TEXT
    ) WITHOUT ROWID;
    CREATE TABLE folder (path TEXT PRIMARY KEY, changed_ns INTEGER) WITHOUT ROWID;
    INSERT INTO folder
        SELECT DISTINCT rtrim(rtrim(path, replace(path, '/', '')), '/'), NULL FROM frame;
    CREATE TABLE note (what TEXT PRIMARY KEY, told TEXT NOT NULL) WITHOUT ROWID;
    CREATE TABLE day_count (
        camera TEXT NOT NULL,
        day TEXT NOT NULL,
        reasons TEXT NOT NULL,
        frames INTEGER NOT NULL DEFAULT 0,
        gone INTEGER NOT NULL DEFAULT 0,
        PRIMARY KEY (camera, day, reasons)
    ) WITHOUT ROWID;
    INSERT INTO day_count (camera, day, reasons, frames)
        SELECT camera, day, coalesce(reasons, ''), count(*)
        FROM frame LEFT JOIN screening ON id = frame_id GROUP BY 1, 2, 3;
    INSERT INTO day_count (camera, day, reasons, gone)
        SELECT camera, day, reasons, count(*) FROM thinned
        WHERE path NOT IN (SELECT path FROM frame) GROUP BY 1, 2, 3
        ON CONFLICT DO UPDATE SET gone = excluded.gone;
    CREATE TRIGGER frame_came AFTER INSERT ON frame BEGIN
        INSERT INTO day_count (camera, day, reasons, frames) VALUES (NEW.camera, NEW.day, '', 1)
            ON CONFLICT DO UPDATE SET frames = frames + 1;
        UPDATE day_count SET gone = gone - 1 WHERE (camera, day, reasons) IN
            (SELECT camera, day, reasons FROM thinned WHERE path = NEW.path);
        INSERT INTO folder (path) VALUES (rtrim(rtrim(NEW.path, replace(NEW.path, '/', '')), '/'))
            ON CONFLICT DO UPDATE SET changed_ns = NULL;
    END;
    CREATE TRIGGER frame_goes BEFORE DELETE ON frame BEGIN
        DELETE FROM screening WHERE frame_id = OLD.id;
    END;
    CREATE TRIGGER frame_went AFTER DELETE ON frame BEGIN
        UPDATE day_count SET frames = frames - 1
            WHERE camera = OLD.camera AND day = OLD.day AND reasons = '';
        INSERT INTO day_count (camera, day, reasons, gone)
            SELECT camera, day, reasons, 1 FROM thinned WHERE path = OLD.path
            ON CONFLICT DO UPDATE SET gone = gone + 1;
        UPDATE folder SET changed_ns = NULL
            WHERE path = rtrim(rtrim(OLD.path, replace(OLD.path, '/', '')), '/');
    END;
    CREATE TRIGGER frame_redated AFTER UPDATE OF day ON frame WHEN NEW.day <> OLD.day BEGIN
        UPDATE day_count SET frames = frames - 1
            WHERE camera = OLD.camera AND day = OLD.day AND reasons =
            coalesce((SELECT reasons FROM screening WHERE frame_id = OLD.id), '');
        INSERT INTO day_count (camera, day, reasons, frames) VALUES (NEW.camera, NEW.day,
            coalesce((SELECT reasons FROM screening WHERE frame_id = NEW.id), ''), 1)
            ON CONFLICT DO UPDATE SET frames = frames + 1;
    END;
    CREATE TRIGGER screening_came AFTER INSERT ON screening BEGIN
        UPDATE day_count SET frames = frames - 1 WHERE reasons = '' AND (camera, day) IN
            (SELECT camera, day FROM frame WHERE id = NEW.frame_id);
        INSERT INTO day_count (camera, day, reasons, frames)
            SELECT camera, day, NEW.reasons, 1 FROM frame WHERE id = NEW.frame_id
            ON CONFLICT DO UPDATE SET frames = frames + 1;
    END;
    CREATE TRIGGER screening_changed AFTER UPDATE OF reasons ON screening
    WHEN NEW.reasons <> OLD.reasons BEGIN
        UPDATE day_count SET frames = frames - 1 WHERE reasons = OLD.reasons AND (camera, day) IN
            (SELECT camera, day FROM frame WHERE id = NEW.frame_id);
        INSERT INTO day_count (camera, day, reasons, frames)
            SELECT camera, day, NEW.reasons, 1 FROM frame WHERE id = NEW.frame_id
            ON CONFLICT DO UPDATE SET frames = frames + 1;
    END;
    CREATE TRIGGER screening_went AFTER DELETE ON screening BEGIN
        UPDATE day_count SET frames = frames - 1 WHERE reasons = OLD.reasons AND (camera, day) IN
            (SELECT camera, day FROM frame WHERE id = OLD.frame_id);
        INSERT INTO day_count (camera, day, reasons, frames)
            SELECT camera, day, '', 1 FROM frame WHERE id = OLD.frame_id
            ON CONFLICT DO UPDATE SET frames = frames + 1;
        UPDATE frame SET done_mark = '' WHERE id = OLD.frame_id AND done_mark <> '';
    END;
    CREATE TRIGGER measurement_went AFTER DELETE ON measurement BEGIN
        UPDATE frame SET done_mark = '' WHERE id = OLD.frame_id AND done_mark <> '';
    END;
    CREATE TRIGGER thinned_came AFTER INSERT ON thinned
    WHEN NOT EXISTS (SELECT 1 FROM frame WHERE path = NEW.path) BEGIN
        INSERT INTO day_count (camera, day, reasons, gone)
            VALUES (NEW.camera, NEW.day, NEW.reasons, 1)
            ON CONFLICT DO UPDATE SET gone = gone + 1;
    END;
    """,
    """
    CREATE TABLE settled_growth (
        region TEXT NOT NULL,
        mark TEXT NOT NULL,
        content TEXT NOT NULL,
        PRIMARY KEY (region, mark)
    ) WITHOUT ROWID;
    """,
    # What hangs on saturation goes into the interval: all days once more.
    """
    DELETE FROM daily;
    ALTER TABLE measurement ADD COLUMN faded_share REAL;
    """,
)
SCHEMA_VERSION = len(MIGRATIONS)
