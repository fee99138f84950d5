"""Queries the dataset of `batch` with DataFusion and prints the answers as JSON."""
import json
import sys

import datafusion
import pyarrow

context = datafusion.SessionContext()
context.register_parquet(
    "joints", sys.argv[1],
    table_partition_cols=[("well", pyarrow.string()), ("run", pyarrow.string())],
)
def rows(sql):
    return context.sql(sql).to_pylist() if hasattr(context.sql(sql), "to_pylist") else \
        pyarrow.Table.from_batches(context.sql(sql).collect()).to_pylist()
print(json.dumps({
    "by_well": rows(
        "select well, count(distinct run) as runs, count(*) as joints, avg(split_fraction) as split, "
        "max(run_strokes) as strokes from joints group by well order by well"),
    "of_one": rows("select run, joint, top_m, bottom_m from joints where well = 'Invented-2' order by joint"),
}))
