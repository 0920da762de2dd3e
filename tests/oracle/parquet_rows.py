"""Every value of a Parquet export, read by DuckDB, beside the archive, read by Python's sqlite3.

usage: parquet_rows.py TREE OFFICE ARCHIVE.db

TREE holds the exports of one or more offices; OFFICE is the one whose archive is given. Checks
types, rows, nulls, sums, partitions, and that a month can be read without opening the files of the
others. Prints what it counted as one JSON object; on the first difference it ends with exit code 1.
Nothing here shares code with the program that wrote the files.
"""

import json
import re
import sqlite3
import sys
from pathlib import Path

import duckdb

QUANTITIES = {
    "narrow_wide": "_v", "ground_wide": "_v", "narrow_ground": "_v", "clip_wide": "_v",
    "frequency": "_hz", "earth_path": "_ohm", "hot_and_ground": "_ohm",
    "neutral_and_ground": "_ohm", "neutral_to_clip": "_ohm", "load_step_rho": "",
    "watch_neutral_drop": "_v", "watch_frame_shift": "_v", "watch_idle": "_v",
    "watch_highest": "_v",
}

# Column of the export -> type in DuckDB, and the archive's expression.
COLUMNS = {
    "tester": ("VARCHAR", "t.serial"),
    "record": ("BIGINT", "r.number"),
    "sha256": ("BLOB", "r.sha256"),
    "boot": ("BIGINT", "r.boot"),
    "millis_since_boot": ("BIGINT", "CASE WHEN r.millis >= 0 THEN r.millis END"),
    "time_utc": ("TIMESTAMP WITH TIME ZONE", "r.clock * 1000"),
    "firmware": ("VARCHAR", "r.firmware"),
    "site": ("VARCHAR", "s.name"),
    "appliance": ("VARCHAR", "a.name"),
    "outcome": ("VARCHAR", "x.outcome"),
    "finding": ("VARCHAR", "x.finding"),
    "clip": ("VARCHAR", "x.clip"),
    "windows": ("INTEGER", "x.windows"),
    "calibrated": ("BOOLEAN", "x.calibrated"),
}
for name, unit in QUANTITIES.items():
    COLUMNS[name + unit] = ("FLOAT", f"x.{name}")
    COLUMNS[name + "_u" + unit] = ("FLOAT", f"x.{name}_u")
    COLUMNS[name + "_missing"] = ("VARCHAR", f"x.{name}_missing")

# What the archive's columns do not hold; the caller knows better what is right there.
OTHERS = {
    "finding_number": "INTEGER",
    "calibration_done_utc": "TIMESTAMP WITH TIME ZONE",
    "calibration_until_utc": "TIMESTAMP WITH TIME ZONE",
    "office": "VARCHAR",
    "month": "VARCHAR",
}


def equal(what, ours, theirs):
    if ours != theirs:
        sys.exit(f"{what}: the export says {ours!r}, the archive {theirs!r}")


def main() -> int:
    if len(sys.argv) != 4:
        print(__doc__, file=sys.stderr)
        return 2
    tree, office, archive = sys.argv[1:]
    db = duckdb.connect()
    db.execute("SET TimeZone = 'UTC'")
    files = str(Path(tree) / "*" / "*" / "*.parquet")
    db.execute(
        "CREATE VIEW tests AS SELECT * FROM read_parquet(?, hive_partitioning = true, "
        "hive_types = {'office': VARCHAR, 'month': VARCHAR})".replace("?", "'" + files.replace("'", "''") + "'")
    )
    types = {row[0]: row[1] for row in db.execute("DESCRIBE tests").fetchall()}
    equal("types", types, {name: kind for name, (kind, _) in COLUMNS.items()} | OTHERS)

    lite = sqlite3.connect(f"file:{Path(archive).resolve()}?mode=ro", uri=True)
    month = "CASE WHEN r.clock BETWEEN 0 AND 253402207200 THEN strftime('%Y-%m', r.clock, 'unixepoch') END"
    theirs = lite.execute(
        f"SELECT {', '.join(sql for _, sql in COLUMNS.values())}, {month} FROM test x "
        "JOIN record r ON r.id = x.record JOIN tester t ON t.id = r.tester "
        "LEFT JOIN placing p ON p.record = r.id LEFT JOIN site s ON s.id = p.site "
        "LEFT JOIN appliance a ON a.id = p.appliance ORDER BY t.serial, r.number"
    ).fetchall()
    names = [f"epoch_ms({name})" if name.endswith("_utc") else name for name in COLUMNS]
    ours = db.execute(
        f"SELECT {', '.join(names)}, month FROM tests WHERE office = ? ORDER BY tester, record",
        [office],
    ).fetchall()
    equal("rows", len(ours), len(theirs))
    clock = list(COLUMNS).index("time_utc")
    for own, other in zip(ours, theirs):
        other = list(other)
        if other[-1] is None:
            other[clock] = None  # a time that no calendar has
        for name, mine, right in zip([*COLUMNS, "month"], own, other):
            if name == "calibrated":
                right = bool(right)
            if mine != right or isinstance(mine, float) and mine != mine:
                equal(f"{other[0]} record {other[1]}, {name}", mine, right)

    # Sums and nulls by the engines themselves.
    nulls, sums = 0, {}
    for name, (kind, sql) in COLUMNS.items():
        if kind != "FLOAT":
            continue
        mine = db.execute(
            f"SELECT count(*) - count({name}), sum({name}::DOUBLE) FROM tests WHERE office = ?", [office]
        ).fetchone()
        right = lite.execute(f"SELECT count(*) - count({sql}), sum({sql}) FROM test x").fetchone()
        equal(f"nulls of {name}", mine[0], right[0])
        if right[1] is not None and abs(mine[1] - right[1]) > 1e-9 * abs(right[1]):
            equal(f"sum of {name}", mine[1], right[1])
        nulls += mine[0]
        sums[name] = mine[1]

    kept = {
        bytes(key).decode(): bytes(value).decode()
        for key, value in db.execute(
            f"SELECT key, value FROM parquet_kv_metadata('{files.replace(chr(39), chr(39) * 2)}')"
        ).fetchall()
    }
    equal("schema version", kept.get("slotwise.schema_version"), "1")

    # One month of one office: how many files the engine opens.
    months = db.execute(
        "SELECT month, count(*) FROM tests WHERE office = ? AND month IS NOT NULL GROUP BY month ORDER BY month",
        [office],
    ).fetchall()
    pruned = None
    if months:
        middle = months[len(months) // 2][0]
        plan = db.execute(
            "EXPLAIN ANALYZE SELECT sum(record) FROM tests WHERE office = ? AND month = ?", [office, middle]
        ).fetchall()[0][1]
        scanned = re.search(r"Files Read:\s*(\d+)", plan) or re.search(r"Scanning Files:\s*(\d+)/\d+", plan)
        pruned = int(scanned.group(1)) if scanned else None
        if pruned is None:
            print(plan, file=sys.stderr)
        equal("files read for one month", pruned, 1)
    print(json.dumps({
        "rows": len(ours), "months": len(months), "nulls": nulls, "sums": sums,
        "files_read_for_a_month": pruned,
    }))
    return 0


if __name__ == "__main__":
    sys.exit(main())
