"""Runs the SQL of a document on a folder of Parquet exports with DuckDB.

usage: fleet_queries.py DOCUMENT.md FOLDER

Every block marked ```sql is run in order, with FOLDER as the current folder, where the document's
`fleet/` stands. Prints a JSON list: for each block its rows, each an object of text by column.
"""

import json
import os
import re
import sys
from pathlib import Path

import duckdb


def main() -> int:
    if len(sys.argv) != 3:
        print(__doc__, file=sys.stderr)
        return 2
    blocks = re.findall(r"^```sql\n(.*?)^```", Path(sys.argv[1]).read_text(), re.S | re.M)
    os.chdir(sys.argv[2])
    db = duckdb.connect()
    db.execute("SET TimeZone = 'UTC'")
    answers = []
    for block in blocks:
        found = db.execute(block)
        names = [column[0] for column in found.description or []]
        answers.append([
            {name: None if value is None else str(value) for name, value in zip(names, row)}
            for row in found.fetchall()
        ])
    print(json.dumps(answers))
    return 0


if __name__ == "__main__":
    sys.exit(main())
