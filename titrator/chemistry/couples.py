"""Redox couples, and their potentials by medium with the source of each.

A *formal* potential is measured in a stated medium and already holds activity coefficients and complexation by that
medium; a *thermodynamic* (standard) potential is for unit activities. The two must not be mixed, and no activity
correction may be applied to a formal one. All potentials are in volts against the standard hydrogen electrode at 25 °C.
"""

from dataclasses import dataclass

from titrator.chemistry.sourced import Kind, Mark

_TEXTBOOK = "a textbook's table of formal potentials (by its layout that of Skoog et al., edition not identified)"
_HARVEY = "D. Harvey, Modern Analytical Chemistry (2000), Table 9.17, p. 335"


@dataclass(frozen=True, slots=True)
class Potential:
    """One tabulated potential: `value_V` against SHE at 25 °C, its medium, what kind it is and where it comes from."""

    value_V: float
    medium: str
    kind: Kind
    source: str
    mark: Mark = "published"


@dataclass(frozen=True, slots=True)
class Couple:
    """A redox couple `oxidised` + `protons` H+ + `electrons` e- = `units` `reduced`.

    `units` is 1 where one atom of the element stands on either side; 2 for dichromate and for tetrathionate, 3 for
    triiodide. `exchange` is how fast the couple exchanges electrons with platinum, relative to iron's 1: an invented
    order of magnitude, for simulation.
    """

    oxidised: str
    reduced: str
    electrons: int
    potentials: tuple[Potential, ...]
    protons: int = 0
    units: int = 1
    exchange: float = 1.0

    @property
    def name(self) -> str:
        """The couple as it is written: oxidised form first."""
        return f"{self.oxidised}/{self.reduced}"

    def in_medium(self, medium: str) -> Potential:
        """The tabulated potential in `medium`, such as "1 mol/L sulfuric acid" ("standard" for the thermodynamic one).

        Raises KeyError with the media that are known.
        """
        for potential in self.potentials:
            if potential.medium == medium:
                return potential
        known = ", ".join(repr(potential.medium) for potential in self.potentials)
        raise KeyError(f"a medium tabulated for {self.name} was expected ({known}), {medium!r} came")


IRON = Couple(
    oxidised="iron(III)",
    reduced="iron(II)",
    electrons=1,
    potentials=(
        Potential(0.771, "standard", "thermodynamic", _TEXTBOOK),
        Potential(0.68, "1 mol/L sulfuric acid", "formal", _TEXTBOOK),
        # Textbooks differ in this medium: 0.767 V here, 0.732 V in the other table. We follow the published curve
        # against which this package is checked.
        Potential(0.767, "1 mol/L perchloric acid", "formal", _HARVEY),
        Potential(0.70, "1 mol/L hydrochloric acid", "formal", _TEXTBOOK),
        # 1 mol/L nitric acid: no figure whose source we can name, and nitric acid oxidises iron(II) when warm.
    ),
)

CERIUM = Couple(
    oxidised="cerium(IV)",
    reduced="cerium(III)",
    electrons=1,
    # No thermodynamic value: cerium(IV) is complexed in every common acid, so each medium has its own potential.
    potentials=(
        Potential(1.44, "1 mol/L sulfuric acid", "formal", _TEXTBOOK),
        Potential(1.70, "1 mol/L perchloric acid", "formal", f"{_HARVEY}; also {_TEXTBOOK}"),
        Potential(1.61, "1 mol/L nitric acid", "formal", _TEXTBOOK),
        Potential(1.28, "1 mol/L hydrochloric acid", "formal", "a lecture table of formal potentials"),
    ),
)

COUPLES: dict[str, Couple] = {couple.name: couple for couple in (IRON, CERIUM)}
"""Every couple of this version by its name, "iron(III)/iron(II)"."""
