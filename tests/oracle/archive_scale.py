"""Plain sqlite3 and DuckDB doing what the archive does, on the data of one run.

usage: archive_scale.py FOLDER

FOLDER is the one of `cargo run --release -p slotwise-tests --example archive_scale`: `office.db`, the
archive; `tests.csv`, its export; `sites.json`, names of sites to open. Prints seconds as one JSON
object. sqlite3 is Python's, with statements as one writes them by hand:

- import: the very rows of the archive's tables `record` and `test` into tables without an index, one
  transaction, write-ahead log, synchronous; only the inserts are timed. DuckDB loads the decoded
  columns from CSV, without bytes and digests' check.
- site, failing: the same question to the archive's own file; DuckDB asks its table.
- parquet: DuckDB writes its table partitioned by month; sqlite3 can only read every row.
"""

import json
import sqlite3
import sys
import time
from pathlib import Path
from statistics import median

import duckdb

FROM = 1735689600  # 2025
TO = 1767225600
CHUNK = 5000


def timed(work):
    began = time.perf_counter()
    answer = work()
    return time.perf_counter() - began, answer


def plain_import(folder, archive):
    file = folder / "plain.db"
    for ending in ("", "-wal", "-shm"):
        Path(f"{file}{ending}").unlink(missing_ok=True)
    plain = sqlite3.connect(file, isolation_level=None)
    plain.execute("PRAGMA journal_mode = wal")
    plain.execute("PRAGMA synchronous = full")
    spent = 0.0
    for table in ("record", "test"):
        rows = archive.execute(f"SELECT * FROM {table}")
        names = [column[0] for column in rows.description]
        plain.execute(f"CREATE TABLE {table} ({', '.join(names)})")
        insert = f"INSERT INTO {table} VALUES ({', '.join('?' * len(names))})"
        spent += timed(lambda: plain.execute("BEGIN"))[0]
        while chunk := rows.fetchmany(CHUNK):
            spent += timed(lambda: plain.executemany(insert, chunk))[0]
        spent += timed(lambda: plain.execute("COMMIT"))[0]
    plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    plain.close()
    size = file.stat().st_size
    file.unlink()
    return spent, size


def main() -> int:
    if len(sys.argv) != 2:
        print(__doc__, file=sys.stderr)
        return 2
    folder = Path(sys.argv[1])
    sites = json.loads((folder / "sites.json").read_text())
    archive = sqlite3.connect(f"file:{folder / 'office.db'}?mode=ro", uri=True)
    seconds = {}
    seconds["sqlite_import"], plain_size = plain_import(folder, archive)

    of_site = (
        "SELECT t.serial, r.number, r.sha256, r.clock, a.name, x.* FROM site s "
        "JOIN placing p ON p.site = s.id JOIN record r ON r.id = p.record "
        "JOIN tester t ON t.id = r.tester JOIN test x ON x.record = r.id "
        "LEFT JOIN appliance a ON a.id = p.appliance WHERE s.name = ? ORDER BY t.serial, r.number"
    )
    opened = [timed(lambda: archive.execute(of_site, [site]).fetchall()) for site in sites]
    seconds["sqlite_site"] = median(spent for spent, _ in opened)
    of_year = (
        "SELECT s.name, count(*) FROM test x JOIN record r ON r.id = x.record "
        "JOIN placing p ON p.record = r.id JOIN site s ON s.id = p.site "
        "WHERE x.outcome IN ('danger', 'fault') AND r.clock >= ? AND r.clock < ? "
        "GROUP BY s.name ORDER BY s.name"
    )
    seconds["sqlite_failing"], failing = timed(lambda: archive.execute(of_year, [FROM, TO]).fetchall())
    everything = (
        "SELECT t.serial, r.number, r.sha256, r.clock, s.name, a.name, x.* FROM test x "
        "JOIN record r ON r.id = x.record JOIN tester t ON t.id = r.tester "
        "LEFT JOIN placing p ON p.record = r.id LEFT JOIN site s ON s.id = p.site "
        "LEFT JOIN appliance a ON a.id = p.appliance"
    )

    def read_all():
        rows = archive.execute(everything)
        return sum(len(chunk) for chunk in iter(lambda: rows.fetchmany(CHUNK), []))

    seconds["sqlite_parquet"], count = timed(read_all)

    file = folder / "duck.db"
    file.unlink(missing_ok=True)
    duck = duckdb.connect(str(file))
    duck.execute("SET TimeZone = 'UTC'")
    load = f"CREATE TABLE tests AS SELECT * FROM read_csv('{folder / 'tests.csv'}', sample_size = 100000)"
    seconds["duckdb_import"], _ = timed(lambda: duck.execute(load))
    opened = [
        timed(lambda: duck.execute(
            "SELECT * FROM tests WHERE site = ? ORDER BY tester, record", [site]).fetchall())
        for site in sites
    ]
    seconds["duckdb_site"] = median(spent for spent, _ in opened)
    of_year = (
        "SELECT site, count(*) FROM tests WHERE outcome IN ('danger', 'fault') AND site IS NOT NULL "
        "AND time_utc >= '2025-01-01' AND time_utc < '2026-01-01' GROUP BY site ORDER BY site"
    )
    seconds["duckdb_failing"], duck_failing = timed(lambda: duck.execute(of_year).fetchall())
    if duck_failing != failing or duck.execute("SELECT count(*) FROM tests").fetchone() != (count,):
        sys.exit("DuckDB and sqlite3 do not see the same tests")
    copy = (
        "COPY (SELECT *, strftime(time_utc, '%Y-%m') AS month FROM tests) TO "
        f"'{folder / 'duck-tree'}' (FORMAT parquet, PARTITION_BY (month), COMPRESSION snappy, OVERWRITE)"
    )
    seconds["duckdb_parquet"], _ = timed(lambda: duck.execute(copy))
    duck.close()
    print(json.dumps({
        "seconds": seconds, "failing": len(failing), "tests": count,
        "plain_bytes": plain_size, "duckdb_bytes": file.stat().st_size,
        "duckdb": duckdb.__version__, "sqlite": sqlite3.sqlite_version,
    }))
    return 0


if __name__ == "__main__":
    sys.exit(main())
