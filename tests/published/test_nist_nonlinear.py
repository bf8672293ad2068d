"""The fitter against NIST's Statistical Reference Datasets for nonlinear regression (certified values of 11 digits).

Data and certified values from memory (https://www.itl.nist.gov/div898/strd/nls/nls_main.shtml). That they are right is
seen from themselves: a wrong digit among the data would not give the certified parameters, deviations and sums.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest

from titrator.evaluate.model_fit import Fit, FitData, fit
from titrator.evaluate.models import Start

ARRAY = np.ndarray


@dataclass(frozen=True, eq=False)
class Dataset:
    """One set: y = f(x; b), the certified b, their standard deviations and the residual standard deviation."""

    function: Callable[[ARRAY, ARRAY], ARRAY]
    y: list[float]
    x: list[float]
    certified: list[float]
    deviations: list[float]
    residual_sd: float
    starts: list[list[float]]


@dataclass(frozen=True, eq=False)
class AsModel:
    """A data set's function as a model of the fitter: y takes the place of the volume, x that of the signal."""

    function: Callable[[ARRAY, ARRAY], ARRAY]
    parameters: tuple[str, ...]
    name: str = "reference data"
    signal_parameters: frozenset[str] = field(default=frozenset())

    def volume_mL(self, signal, x):
        return self.function(signal, x)

    def distance_mL(self, signal, x):
        return np.zeros(len(signal))


MISRA1A = Dataset(
    lambda x, b: b[0] * (1.0 - np.exp(-b[1] * x)),
    [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78],
    [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0],
    [2.3894212918e02, 5.5015643181e-04],
    [2.7070075241e00, 7.2668688436e-06],
    1.0187876330e-01,
    [[500.0, 0.0001], [250.0, 0.0005]],
)
DANWOOD = Dataset(
    lambda x, b: b[0] * x ** b[1],
    [2.138, 3.421, 3.597, 4.340, 4.882, 5.660],
    [1.309, 1.471, 1.490, 1.565, 1.611, 1.680],
    [7.6886226176e-01, 3.8604055871e00],
    [1.8281973860e-02, 5.1726610913e-02],
    3.2853114039e-02,
    [[1.0, 5.0], [0.7, 4.0]],
)
BOXBOD = Dataset(
    lambda x, b: b[0] * (1.0 - np.exp(-b[1] * x)),
    [109.0, 149.0, 149.0, 191.0, 213.0, 224.0],
    [1.0, 2.0, 3.0, 5.0, 7.0, 10.0],
    [2.1380940889e02, 5.4723748542e-01],
    [1.2354515176e01, 1.0455993237e-01],
    1.7088072423e01,
    [[100.0, 0.75]],
)
RAT42 = Dataset(
    lambda x, b: b[0] / (1.0 + np.exp(b[1] - b[2] * x)),
    [8.930, 10.800, 18.590, 22.330, 39.350, 56.110, 61.730, 64.620, 67.080],
    [9.0, 14.0, 21.0, 28.0, 42.0, 57.0, 63.0, 70.0, 79.0],
    [7.2462237576e01, 2.6180768402e00, 6.7359200066e-02],
    [1.7340283401e00, 8.8295217536e-02, 3.4465663377e-03],
    1.1587725499e00,
    [[100.0, 1.0, 0.1], [75.0, 2.5, 0.07]],
)
RAT43 = Dataset(
    lambda x, b: b[0] / (1.0 + np.exp(b[1] - b[2] * x)) ** (1.0 / b[3]),
    [
        16.08,
        33.83,
        65.80,
        97.20,
        191.55,
        326.20,
        386.87,
        520.53,
        590.03,
        651.92,
        724.93,
        699.56,
        689.96,
        637.56,
        717.41,
    ],
    [float(k) for k in range(1, 16)],
    [6.9964151270e02, 5.2771253025e00, 7.5962938329e-01, 1.2792483859e00],
    [1.6302297817e01, 2.0828735829e00, 1.9566123451e-01, 6.8761936385e-01],
    2.8262414662e01,
    [[700.0, 5.0, 0.75, 1.3]],
)
MGH09 = Dataset(
    lambda x, b: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    [0.1957, 0.1947, 0.1735, 0.1600, 0.0844, 0.0627, 0.0456, 0.0342, 0.0323, 0.0235, 0.0246],
    [4.0, 2.0, 1.0, 0.5, 0.25, 0.167, 0.125, 0.1, 0.0833, 0.0714, 0.0625],
    [1.9280693458e-01, 1.9128232873e-01, 1.2305650693e-01, 1.3606233068e-01],
    [1.1435312227e-02, 1.9633220911e-01, 8.0842031232e-02, 9.0025542308e-02],
    6.6279236551e-03,
    [[0.25, 0.39, 0.415, 0.39]],
)
THURBER = Dataset(
    lambda x, b: (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1.0 + x * (b[4] + x * (b[5] + x * b[6]))),
    [
        80.574, 84.248, 87.264, 87.195, 89.076, 89.608, 89.868, 90.101, 92.405, 95.854, 100.696, 101.060, 401.672,
        390.724, 567.534, 635.316, 733.054, 759.087, 894.206, 990.785, 1090.109, 1080.914, 1122.643, 1178.351,
        1260.531, 1273.514, 1288.339, 1327.543, 1353.863, 1414.509, 1425.208, 1421.384, 1442.962, 1464.350, 1468.705,
        1447.894, 1457.628,
    ],
    [
        -3.067, -2.981, -2.921, -2.912, -2.840, -2.797, -2.702, -2.699, -2.633, -2.481, -2.363, -2.322, -1.501,
        -1.460, -1.274, -1.212, -1.100, -1.046, -0.915, -0.714, -0.566, -0.545, -0.400, -0.309, -0.109, -0.103, 0.010,
        0.119, 0.377, 0.790, 0.963, 1.006, 1.115, 1.572, 1.841, 2.047, 2.200,
    ],
    [
        1.2881396800e03, 1.4910792535e03, 5.8323836877e02, 7.5416644291e01, 9.6629502864e-01, 3.9797285797e-01,
        4.9727297349e-02,
    ],
    [
        4.6647963344e00, 3.9571156086e01, 2.8698696102e01, 5.5675370270e00, 3.1333340687e-02, 1.4984928198e-02,
        6.5842344623e-03,
    ],
    1.3714600784e01,
    [[1300.0, 1500.0, 500.0, 75.0, 1.0, 0.4, 0.05]],
)  # fmt: skip

