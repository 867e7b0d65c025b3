"""Asks the program in beds/ for our numbers, and solves a compressible bed with SciPy.

Run alone it prints the median time of one solution and its results, one a line.
"""
import json
import os
import pathlib
import statistics
import subprocess
import time

import numpy as np
import scipy
from scipy.integrate import solve_ivp

ROOT = pathlib.Path(__file__).resolve().parents[2]
KOZENY = 180.0
GRAVITY = 9.80665
# The bed of the benchmarks: linear strain and friction at the wall.
BED = dict(law="linear", stress=4e5, bead=90e-6, void=0.40, height=0.20, viscosity=1e-3, diameter=0.30, friction=0.1)


def ask(requests):
    """Return our answers."""
    program = ROOT / "build" / "beds"
    subprocess.run(["go", "build", "-trimpath", "-o", program, "./kernel/clients/beds"],
                   cwd=ROOT, env={**os.environ, "CGO_ENABLED": "0"}, check=True)
    done = subprocess.run([program], input=json.dumps(requests), capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def void(bed, stress):
    """Return the void between the beads at a stress."""
    e0 = bed["void"]
    if bed["law"] == "linear":
        lost = stress / bed["stress"]
        return (e0 - lost) / (1 - lost)
    if bed["law"] == "exponential":
        return e0 * np.exp(-stress / bed["stress"])
    return 1 - (1 - e0) * (1 + stress / bed["stress"]) ** bed["exponent"]


def solve(bed, velocity, method="RK45", rtol=1e-8, atol=1e-10):
    """Return stress at the bottom, pressure and height by solve_ivp, over the volume of beads."""
    load, excess = bed.get("load", 0.0), bed.get("excess", 0.0)
    hold = 4 * bed["friction"] / bed["diameter"] if bed.get("friction") else 0.0
    pull = KOZENY * bed["viscosity"] * velocity / bed["bead"] ** 2

    def slope(_, y):
        e = void(bed, y[0])
        depth = 1 / (1 - e)
        drag = pull * (1 - e) ** 2 / e**3
        return [(drag - hold * y[0]) * depth + excess * GRAVITY, drag * depth, depth]

    found = solve_ivp(slope, (0, (1 - bed["void"]) * bed["height"]), [load, 0, 0], method=method, rtol=rtol, atol=atol)
    assert found.success, found.message
    return found.y[:, -1]


def main():
    velocity = 300 / 360000
    solve(BED, velocity)
    times = []
    for _ in range(200):
        start = time.perf_counter()
        stress, pressure, height = solve(BED, velocity)
        times.append(time.perf_counter() - start)
    print(f"seconds {statistics.median(times):.6g}")
    print(f"stress {stress:.12g}")
    print(f"pressure {pressure:.12g}")
    print(f"height {height:.12g}")
    print(f"scipy {scipy.__version__}")


if __name__ == "__main__":
    main()
