"""What a short script makes of the same readings, as a yardstick for `kerfwatch-replay recompute RUN --timing`.

Usage: python numpy_baseline.py samples.csv
Reads the table (time_s,load_n,depth_m), finds reversals of the line at surface (half a metre), counts strokes, and sums
the work of each: tension above the mean of all strokes of that direction, times line moved. No stretch, no waves, no
friction, no states, no groove, no alarms. Prints what each part took.
"""

import sys
import time

import numpy as np

HYSTERESIS_M = 0.5


def read(path):
    with open(path, "rb") as file:
        file.readline()
        # Empty cells are readings of the other channel: an `x` that the parser takes for "not a number".
        text = file.read().replace(b",,", b",nan,").replace(b",\n", b",nan\n")
    return np.fromstring(text.replace(b"\n", b",").decode(), sep=",").reshape(-1, 3)


def reversals(depth):
    """Indices where the line turned: extremes that lie more than the hysteresis before a move back."""
    turns = []
    low = high = 0
    going = 0
    for i, value in enumerate(depth):
        if value < depth[low]:
            low = i
        if value > depth[high]:
            high = i
        if going >= 0 and value < depth[high] - HYSTERESIS_M:
            turns.append(high)
            going, low = -1, i
            high = i
        elif going <= 0 and value > depth[low] + HYSTERESIS_M:
            turns.append(low)
            going, high = 1, i
            low = i
    return turns


def main():
    start = time.perf_counter()
    rows = read(sys.argv[1])
    at_read = time.perf_counter()
    at, load, depth = rows.T
    has_load, has_depth = ~np.isnan(load), ~np.isnan(depth)
    readings = int(has_load.sum() + has_depth.sum())
    moved, line = at[has_depth], depth[has_depth]
    tension = np.interp(moved, at[has_load], load[has_load])
    # Ten points a second are enough to find where the line turned.
    every = max(1, int(0.1 / np.median(np.diff(moved[:1000]))))
    turns = np.array(reversals(line[::every])) * every
    strokes = []
    for first, last in zip(turns[:-1], turns[1:]):
        up = line[last] < line[first]
        strokes.append((up, tension[first:last], np.diff(line[first : last + 1])))
    work = {}
    for direction in (True, False):
        of_direction = [s for s in strokes if s[0] == direction]
        if not of_direction:
            continue
        base = np.mean(np.concatenate([s[1] for s in of_direction]))
        work[direction] = sum(float(np.sum(np.abs((s[1] - base) * s[2]))) for s in of_direction)
    done = time.perf_counter()
    total = done - start
    print(
        f"{len(strokes)} strokes, {sum(work.values()):.0f} J; {readings} readings in {total:.2f} s "
        f"(read {at_read - start:.2f} s, work out {done - at_read:.2f} s): {readings / total / 1e6:.2f} million readings/s"
    )


main()