SETS = {
    "Misra1a": MISRA1A, "DanWood": DANWOOD, "BoxBOD": BOXBOD, "Rat42": RAT42, "Rat43": RAT43, "MGH09": MGH09,
    "Thurber": THURBER,
}  # fmt: skip
CASES = [(name, k) for name, each in SETS.items() for k in range(len(each.starts))]


@pytest.mark.parametrize(("name", "number"), CASES)
def test_certified_values_are_reached(name, number):
    """Parameters to 4 digits and a thousandth of their standard deviation, deviations to 4, from NIST's own starts.

    The readings' standard deviation is the certified residual one: chi-square per degree of freedom is then 1. That of
    the derivatives, by differences, limits the digits of the standard deviations.
    """
    known = SETS[name]
    count, size = len(known.y), len(known.certified)
    begin = np.array(known.starts[number])
    reach = 50.0 * np.maximum(np.abs(begin), np.abs(known.certified))
    start = Start(
        AsModel(known.function, tuple(f"b{k + 1}" for k in range(size))),
        begin,
        -reach if name == "Thurber" else 0.0 * reach,
        reach,
        begin,
        np.full(size, np.inf),
    )
    sd = np.full(count, known.residual_sd)
    data = FitData(np.array(known.y), np.array(known.x), sd, np.zeros(count), np.zeros(count))
    found = fit(start, data, sd)
    assert isinstance(found, Fit), found
    assert np.all(found.weight == 1.0), "no reading is an outlier"
    assert found.x == pytest.approx(known.certified, rel=5e-5)
    assert np.all(np.abs(found.x - known.certified) < 1e-3 * np.array(known.deviations))
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(known.deviations, rel=1e-4)
    assert np.sqrt(np.sum(found.residual**2) / (count - size)) == pytest.approx(1.0, rel=1e-8)
