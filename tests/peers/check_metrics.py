"""Parses OpenMetrics text from standard input; says the number of families and two of the values."""

import sys

from prometheus_client.openmetrics.parser import text_string_to_metric_families

families = list(text_string_to_metric_families(sys.stdin.read()))
seen = set()
for family in families:
    for sample in family.samples:
        series = (sample.name, tuple(sorted(sample.labels.items())))
        if series in seen:
            sys.exit(f"given twice: {series}")
        seen.add(series)
values = {sample.name: sample.value for family in families for sample in family.samples}
print(
    len(families),
    values["kerfwatch_inputs_total"] > 0,
    values["kerfwatch_bytes_received_total"] > 0,
)
