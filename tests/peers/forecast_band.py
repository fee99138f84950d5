"""Strokes to break-through in simulated truth against the forecast's 90 % band.

Usage: python forecast_band.py KERFWATCH_REPLAY FOLDER
where FOLDER holds folders made by `kerfwatch-replay simulate` (job.toml, truth.json).
"""
import glob
import json
import os
import subprocess
import sys

program, folder = sys.argv[1:3]
inside = total = 0
for place in sorted(glob.glob(os.path.join(folder, "*", ""))):
    with open(place + "truth.json") as file:
        truth = json.load(file)
    forecast = json.loads(subprocess.run(
        [program, "forecast", place + "job.toml", "--json", "-", "--quiet"],
        check=True, capture_output=True, text=True).stdout)
    band = forecast["joints"][0]["strokes"]
    cutting = [s for s in truth["strokes"] if s["cut_work_j"] > 50]
    counts = []
    for b in truth["groove"]:
        if b["coupling"] or not b["through"] or b["through_s"] is None:
            continue
        middle = (b["top_m"] + b["bottom_m"]) / 2
        counts.append(sum(1 for s in cutting
                          if s["start_s"] < b["through_s"] and s["top_m"] <= middle <= s["bottom_m"]))
    if not counts:
        continue
    median = sorted(counts)[len(counts) // 2]
    good = band["p05"] <= median <= band["p95"]
    total += 1
    inside += good
    name = os.path.basename(os.path.dirname(place))
    print(f"{name:16} {median:4} strokes, band {band['p05']:.0f} to {band['p95']:.0f} {'' if good else 'OUT'}")
print(f"{inside} of {total} inside the 90 % band")
