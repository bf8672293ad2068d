"""Runs spin on the model of the dose exchange: as it is, with each guard taken out, and event by event.

    python -m firmware_protocol.model.variants            # the table of docs/dose_exchange.md, in a minute or so
    python -m firmware_protocol.model.variants --events   # and each event by an assertion that it breaks

Needs `spin` and `gcc` (Debian, Ubuntu: apt-get install spin gcc). The exit status is 0 when the model holds and every
broken variant is found out.
"""

import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Final, NamedTuple

MODEL: Final = Path(__file__).with_name("dose_exchange.pml")
GUARDS: Final = {
    "NO_SESSION": "the board takes commands of any session, also when none is in force",
    "NO_IDENTIFIER": "the board carries out a dose that is not newer",
    "NO_CRC": "host and board take damaged frames for sound",
    "NO_INTENT": "the host sends a dose before it is in the journal",
    "NO_OUTCOME": "the host does not write down from where on a dose is over",
    "NO_DEAD_MAN": "the motor runs on when its host is silent",
    "NO_COUNT_ORIGIN": "the host goes by `position_kept` alone, not by `counting_since`",
    "NO_FRESH_NUMBER": "the host numbers its requests from the same number on, each time it connects",
}
"""What may be taken out, each by a definition of this name."""
PROPERTIES: Final = (
    ("made[", "1 no step twice"),
    ("j_low==j_high", "3 no needless doubt"),
    ("MOST_DOSE", "3 no needless doubt"),
    ("j_low<=", "2 the journal holds the truth"),
    ("unheard", "4 dead-man"),
    ("!=", "the event happens"),
)
"""By what spin prints of an assertion that fails, the more telling first."""
_EVENT = re.compile(r"^#define (\w+) +(\d+)\b", re.MULTILINE)
_UNREACHED = re.compile(r'"assert\(\(0!=(\d+)\)\)"')


class SpinMissingError(Exception):
    """`spin` or `gcc` is not there; the text says how to install them."""


class Outcome(NamedTuple):
    """What pan said: number of errors, the property that fails first ("" when all hold), states, events never reached.

    `unreached` is only filled when coverage was asked for.
    """

    errors: int
    fails: str
    states: int
    unreached: frozenset[int]
    seconds: float


def events() -> dict[int, str]:
    """The events that the model names, by number."""
    text = MODEL.read_text(encoding="utf-8")
    listed = text[text.index("#define ARRIVED_AT_TARGET") :]
    return {int(number): name.lower().replace("_", " ") for name, number in _EVENT.findall(listed)}


def check(*defines: str, coverage: bool = False) -> Outcome:
    """Spin's verdict on the model with these definitions. SpinMissingError; CalledProcessError when it is no model.

    For coverage spin must not merge statements (-o3): of merged ones it does not tell whether they were reached.
    """
    for program in ("spin", "gcc"):
        if shutil.which(program) is None:
            raise SpinMissingError(f"expected `{program}`, got nothing of that name. Next: apt-get install spin gcc")
    begun_s = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        _run(folder, "spin", *(["-o3"] if coverage else []), "-a", *[f"-D{define}" for define in defines], str(MODEL))
        _run(folder, "gcc", "-O2", "-DMEMLIM=4096", "-w", "-o", "pan", "pan.c")
        said = _run(folder, "./pan", "-a", "-m1000000")
    # The exit status of pan is 0 in any case, and a search that was cut short finds no error either.
    found = re.search(r"errors: (\d+)$", said, re.MULTILINE)
    states = re.search(r"(\d+) states, stored", said)
    if found is None or states is None or "max search depth too small" in said or "out of memory" in said:
        raise RuntimeError(f"expected a search that was finished, got:\n{said}")
    broken = re.search(r"assertion violated +(.*) \(at depth", said)
    return Outcome(
        int(found[1]),
        _property(broken[1]) if broken else ("" if found[1] == "0" else "no way on"),
        int(states[1]),
        frozenset(int(number) for number in _UNREACHED.findall(said)) if coverage else frozenset(),
        time.monotonic() - begun_s,
    )


def _run(folder: str, *command: str) -> str:
    return subprocess.run(command, cwd=folder, check=True, capture_output=True, text=True).stdout  # noqa: S603


def _property(assertion: str) -> str:
    return next(name for mark, name in PROPERTIES if mark in assertion.replace(" ", ""))


def main(arguments: list[str]) -> int:
    """Print the tables; 1 when anything is not as it should be."""
    whole, covered = check(), check(coverage=True)
    sound = whole.errors == 0 and not covered.unreached
    print("| variant | what is taken out | errors | fails | states |")
    print("| --- | --- | --- | --- | --- |")
    print(f"| the model | nothing | {whole.errors} | {whole.fails or '–'} | {whole.states:,} |")
    for guard, meaning in GUARDS.items():
        broken = check(guard)
        sound &= broken.errors > 0
        print(f"| `{guard}` | {meaning} | {broken.errors} | {broken.fails or '–'} | {broken.states:,} |")
    print(f"\nEvents never reached: {sorted(covered.unreached) or 'none'} of {len(events())}.")
    if "--events" in arguments:
        for number, name in events().items():
            reached = check(f"REACH={number}").fails == "the event happens"
            sound &= reached
            print(f"{number} {name}: {'happens' if reached else 'NEVER'}")
    return 0 if sound else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
