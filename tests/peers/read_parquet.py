"""Reads a Parquet file with pyarrow and prints columns, types and metadata as JSON."""
import json
import sys

import pyarrow.parquet as parquet

table = parquet.read_table(sys.argv[1])
print(json.dumps({
    "types": {field.name: str(field.type) for field in table.schema},
    "columns": table.to_pydict(),
    "about": {key.decode(): value.decode() for key, value in (table.schema.metadata or {}).items()},
}))
