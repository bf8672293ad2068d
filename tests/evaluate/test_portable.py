"""`titrator evaluate` works where there is no Unix: nothing it needs imports what only Unix has."""

import ast
import json
import math
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ONLY_UNIX = frozenset(
    {
        "fcntl", "termios", "tty", "pty", "resource", "grp", "pwd", "syslog", "spwd", "crypt", "nis", "ossaudiodev",
        "posix", "readline", "curses",
    }
)  # fmt: skip
"""Modules of the standard library that its documentation says are for Unix only."""
GUARDED = frozenset({"titrator.cli.keyboard"})
"""Modules that no evaluation needs; the test fails where one of them comes within its reach."""


def strong_acid_ph(volume_mL: float) -> float:
    """Either branch of 50 mL of a strong acid with 0.1 mol/L of base, 8.6 mL of it (any textbook)."""
    excess = 0.1 * (volume_mL - 8.6) / (50.0 + volume_mL)
    return -math.log10(-excess) if excess < 0.0 else 14.0 + math.log10(excess)


CHART = "volume_mL,pH\n" + "".join(f"{v},{strong_acid_ph(v):.2f}\n" for v in range(1, 18))


def path_of(module: str) -> Path | None:
    base = ROOT / Path(*module.split("."))
    for path in (base.with_suffix(".py"), base / "__init__.py"):
        if path.is_file():
            return path
    return None


def imported(module: str) -> Iterator[str]:
    """Yield every module that a module's text imports, at its top or within its functions."""
    path = path_of(module)
    if path is None:
        return
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def reached(start: str) -> dict[str, str]:
    """Return every module of ours that `start` may come to import, each with the one that imports it."""
    found, waiting = {start: ""}, [start]
    while waiting:
        module = waiting.pop()
        parents = [module.rpartition(".")[0]] if "." in module else []
        for name in (*parents, *imported(module)):
            if name not in found and path_of(name) is not None:
                found[name] = module
                waiting.append(name)
    return found


@pytest.mark.parametrize("start", ["titrator.cli.main", "titrator.cli.evaluate", "titrator.evaluate.equivalence"])
def test_the_walk_sees_what_it_must(start):
    assert path_of(start) is not None
    assert len(reached(start)) > 10


def test_nothing_that_evaluate_reaches_is_only_for_unix():
    everywhere = reached("titrator.cli.evaluate")
    assert "titrator.evaluate.model_fit" in everywhere, "imports within functions are followed"
    assert "titrator.record.journal_reader" in everywhere
    for module in everywhere:
        wrong = {name.partition(".")[0] for name in imported(module)} & ONLY_UNIX
        assert not wrong, f"{module} imports {wrong}, reached from {everywhere[module]}"
        assert module not in GUARDED


def test_evaluate_runs_where_these_modules_are_missing(tmp_path):
    """A process of its own in which they cannot be imported evaluates a file and draws its figures."""
    (tmp_path / "curve.csv").write_text(CHART, encoding="utf-8")
    script = (
        "import sys\n"
        f"missing = {sorted(ONLY_UNIX - {'posix'})!r}\n"
        "class Missing:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        "        if name.partition('.')[0] in missing:\n"
        "            raise ModuleNotFoundError(name)\n"
        "for name in missing:\n"
        "    sys.modules.pop(name, None)\n"
        "sys.meta_path.insert(0, Missing())\n"
        "from titrator.cli.main import main\n"
        f"sys.argv = ['titrator', 'evaluate', {str(tmp_path / 'curve.csv')!r}, '--json', "
        f"'--out', {str(tmp_path / 'out')!r}]\n"
        "main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, encoding="utf-8", timeout=120
    )
    assert "Traceback" not in done.stderr, done.stderr
    assert len(json.loads(done.stdout)["equivalence_points"]) == 1, done.stderr
    assert (tmp_path / "out" / "curve-curve.svg").is_file()
