"""Reads a LAS file with lasio and prints its header and curves as JSON."""
import json
import sys

import lasio

las = lasio.read(sys.argv[1])
print(json.dumps({
    "version": las.version["VERS"].value,
    "wrap": las.version["WRAP"].value,
    "well": {item.mnemonic: item.value for item in las.well},
    "units": {curve.mnemonic: curve.unit for curve in las.curves},
    "parameters": {item.mnemonic: item.value for item in las.params},
    "descriptions": {item.mnemonic: item.descr for item in las.params},
    "curves": {curve.mnemonic: [None if v != v else float(v) for v in curve.data] for curve in las.curves},
}, default=lambda number: number.item()))
