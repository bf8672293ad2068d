"""The square root of the normal equations in 32 bits against numpy's least squares in 64."""

import ctypes
import subprocess

import numpy as np
import pytest

MOST = 12
Floats = ctypes.c_float * MOST


class Triangle(ctypes.Structure):
    _fields_ = (("cells", ctypes.c_float * (MOST * (MOST + 1) // 2)), ("z", Floats), ("size", ctypes.c_int))


@pytest.fixture(scope="module")
def library(study, program, tmp_path_factory):
    path = tmp_path_factory.mktemp("triangle") / "triangle.so"
    source = str(study.SOURCE / "triangle.c")
    subprocess.run(["gcc", *study.FLAGS, "-shared", "-fPIC", source, "-lm", "-o", str(path)], check=True)
    return ctypes.CDLL(str(path))


@pytest.mark.parametrize("size", [1, 6, 12])
def test_weights_a_hundred_million_apart(library, size):
    """Rows that weigh 1 and rows that weigh 10^8 times as much, as far from a jump and close to it."""
    rng = np.random.default_rng(size)
    rows = rng.normal(size=(30, size)) * 10.0 ** rng.uniform(0.0, 4.0, size=(30, 1))
    sd = 10.0 ** rng.uniform(-1.0, 1.0, size=size)
    truth = rng.normal(size=size)
    rights = rows @ truth + rng.normal(size=30)
    whole = np.vstack([np.diag(1.0 / sd), rows])
    expected = np.linalg.lstsq(whole, np.concatenate([np.zeros(size), rights]), rcond=None)[0]
    covariance = np.linalg.inv(whole.T @ whole)

    triangle = Triangle()
    library.triangle_begin(ctypes.byref(triangle), size, Floats(*sd), Floats())
    for row, right in zip(rows, rights, strict=True):
        library.triangle_add(ctypes.byref(triangle), Floats(*row), ctypes.c_float(right))
    found = Floats()
    library.triangle_solve(ctypes.byref(triangle), found)
    # By how sure each is: eps · 10^4, the ratio of the rows' weights, over what thirty rows leave of it.
    away = np.abs(np.array(found[:size]) - expected) / np.sqrt(np.diag(covariance))
    assert np.max(away) < 5e-3

    direction = rng.normal(size=size)
    towards = Floats()
    library.triangle_towards(ctypes.byref(triangle), Floats(*direction), towards)
    assert np.sum(np.square(towards[:size])) == pytest.approx(direction @ covariance @ direction, rel=1e-4)
