"""Bending of one layer of bricks as thick as a fire deck, against three-dimensional elasticity.

The simply supported plate has an exact three-dimensional solution; it is evaluated here apart from
the elements. The clamped one has none: its truth is the same element on finer and finer meshes,
extrapolated, which the simply supported case has earned, and which a published thick-plate value
must meet.
"""

from __future__ import annotations

import functools

import numpy as np
import pytest
from scipy.linalg import expm

from tests.contact_bodies import box, even_shares, material, moved

SIDE, THICKNESS, MODULUS, POISSON, PRESSURE = 96.0, 9.6, 72400.0, 0.3, 1.0


def quarter_plate(cells, layers, clamped):
    """Deflection in the middle of the lower face of a square plate under pressure from above [mm]."""
    half = 0.5 * SIDE
    mesh = box((half, half, THICKNESS), (cells, cells, layers), material(MODULUS, POISSON))
    at = mesh.body.places
    held = np.zeros((len(at), 3), dtype=bool)
    for axis in (0, 1):
        middle, edge = at[:, axis] == 0, at[:, axis] == cells
        held[middle, axis] = True
        held[edge, 2] = True
        held[edge, 1 - axis] = True
        if clamped:
            held[edge] = True
    force = np.zeros(held.shape)
    force[:, 2] = -PRESSURE * even_shares(mesh, layers)
    return -moved(mesh, held, force, int(np.flatnonzero((at == 0).all(axis=1))[0]))


def exact_supported(terms=61):
    """Deflection in the middle of the lower face by the exact solution, a double sine series [mm].

    Pagano, J. Compos. Mater. 4 (1970) 20, for one isotropic layer (reference from memory); here each
    term is carried through the thickness by the matrix exponential of the six equations of
    elasticity for u, v, w and the tractions, which needs no formula from the paper.
    """
    shear = MODULUS / (2.0 * (1.0 + POISSON))
    lame = MODULUS * POISSON / ((1.0 + POISSON) * (1.0 - 2.0 * POISSON))
    stiff = lame + 2.0 * shear
    plane, cross = stiff - lame**2 / stiff, lame - lame**2 / stiff
    total = 0.0
    for m in range(1, terms, 2):
        for n in range(1, terms, 2):
            a, b = m * np.pi / SIDE, n * np.pi / SIDE
            if np.hypot(a, b) * THICKNESS > 30.0:
                continue  # decays through the thickness by e^-30
            rate = np.zeros((6, 6))  # of u, v, w, xz, yz, zz over z
            rate[0, [2, 3]] = -a, 1.0 / shear
            rate[1, [2, 4]] = -b, 1.0 / shear
            rate[2, [0, 1, 5]] = lame / stiff * a, lame / stiff * b, 1.0 / stiff
            rate[3, [0, 1, 5]] = plane * a**2 + shear * b**2, (cross + shear) * a * b, -lame / stiff * a
            rate[4, [0, 1, 5]] = (cross + shear) * a * b, plane * b**2 + shear * a**2, -lame / stiff * b
            rate[5, [3, 4]] = a, b
            scale = np.array([1.0, 1.0, 1.0, MODULUS / 10.0, MODULUS / 10.0, MODULUS / 10.0])
            through = expm(THICKNESS * rate * scale[None] / scale[:, None])
            load = -PRESSURE * 16.0 / (np.pi**2 * m * n) / scale[3]
            bottom = np.linalg.solve(through[3:, :3], np.array([0.0, 0.0, load]))
            total += bottom[2] * np.sin(0.5 * m * np.pi) * np.sin(0.5 * n * np.pi)
    return -total


@functools.cache
def extrapolated(clamped):
    """Deflection of a mesh of no size: halving cells twice, its rate of convergence found, not taken."""
    coarse, middle, fine = (quarter_plate(n, k, clamped) for n, k in ((6, 2), (12, 4), (24, 8)))
    ratio = (middle - coarse) / (fine - middle)
    return fine + (fine - middle) / (ratio - 1.0), ratio


@pytest.mark.parametrize("clamped", [False, True])
def test_one_layer_at_eight_millimetres_bends_like_the_solid(clamped):
    truth = extrapolated(clamped)[0] if clamped else exact_supported()
    assert quarter_plate(6, 1, clamped) == pytest.approx(truth, rel=0.015)


def test_finer_meshes_end_at_the_exact_supported_plate():
    end, ratio = extrapolated(clamped=False)
    assert end == pytest.approx(exact_supported(), rel=1e-3)
    assert 3.0 < ratio < 5.0  # second order


def test_the_exact_solution_nears_thin_plate_theory():
    # Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed., Table 8: 0.00406 q a^4/D for
    # a square plate, nu = 0.3 (from memory). Shear in a plate of a tenth of its side adds 5 %: Reissner-
    # Mindlin 0.00427 (from memory), of which the solid shows a little less.
    rigidity = MODULUS * THICKNESS**3 / (12.0 * (1.0 - POISSON**2))
    factor = exact_supported() * rigidity / (PRESSURE * SIDE**4)
    assert 0.00406 < factor < 0.00428


def test_finer_meshes_end_near_the_published_clamped_thick_plate():
    # Clamped square plate of a tenth of its side, nu = 0.3: 0.00150 q a^4/D by Reissner-Mindlin theory
    # (printed in many finite-element papers; from memory), 0.00126 when thin (Timoshenko and
    # Woinowsky-Krieger, 2nd ed., Table 35; from memory). The theory has a shear factor of 5/6 and no
    # thickness change: 2 %.
    rigidity = MODULUS * THICKNESS**3 / (12.0 * (1.0 - POISSON**2))
    factor = extrapolated(clamped=True)[0] * rigidity / (PRESSURE * SIDE**4)
    assert factor == pytest.approx(0.00150, rel=0.02)
