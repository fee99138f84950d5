"""Holds values against schemas of an OpenAPI document, and the document against its own rules.

Standard input: {"document": ..., "values": [[name, schema, value], ...]}. Says how many were held.
"""

import json
import sys

from jsonschema import Draft202012Validator
from openapi_spec_validator import validate

case = json.load(sys.stdin)
document = case["document"]
validate(document)
bad = []
for name, schema, value in case["values"]:
    whole = {"components": document["components"], **schema}
    for error in Draft202012Validator(whole).iter_errors(value):
        bad.append(f"{name}: {error.json_path}: {error.message[:200]}")
if bad:
    sys.exit("\n".join(bad))
print(len(case["values"]))
