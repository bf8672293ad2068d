"""Some five hundred dry runs on bad lines: nothing hides what was delivered, and a missing guard is found out.

The runs are those of benchmarks/fault_injection.py, which does thousands; what is checked of each is said there.
Checked against the simulator's own count of steps (simulated; no outside source).
"""

import pytest
from studies import study_module

CLASSES = (
    "bit flips", "drops", "duplicates", "delays", "disconnects", "resets", "power cuts", "killed hosts", "all",
)  # fmt: skip
EACH = 14
FIRST_SEEDS = range(1, 1 + 4 * EACH, EACH)


@pytest.fixture(scope="module")
def runs():
    return study_module("injected_runs")


def test_the_classes_are_the_benchmarks(runs):
    assert runs.CLASSES == CLASSES


@pytest.mark.parametrize("first", FIRST_SEEDS)
@pytest.mark.parametrize("kind", CLASSES)
def test_no_run_hides_what_was_delivered_and_every_one_ends(runs, kind, first):
    reports = [runs.injected(kind, seed) for seed in range(first, first + EACH)]
    assert {report.seed: report.violations for report in reports if report.violations} == {}
    may_be_uncertain = kind in {"power cuts", "all"}
    assert may_be_uncertain or not any(report.uncertain for report in reports)
    strikes = [moving for report in reports for _, moving in report.struck]
    assert sum(report.frames_moving for report in reports) + sum(strikes) > 0


@pytest.mark.parametrize(
    ("guard", "kind"),
    [
        ("session", "killed hosts"),
        ("identifier", "duplicates"),
        ("crc", "bit flips"),
        ("intent", "killed hosts"),
        ("dead-man", "disconnects"),
    ],
)
def test_a_guard_that_is_taken_away_is_missed(runs, guard, kind):
    assert any(runs.injected(kind, seed, guard).violations for seed in range(1, 31))
