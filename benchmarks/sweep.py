"""How well a sweep of `titrator tune` uses the cores that it is given.

Remake the table:  python benchmarks/sweep.py > benchmarks/sweep.md   (a thousand dry runs, some minutes; on an idle computer)
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

METHOD = Path(__file__).parents[1] / "configs" / "methods" / "iron_in_pickling_bath.yaml"
RUNS, WORKERS = 1000, 2


def swept(runs: int, workers: int, seed: int) -> dict[str, float]:
    """Conduct a sweep of the demonstration; what it tells under `host`."""
    with tempfile.TemporaryDirectory() as folder:
        words = ["tune", METHOD, "--runs", runs, "--workers", workers, "--seed", seed, "--into", folder, "--json"]
        command = [sys.executable, "-m", "titrator.cli.main", *map(str, words)]
        done = subprocess.run(command, stdout=subprocess.PIPE, check=True)  # noqa: S603 - our own program
    return json.loads(done.stdout)["host"]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=RUNS, help="Dry runs in all.")
    parser.add_argument("--workers", type=int, default=WORKERS, help="Processes that make them.")
    options = parser.parse_args()
    before = os.getloadavg()[0]
    host = swept(options.runs, options.workers, 1)
    after = os.getloadavg()[0]
    print(f"""# A sweep on {options.workers} cores

Made by `python benchmarks/sweep.py`: `titrator tune` of the demonstration, {options.runs} dry runs, seed 1, {options.workers} worker processes.
Processes that wanted one of the {os.cpu_count()} cores, by the load average: {before:.1f} before it began, {after:.1f} as it ended, its own among them.

| what | figure |
| --- | --- |
| start of the workers | {host["start_s"]:.1f} s |
| sweep without that | {host["sweep_s"]:.1f} s |
| dry runs a second, evaluated | {host["runs_per_s"]:.2f} |
| processor time within dry runs | {host["processor_s"]:.1f} s |
| the same of workers × time | {100 * host["processor_share"]:.1f} % |
| time that workers were within dry runs | {100 * host["busy_share"]:.1f} % |

The last two are the same where nobody else wants the cores: a dry run waits for nothing. On a busy computer workers have to
share them, and the last figure tells how little they wait for the search and for each other.""")


if __name__ == "__main__":
    main()
