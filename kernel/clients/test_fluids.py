"""The general fluid-flow library fluids and ours find the same pressure drops, voids and settling."""
import random

import fluids
import pytest

import beds

WATER = dict(viscosity=1.0015672646e-3, density=998.206546)


def drawn(count):
    draw = random.Random(11)
    return [dict(WATER, bead=draw.uniform(20e-6, 300e-6), void=draw.uniform(0.3, 0.5), height=draw.uniform(0.05, 1.0),
                 velocity=draw.uniform(20, 1000) / 360000) for _ in range(count)]


def test_pressure_drop():
    """Ergun to rounding; Carman's own law, with its inertial term, and the laws with other constants as far as they are apart."""
    cases = drawn(50)
    for bed, mine in zip(cases, beds.ask([dict(bed, kind="rigid") for bed in cases])):
        given = dict(dp=bed["bead"], voidage=bed["void"], vs=bed["velocity"], rho=bed["density"], mu=bed["viscosity"], L=bed["height"])
        assert mine["ergun"] == pytest.approx(fluids.packed_bed.Ergun(**given), rel=1e-12)
        assert mine["kozeny"] == pytest.approx(fluids.packed_bed.Carman(**given), rel=0.05)
        assert mine["kozeny"] == pytest.approx(fluids.packed_bed.KTA(**given), rel=0.15)
        assert mine["kozeny"] / mine["blake"] == pytest.approx(1.2, rel=1e-12)
        assert mine["reynolds"] == pytest.approx(
            fluids.core.Reynolds(V=bed["velocity"], D=bed["bead"], rho=bed["density"], mu=bed["viscosity"]), rel=1e-12)


def test_wall_void():
    ratios = [1.5, 3, 10, 20, 49.9]
    ours = beds.ask([dict(kind="wall", bead=1e-4, diameter=r * 1e-4) for r in ratios])
    for r, mine in zip(ratios, ours):
        assert mine["void"] == pytest.approx(fluids.packed_bed.voidage_Benyahia_Oneil_spherical(1e-4, r * 1e-4), rel=1e-12)


def test_settling():
    beads = [20e-6, 50e-6, 90e-6, 150e-6]
    ours = beds.ask([dict(WATER, kind="settling", bead=d, excess=80.0, reynolds=1.0, archimedes=1.0) for d in beads])
    for d, mine in zip(beads, ours):
        heavy = WATER["density"] + 80
        stokes = fluids.drag.v_terminal(D=d, rhop=heavy, rho=WATER["density"], mu=WATER["viscosity"], Method="Stokes")
        assert mine["stokes"] == pytest.approx(stokes, rel=1e-9)
        full = fluids.drag.v_terminal(D=d, rhop=heavy, rho=WATER["density"], mu=WATER["viscosity"])
        assert mine["stokes"] == pytest.approx(full, rel=0.02)
        archimedes = fluids.core.Archimedes(L=d, rhof=WATER["density"], rhop=heavy, mu=WATER["viscosity"])
        assert mine["archimedes"] == pytest.approx(archimedes, rel=1e-9)
