"""Standard atomic weights with their uncertainties, in g/mol.

Source: IUPAC (CIAAW), standard atomic weights 2021, T. Prohaska et al., Pure Appl. Chem. 94 (2022) 573; for elements
whose weight is an interval the abridged value. Figures as the `periodictable` package (2.1) carries them; the tests
hold every line against it. The uncertainty is a bound for normal materials.
"""

from __future__ import annotations

from typing import Final

SOURCE: Final = "IUPAC (CIAAW) 2021"

ATOMIC_WEIGHTS: Final[dict[str, tuple[float, float]]] = {
    "H": (1.0080, 0.0002),
    "Li": (6.94, 0.06),
    "B": (10.81, 0.02),
    "C": (12.011, 0.002),
    "N": (14.007, 0.001),
    "O": (15.999, 0.001),
    "F": (18.998403162, 5e-9),
    "Na": (22.98976928, 2e-8),
    "Mg": (24.305, 0.002),
    "Al": (26.9815384, 3e-7),
    "Si": (28.085, 0.001),
    "P": (30.973761998, 5e-9),
    "S": (32.06, 0.02),
    "Cl": (35.45, 0.01),
    "K": (39.0983, 0.0001),
    "Ca": (40.078, 0.004),
    "Ti": (47.867, 0.001),
    "V": (50.9415, 0.0001),
    "Cr": (51.9961, 0.0006),
    "Mn": (54.938043, 2e-6),
    "Fe": (55.845, 0.002),
    "Co": (58.933194, 3e-6),
    "Ni": (58.6934, 0.0004),
    "Cu": (63.546, 0.003),
    "Zn": (65.38, 0.02),
    "As": (74.921595, 6e-6),
    "Br": (79.904, 0.003),
    "Sr": (87.62, 0.01),
    "Ag": (107.8682, 0.0002),
    "Cd": (112.414, 0.004),
    "Sn": (118.710, 0.007),
    "Sb": (121.760, 0.001),
    "I": (126.90447, 3e-5),
    "Ba": (137.327, 0.007),
    "Ce": (140.116, 0.001),
    "Hg": (200.592, 0.003),
    "Pb": (207.2, 1.1),
    "Bi": (208.98040, 1e-5),
}
"""Value and half-width by symbol."""
