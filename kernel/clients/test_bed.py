"""SciPy's integrators and ours solve the same compressible beds."""
import random

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

import beds

LAWS = {"linear": dict(law="linear", stress=4e5), "exponential": dict(law="exponential", stress=6e5),
        "power": dict(law="power", stress=2e4, exponent=0.08)}


def drawn(count):
    """Return beds and velocities below the critical ones, drawn with a fixed seed."""
    draw = random.Random(7)
    found = []
    for _ in range(count):
        bed = dict(LAWS[draw.choice(list(LAWS))], bead=draw.uniform(40e-6, 150e-6), void=draw.uniform(0.36, 0.45),
                   height=draw.uniform(0.05, 0.4), viscosity=draw.uniform(0.8e-3, 4e-3), diameter=draw.uniform(0.01, 1.0),
                   friction=draw.choice([0.0, 0.05, 0.1, 0.3]), excess=draw.choice([0.0, 40.0, 80.0]),
                   load=draw.choice([0.0, 0.0, 2e4]))
        found.append((bed, draw.uniform(0.05, 0.95)))
    critical = beds.ask([dict(bed, kind="critical") for bed, _ in found])
    return [(bed, part * c["velocity"]) for (bed, part), c in zip(found, critical)]


def test_solve_ivp():
    """DOP853 at its tightest tolerance: pressure, height and stress to 1e-8."""
    cases = drawn(40)
    ours = beds.ask([dict(bed, kind="compressible", velocity=u) for bed, u in cases])
    for (bed, u), mine in zip(cases, ours):
        stress, pressure, height = beds.solve(bed, u, method="DOP853", rtol=1e-12, atol=1e-12)
        assert mine["pressure"] == pytest.approx(pressure, rel=1e-8), bed
        assert mine["height"] == pytest.approx(height, rel=1e-8), bed
        assert mine["stress"] == pytest.approx(stress, rel=1e-8), bed


def test_critical():
    """The critical velocity and the ceiling from SciPy's quadrature and root, over the stress instead of the void."""
    for law in ("linear", "power"):  # the exponential law has no greatest stress to integrate to
        for friction in (0.0, 0.1):
            bed = dict(beds.BED, **LAWS[law], friction=friction)
            e0, beads = bed["void"], (1 - bed["void"]) * bed["height"]
            top = bed["stress"] * (e0 if law == "linear" else (1 - e0) ** (-1 / bed["exponent"]) - 1)

            def within(u, per):
                pull = beds.KOZENY * bed["viscosity"] * u / bed["bead"] ** 2
                hold = 4 * friction / bed["diameter"]

                def integrand(x):  # stress = top x²(3-2x), which spreads both ends
                    stress = top * x * x * (3 - 2 * x)
                    e = max(beds.void(bed, stress), 1e-300)
                    rate = pull * (1 - e) / e**3 - hold * stress / (1 - e)
                    return per(e) / rate * top * 6 * x * (1 - x)
                return quad(integrand, 0, 1, epsabs=0, epsrel=1e-11, limit=500)[0]

            mine, = beds.ask([dict(bed, kind="critical")])
            near = mine["velocity"]
            critical = brentq(lambda u: within(u, lambda e: 1.0) - beads, 0.9 * near, 1.1 * near, xtol=1e-16, rtol=1e-12)
            height = within(critical, lambda e: 1 / (1 - e))
            assert mine["velocity"] == pytest.approx(critical, rel=1e-8), (law, friction)
            assert mine["ceiling"] == pytest.approx(bed["height"] / height, rel=1e-8), (law, friction)


def test_same_work():
    """The benchmark's peer, at its own tolerance, comes to our numbers."""
    u = 300 / 360000
    stress, pressure, height = beds.solve(beds.BED, u)
    mine, = beds.ask([dict(beds.BED, kind="compressible", velocity=u)])
    assert np.isfinite([stress, pressure, height]).all()
    assert mine["pressure"] == pytest.approx(pressure, rel=1e-7)
    assert mine["height"] == pytest.approx(height, rel=1e-8)
    assert mine["stress"] == pytest.approx(stress, rel=1e-7)
