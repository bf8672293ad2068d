"""The last look at the home switch: after a finished run the burette is filled once more, and its count compared."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from titrator.bench.bench import Bench
from titrator.bench.bounds import Bounds
from titrator.bench.errors import BenchError, HomeError
from titrator.bench.events import MotionEnded, ReadingBlock
from titrator.bench.refill import refill
from titrator.record.journal import Journal, JournalError
from titrator.run.errand import Errand
from titrator.run.errand_times import refill_errand

KIND: Final = "home"
"""First word of its lines in the journal."""


def can_check_home(bench: Bench) -> bool:
    """Whether there is a switch that was seen in this run's count, a valve to fill through, and anything delivered."""
    plunger = bench.plunger
    ready = bench.rig.burette.refills and plunger.has_home_switch and plunger.home is not None
    return ready and plunger.total_steps > 0 and bench.motions.doubt is None


def check_home(
    bench: Bench, journal: Journal, tick_s: float, stop: Callable[[], Any], doubt: Callable[[str, Bounds], None]
) -> None:
    """Fill the burette and compare. `stop` is asked whether to break off; `doubt` is told of a mismatch, with bounds.

    Whatever else goes wrong is noted in the journal: the run is over, and nothing of it depends on this.
    """
    began_s = bench.now_s
    errand = Errand(KIND, bench.motions.dose + 1, refill(bench, bench.motions.dose + 1), bench, journal)
    within_s = refill_errand(bench.rig.burette).within_s
    try:
        errand.begin(began_s)
        while not errand.done:
            if stop() or bench.now_s - began_s > within_s:
                bench.halt()
                _note(journal, bench, "broken off")
                return
            for news in bench.wait(tick_s):
                if not isinstance(news, ReadingBlock) and not (isinstance(news, MotionEnded) and not news.aside):
                    errand.hear(news)
        _note(journal, bench, "the home switch closed where it was expected")
    except HomeError as error:
        doubt(str(error), bench.doubt(error.fewer, error.more))
    except BenchError as error:
        _note(journal, bench, f"not done: {error}")
    except JournalError:
        return  # the disk is full: the run itself is on record


def _note(journal: Journal, bench: Bench, what: str) -> None:
    journal.write("home", bench.now_s, {"what": what})
