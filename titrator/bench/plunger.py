"""Where the plunger is and what that means for the run: what is delivered, what is left, what must come first."""

from firmware_protocol.messages import Status, ValvePosition, ValveState
from titrator.bench.burette import Burette, Filling
from titrator.bench.errors import DoseError


class Plunger:
    """Bookkeeping in the board's own count of steps. It knows no link; whoever talks to the board tells it.

    `at` is where the plunger rests, or where the dose under way is bound. Without refills a run is one filling; with
    them the total may be any, and `left_steps` is 0 wherever a refill has to come first: the end of the stroke is not
    known yet, the backlash is not taken up, or the valve is not seen at the vessel.
    """

    def __init__(self, burette: Burette, *, backlash_steps: int, refills: bool) -> None:
        self.burette = burette
        self.backlash_steps = backlash_steps
        self.refills = refills
        self.filling = Filling(0, 0)
        self.at = 0
        self.begun = False
        self.travel_steps = 0
        self.home: int | None = None
        self.has_home_switch = False
        self.has_valve = False
        self.valve_at_vessel = True
        self._highest = 0
        self._taken_up = True

    def note(self, status: Status) -> None:
        """What the board says of home and valve."""
        self.home = status.home_position if status.home_known else None
        seen = status.valve_state is ValveState.CONFIRMED and status.valve is ValvePosition.VESSEL
        self.valve_at_vessel = seen or not self.has_valve

    def begin(self, status: Status, origin: int, travel_steps: int) -> None:
        """A run of at most `travel_steps` begins, or goes on, that began at `origin`.

        DoseError when they do not fit into what is left of the stroke and refills are off.
        """
        self.note(status)
        self.filling, self.at, self.travel_steps = Filling(0, origin), status.position, travel_steps
        self._taken_up = True
        end = self.end_of_stroke
        fits = status.position <= origin + travel_steps <= end
        if not fits and not self.refills:
            left_mL = self.burette.volume_mL(end - origin)
            raise DoseError(
                f"a run of {self.burette.volume_mL(travel_steps):g} mL should fit between the plunger at step "
                f"{status.position} and the end of the stroke ({left_mL:g} mL left from step {origin}): refill the "
                f"burette or run to less"
            )
        self._begin(origin, travel_steps)

    def recall(self, origin: int, home: int | None, travel_steps: int) -> None:
        """As `begin`, from the record of a run that began there at rest."""
        self.home = home
        self.filling, self.at, self.travel_steps = Filling(0, origin), origin, travel_steps
        self._taken_up = True
        self._begin(origin, travel_steps)

    def _begin(self, origin: int, travel_steps: int) -> None:
        self._highest = self.end_of_stroke if self.refills else origin + travel_steps
        self.begun = True

    def renew(self) -> None:
        """Another session begins, whose limits are set anew: home may have been found elsewhere meanwhile."""
        if self.refills:
            self._highest = self.end_of_stroke

    @property
    def end_of_stroke(self) -> int:
        """By the board's own rule: counted from home once that is known, until then from where it started."""
        return (self.home or 0) + self.burette.stroke_steps

    @property
    def highest(self) -> int:
        """The count beyond which nothing is delivered in this run."""
        return min(self._highest, self.end_of_stroke)

    @property
    def total_steps(self) -> int:
        """Delivered since the run began."""
        return self.filling.total_at(self.at)

    @property
    def left_steps(self) -> int:
        """What may be delivered before a refill."""
        if not self.begun or (self.refills and not self._ready):
            return 0
        return max(0, self.highest - self.at)

    @property
    def _ready(self) -> bool:
        if not (self.valve_at_vessel and self._taken_up):
            return False
        if self.home is None:
            return not self.has_home_switch
        return self.at - self.home >= self.backlash_steps

    def moved_aside(self, position: int, *, drawn: bool) -> None:
        """The plunger came to rest at `position` and nothing of the way there was for the vessel."""
        self.filling, self.at = self.filling.moved_aside(self.at, position), position
        self._taken_up = not drawn or self.backlash_steps == 0

    def found_home(self, position: int) -> None:
        """The home switch closed at this count; the stroke is counted from there."""
        self.home = position
