-- The design book, version 1. Lengths mm, thread m, times minutes; nothing is rounded.
CREATE TABLE designs (            -- one row for every content
    sha256 TEXT PRIMARY KEY,
    size INTEGER NOT NULL,        -- of the file, bytes
    status TEXT NOT NULL,         -- read | damaged | unreadable
    reason TEXT,                  -- why it is damaged or unreadable
    version TEXT NOT NULL,        -- of prehoop that measured it
    format TEXT, stitches INTEGER, colours INTEGER, jumps INTEGER, trims INTEGER, stops INTEGER,
    width_mm REAL, height_mm REAL, thread_m REAL, bobbin_m REAL, minutes REAL,
    stitched_mm2 REAL, coverage REAL, density_max REAL,
    regions INTEGER, fills INTEGER, satins INTEGER, runs INTEGER, lettering_mm REAL, appliques INTEGER,
    voids INTEGER,
    thumb BLOB, sketch BLOB
) WITHOUT ROWID;
CREATE TABLE files (              -- one row for every place a content is found at
    root TEXT NOT NULL,           -- folder that was scanned
    key BLOB NOT NULL,            -- bytes of the path below it; a member of an archive after a null byte
    path TEXT NOT NULL,           -- the same to read
    name TEXT NOT NULL,
    sha256 TEXT NOT NULL REFERENCES designs(sha256),
    size INTEGER NOT NULL,
    mtime_ns INTEGER NOT NULL,
    PRIMARY KEY (root, key)
) WITHOUT ROWID;
CREATE INDEX files_by_content ON files (sha256);
CREATE TABLE verdicts (           -- one row for every design on every goods
    sha256 TEXT NOT NULL REFERENCES designs(sha256),
    goods TEXT NOT NULL,
    kind TEXT NOT NULL,           -- screen or full, care, own materials
    outcome TEXT NOT NULL,        -- hoop-it | sample-first | rework
    chance REAL NOT NULL,         -- of missing a limit with that stack, 0 to 1
    decided_by TEXT NOT NULL,
    worst_gap_mm REAL, gap_low_mm REAL, gap_high_mm REAL, pucker_mm REAL,
    stack TEXT NOT NULL,
    enough INTEGER NOT NULL,      -- whether that stack holds
    PRIMARY KEY (sha256, goods)
) WITHOUT ROWID;
CREATE TABLE findings (
    sha256 TEXT NOT NULL REFERENCES designs(sha256),
    goods TEXT NOT NULL,          -- empty: of the file itself
    name TEXT NOT NULL,
    level TEXT NOT NULL,          -- note | caution | fault
    measured REAL, chance REAL,
    PRIMARY KEY (sha256, goods, name)
) WITHOUT ROWID;
CREATE INDEX findings_by_name ON findings (name, level);
CREATE TABLE threads (
    sha256 TEXT NOT NULL REFERENCES designs(sha256),
    block INTEGER NOT NULL,       -- from 1, in sewing order
    rgb TEXT, name TEXT, stitches INTEGER NOT NULL,
    PRIMARY KEY (sha256, block)
) WITHOUT ROWID;
CREATE TABLE sketch_pages (       -- the sketches of all designs, some thousands to a row, for asking what is alike
    page INTEGER PRIMARY KEY,
    contents BLOB NOT NULL,       -- 32 bytes of sha256 each
    sketches BLOB NOT NULL        -- 120 bytes each
);
CREATE TABLE marks (              -- single facts about the book
    name TEXT PRIMARY KEY,        -- pages: 1 while sketch_pages hold what designs hold
    value INTEGER NOT NULL
) WITHOUT ROWID;
