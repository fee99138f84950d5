"""Compares the models with packages that others wrote.

Usage: python check_models.py VALUES.json
where VALUES.json is what `cargo run -p kerfwatch --example model_values` prints.
Prints one line per comparison; exit code 1 when any is outside its tolerance.
"""

import json
import sys
from collections import Counter

import numpy
import rainflow
import wellpathpy
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

failed = False


def compare(what, peer, error, tolerance, unit):
    global failed
    good = error <= tolerance
    failed |= not good
    print(f"{'ok  ' if good else 'FAIL'} {what} | {peer} | error {error:.2e} {unit} | tolerance {tolerance:g} {unit}")


def well_path(values):
    md, inc, azi = numpy.array(values["survey_deg"]).T
    peer = wellpathpy.deviation(md, inc, azi % 360).minimum_curvature()
    ours = numpy.array(values["positions"])
    theirs = numpy.column_stack([peer.depth, peer.northing, peer.easting])
    compare("minimum curvature, 150 stations", "wellpathpy", abs(ours[:, 1:] - theirs).max(), 1e-6, "m")


def tangents(values):
    md, inc, azi = numpy.array(values["survey_deg"]).T
    inc, azi = numpy.radians(inc), numpy.radians(azi)
    return md, numpy.column_stack(
        [numpy.sin(inc) * numpy.cos(azi), numpy.sin(inc) * numpy.sin(azi), numpy.cos(inc)]
    )


def drag(values):
    """Force balance in vectors: the wall carries what of weight and tension lies across the line."""
    md, t = tangents(values)
    w = values["weight_n_m"]
    gravity = numpy.array([0.0, 0.0, w])
    sign = {"up": values["friction"]["up"], "rest": 0.0, "down": -values["friction"]["down"]}
    worst_integrated = worst_table = 0.0
    for row in values["drag"]:
        mu, tension = sign[row["motion"]], row["tool_n"]
        last = int(numpy.searchsorted(md, row["md_m"])) - 1
        for leg in range(last, -1, -1):
            a, b = t[leg], t[leg + 1]
            length = md[leg + 1] - md[leg]
            angle = 2 * numpy.arctan2(numpy.linalg.norm(b - a), numpy.linalg.norm(a + b))
            bottom = min(row["md_m"], md[leg + 1])

            def rate(s, y):
                f = (s - md[leg]) / length
                if angle < 1e-12:
                    along, turn = a, numpy.zeros(3)
                else:
                    along = (numpy.sin((1 - f) * angle) * a + numpy.sin(f * angle) * b) / numpy.sin(angle)
                    turn = (numpy.cos(f * angle) * b - numpy.cos((1 - f) * angle) * a) / numpy.sin(angle)
                    turn = turn * angle / length
                across = gravity - (gravity @ along) * along
                return [-(w * along[2] + mu * numpy.linalg.norm(y[0] * turn + across))]

            solution = solve_ivp(rate, (bottom, md[leg]), [tension], method="DOP853", rtol=1e-10, atol=1e-9)
            tension = solution.y[0, -1]
        worst_integrated = max(worst_integrated, abs(tension - row["integrated_n"]))
        worst_table = max(worst_table, abs(tension - row["table_n"]))
    compare("soft string, fine integration", "scipy DOP853", worst_integrated, 0.01, "N")
    compare("soft string, live table", "scipy DOP853", worst_table, 1.0, "N")


def cycles(values):
    ours = Counter()
    for size, count in values["cycles"]:
        ours[size] += count
    theirs = Counter()
    for size, _, count, _, _ in rainflow.extract_cycles(values["series"]):
        theirs[size] += count
    difference = sum(abs(ours[k] - theirs[k]) for k in ours.keys() | theirs.keys())
    compare(f"rainflow, {sum(theirs.values()):.0f} cycles", "rainflow", difference, 0, "cycles")


def groove(values):
    kappa, depth, worst = values["groove"]["kappa"], 0.0, 0.0
    for ours in values["groove"]["depths_m"]:
        p = brentq(lambda p: p**0.5 * (depth + 2 * p / 3) - kappa, 0, 0.1, xtol=1e-16, rtol=1e-14)
        depth += p
        worst = max(worst, abs(ours / depth - 1))
    compare("groove law, 60 passes", "scipy brentq", worst, 1e-11, "relative")


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        values = json.load(file)
    for check in (well_path, drag, cycles, groove):
        check(values)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
