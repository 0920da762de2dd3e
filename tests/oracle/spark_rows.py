"""Reads Parquet exports with Apache Spark, the way an office's data people would.

usage: pip install pyspark  (4.3.0 was used; needs Java 17), then: spark_rows.py TREE

TREE is the folder that `slotwise export --parquet` wrote; `SLOTWISE_TREE=DIR cargo test -p
slotwise-tests --test parquet` leaves one with odd names and times. Prints the types that Spark sees, rows by
office, nulls and sums of the earth path, and how many files it opens for one month. Not part of the
test suite: Java and Spark are large. Ends with exit code 1 where rows, nulls or sums differ from
DuckDB's, if that is installed.
"""

import sys

from pyspark.sql import SparkSession, functions as f


def main() -> int:
    if len(sys.argv) != 2:
        print(__doc__, file=sys.stderr)
        return 2
    spark = (
        SparkSession.builder.master("local[1]").config("spark.ui.enabled", "false")
        .config("spark.sql.session.timeZone", "UTC").getOrCreate()
    )
    spark.sparkContext.setLogLevel("ERROR")
    tests = spark.read.parquet(sys.argv[1])
    tests.printSchema()
    found = {
        row["office"]: (row["tests"], row["with_path"], row["path"])
        for row in tests.groupBy("office").agg(
            f.count("*").alias("tests"), f.count("earth_path_ohm").alias("with_path"),
            f.sum(f.col("earth_path_ohm").cast("double")).alias("path"),
        ).collect()
    }
    for office, (count, with_path, path) in sorted(found.items()):
        print(f"{office}: {count} tests, {count - with_path} without earth path, sum {path:.6f} ohm")
    tests.where("time_utc IS NOT NULL").select(
        "office", "month", "tester", "record", f.lower(f.hex("sha256")).alias("sha256"), "time_utc",
        "outcome", "finding_number", "earth_path_ohm", "earth_path_missing",
    ).orderBy("office", "tester", "record").show(3, truncate=24, vertical=True)
    nowhere = tests.where("month IS NULL").count()
    print(f"{nowhere} tests without a month")
    months = [row[0] for row in tests.where("month IS NOT NULL").select("month").distinct().collect()]
    one = tests.where(f.col("month") == sorted(months)[len(months) // 2])
    print(f"month {sorted(months)[len(months) // 2]}: {one.select(f.input_file_name()).distinct().count()} "
          f"of {len(tests.inputFiles())} files hold rows of it")
    one.explain(mode="formatted")
    spark.stop()
    try:
        import duckdb
    except ImportError:
        print("no duckdb to compare with")
        return 0
    other = duckdb.sql(
        "SELECT office, count(*), count(earth_path_ohm), sum(earth_path_ohm::DOUBLE) FROM "
        f"read_parquet('{sys.argv[1]}/*/*/*.parquet', hive_partitioning = true, "
        "hive_types = {'office': VARCHAR, 'month': VARCHAR}) GROUP BY office"
    ).fetchall()
    for office, count, with_path, path in other:
        if found.get(office, (0, 0, 0))[:2] != (count, with_path) or abs(found[office][2] - path) > 1e-6:
            print(f"{office}: Spark says {found.get(office)}, DuckDB {(count, with_path, path)}")
            return 1
    if len(other) != len(found):
        print(f"Spark sees {len(found)} offices, DuckDB {len(other)}")
        return 1
    print("the same as DuckDB's")
    return 0


if __name__ == "__main__":
    sys.exit(main())
