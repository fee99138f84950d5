"""Reads an HdrHistogram log with the package hdrhistogram and prints its lines as JSON."""
import json
import sys

from hdrh.histogram import HdrHistogram
from hdrh.log import HistogramLogReader

reader = HistogramLogReader(sys.argv[1], HdrHistogram(1, 1000000, 3))
lines = []
while True:
    histogram = reader.get_next_interval_histogram()
    if not histogram:
        break
    lines.append({
        "tag": histogram.get_tag(),
        "start_ms": histogram.get_start_time_stamp(),
        "end_ms": histogram.get_end_time_stamp(),
        "count": histogram.get_total_count(),
        "max": histogram.get_max_value(),
        "median": histogram.get_value_at_percentile(50),
    })
print(json.dumps({"lines": lines}))
