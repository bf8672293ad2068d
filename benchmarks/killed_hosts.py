"""A real `titrator run` killed with SIGKILL at every record of its journal, then `titrator resume`: is anything lost?

Remake the table:  python benchmarks/killed_hosts.py --workers 2     (some two hundred pairs of processes; half an hour)

Each pair has a simulated board of its own, served by a process that outlives the killed one, twenty times as fast as a
real one. Compared are the board's count of steps with the journal's, the identifiers of the doses, and the equivalence
volume with that of the run that nobody killed: within three standard deviations of the two random parts.
"""

import argparse
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "tests" / "run"))

from killed import killed_and_resumed, uninterrupted, verdict  # noqa: E402

BEYOND = 8
"""In real time one run has a few records more than another: so many more are tried, until all have ended before."""
TABLE = HERE / "killed_hosts.md"


def one(record: int, whole: dict) -> str:
    """What is wrong with the run killed at `record`; empty: nothing, "over": it had ended before."""
    with tempfile.TemporaryDirectory(prefix="killed-") as name:
        folder = Path(name)
        told = killed_and_resumed(folder, record, torn=record % 2 == 1)
        if told is None:
            return "over"
        if "nothing had moved yet" in told["stderr"] and told["truth"]["pushed_steps"] == 0:
            return "not begun"
        if "got one that ended" in told["stderr"]:
            return "over"
        told["run"] = folder / told.get("run", "")
        return "; ".join(verdict(told, whole))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--every", type=int, default=1, help="only every so-manieth record")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="whole-") as name:
        whole, records = uninterrupted(Path(name))
    numbers = range(1, records + 1 + BEYOND, options.every)
    with ThreadPoolExecutor(options.workers) as pool:
        wrong = dict(zip(numbers, pool.map(lambda number: one(number, whole), numbers), strict=True))
    over = [number for number, what in wrong.items() if what == "over"]
    unbegun = [number for number, what in wrong.items() if what == "not begun"]
    bad = {number: what for number, what in wrong.items() if what not in {"", "over", "not begun"}}
    lines = [
        "# Killed at every record, then resumed",
        "",
        "Simulated board, real processes. Remade by `python benchmarks/killed_hosts.py --workers 2`.",
        "",
        "| | |",
        "| --- | --- |",
        f"| records of the run that nobody killed | {records} |",
        f"| records at which one was to be killed, and {BEYOND} more (every second one torn by seven bytes) | {len(wrong)} |",
        f"| gone on with: the journal's count, no dose twice, within 3·√(u₁² + u₂²) | {len(wrong) - len(over) - len(unbegun) - len(bad)} |",
        f"| nothing had moved yet: refused, begun anew | {len(unbegun)} |",
        f"| killed behind its end, or ended before: nothing to go on with | {len(over)} |",
        f"| anything else | {len(bad)} |",
        *[f"\nRecord {number}: {what}" for number, what in bad.items()],
    ]
    TABLE.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return bool(bad)


if __name__ == "__main__":
    sys.exit(main())
