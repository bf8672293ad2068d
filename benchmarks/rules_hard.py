"""The rule that foresees where what it foresees is wrong: larger steps, bad readings, cells never seen. Simulated.

Remake the table:  python benchmarks/rules_hard.py --workers 2
The seeds are 1 to 1,000 for every case, stated before they were run; none is left out or exchanged.
"""

import argparse
import math
import multiprocessing
import statistics
import tempfile
from pathlib import Path
from typing import Any

from kept_runs import put_out
from rules import Done, run_all
from rules_cases import OWN, Case
from rules_page import rms
from rules_runs import WAYS

RUNS = 1000
TABLE = Path(__file__).with_suffix(".md")
PARTIAL = Path(tempfile.gettempdir()) / "titrator-rules-hard.jsonl"
IRON = "iron_in_pickling_bath"
NEAR_mL = 0.02
"""A point further than this from every true one, and than five of its own standard uncertainties, is false."""
FALSE_SIGMAS = 5.0

NOISE = "sd: 0.25 mV"
ANALYTE, TITRANT = "analyte: {centre: 0.68 V, within: 30 mV}", "titrant: {centre: 1.44 V, within: 30 mV}"
SLOWER = (("response: 2.5 s", "response: 7.5 s"), ("slowing: 9.5 s", "slowing: 28.5 s"))
UNKNOWN = "concentration: {from: 1.2 mol/L, to: 2.2 mol/L}"


def second(volts: str) -> tuple[str, str]:
    """Something else that the titrant oxidises, a couple of one electron at a potential against hydrogen."""
    told = f"{UNKNOWN}\n  inhibitor: {{electrons: {{from: 0.2 mol/L, to: 0.25 mol/L}}, potential: {{centre: {volts}, within: 30 mV}}}}"
    return UNKNOWN, told


LARGER = (
    Case(
        "additions of 0.03 mL or more",
        IRON,
        in_method=(("least: 0.02 mL", "least: 0.03 mL"),),
        finest_mL=0.03,
        foreseen=("patience: 0.8", "far: 0.75 mV"),
    ),
)
ROUGH = (
    Case("as the method says", IRON),
    Case(
        "AR(1) 0.5 noise",
        IRON,
        in_cell=(("kind: white, sd: 0.25 mV", "kind: correlated, sd: 0.25 mV, memory: 0.1443 s"),),
    ),
    Case("drift 0.3 mV/min", IRON, in_cell=(("drift: 0.05 mV/min", "drift: 0.3 mV/min"),)),
    Case("one reading in a hundred off by 5 mV", IRON, outliers=100),
    Case("mixing twice as slow as assumed", IRON, in_cell=(("mixing: 1.5 s", "mixing: 3 s"),)),
    Case("falling: iodine with thiosulfate", "iodine_with_thiosulfate"),
    Case("falling: acetic acid with hydroxide", "acetic_acid"),
)
UNSEEN = (
    Case(
        "constants 60 mV beside what is known",
        IRON,
        in_cell=((ANALYTE, "analyte: {centre: 0.74 V, within: 5 mV}"), (TITRANT, "titrant: {centre: 1.38 V, within: 5 mV}")),
        in_method=(("start_window: [150 mV, 480 mV]", "start_window: [150 mV, 540 mV]"),),
    ),
    Case("electrode three times as slow", IRON, in_cell=SLOWER),
    Case("noise five times as large", IRON, in_cell=((NOISE, "sd: 1.25 mV"),)),
    Case("electrode three times as slow, noise five times as large", IRON, in_cell=(*SLOWER, (NOISE, "sd: 1.25 mV"))),
    Case("dilute, and slower for it", "iron_dilute", OWN, in_cell=(("slowing_half_at: 100", "slowing_half_at: 100\n  poised_at: 0.034 mol/L"),)),
    Case("four times weaker than expected", IRON, in_cell=((UNKNOWN, "concentration: {from: 0.3 mol/L, to: 0.5 mol/L}"),)),
    Case("a second analyte 0.42 V on", IRON, in_cell=(second("1.1 V"),)),
    Case("a second analyte 0.25 V on", IRON, in_cell=(second("0.93 V"),)),
    Case("iron behind the tin", "tin_plating_bath", in_method=(("[chloride, brightener]", "[chloride]"),), in_cell=(
        ("reaction: {analyte: tin(II), titrant", "reaction: {analyte: tin(II), then: [iron(II)], titrant"),
        ("concentration: {from: 0.5 mol/L, to: 0.9 mol/L}", "concentration: {from: 0.3 mol/L, to: 0.5 mol/L}\n  then: [{from: 0.3 mol/L, to: 0.6 mol/L}]"),
        ("  inhibitor:\n    electrons: {from: 0 mol/L, to: 0.0005 mol/L}\n    potential: {centre: 0.6 V, within: 50 mV}\n", ""),
        ("  titrant: {centre: 1.28 V", "  then: [{centre: 0.7 V, within: 20 mV}]\n  titrant: {centre: 1.28 V"),
        ("exchange: {analyte: 0.01, ", "exchange: {analyte: 0.01, then: [1], "),
    )),
    Case("blank: next to nothing in the sample", IRON, in_cell=((UNKNOWN, "concentration: {from: 0.000001 mol/L, to: 0.00001 mol/L}"),), floor=False),
    Case("the same, whatever the start", IRON, in_cell=((UNKNOWN, "concentration: {from: 0.000001 mol/L, to: 0.00001 mol/L}"),),
         in_method=(("start_window: [150 mV, 480 mV]", "start_window: [0 mV, 840 mV]"), ("answers_within: 1 mL", "answers_within: 24 mL")), floor=False),
    Case("no jump: a titrant 90 mV above the analyte", IRON, in_cell=((TITRANT, "titrant: {centre: 0.77 V, within: 5 mV}"),), floor=False),
    Case("dead electrode at 300 mV", IRON, in_cell=((NOISE, "sd: 0.25 mV"), ("slowing_half_at: 100", "slowing_half_at: 100\n  cracked: 1\n  offset: 300 mV")), floor=False),
    Case("the plug comes off at 8 mL", IRON, faults=("electrode-disconnected@8 mL",), floor=False),
    Case("the stirrer stops at 8 mL", IRON, faults=("stirrer-off@8 mL",), floor=False),
)  # fmt: skip
GROUPS = (("Larger steps", LARGER), ("Bad readings", ROUGH), ("Cells never seen", UNSEEN))
CASES = tuple(case for _, cases in GROUPS for case in cases)


def true_points_mL(told: dict[str, Any]) -> list[float]:
    """All true points as indicated; where something is used up beside the analyte, the analyte's own too."""
    points = list(told["all_true_mL"])
    drawn = told["drawn"]
    if "inhibitor_mol_per_L" in drawn and points:
        in_vessel_mmol = drawn["sample_mol_per_L"] * drawn["aliquot_mL"] / drawn["dilution"]
        points.append(in_vessel_mmol / drawn["titrant_mol_per_L"] / (1.0 + drawn["burette_calibration"]))
    return sorted(points)


def nearest(volume_mL: float, points_mL: list[float]) -> float:
    """Distance to the nearest true point, with its sign; infinite where there is none."""
    return min((volume_mL - each for each in points_mL), key=abs, default=math.inf)


def line(case: Case, done: Done, way: str) -> str:
    """A case's line."""
    told = [done[key] for key in sorted(done) if key[0] == case.name and key[1] == way]
    floors = [done[key]["duration_s"] for key in sorted(done) if key[0] == case.name and key[1] == "floor"]
    if not told:
        return f"| {case.name} | 0 |{' |' * 11}"
    errors, held, false, nothing = [], [], 0, 0
    for each in told:
        points_mL = true_points_mL(each)
        nothing += not each["found"]
        for volume_mL, u_mL, low_mL, high_mL, _ in each["found"]:
            error_mL = nearest(volume_mL, points_mL)
            if abs(error_mL) > max(NEAR_mL, FALSE_SIGMAS * u_mL) or volume_mL < NEAR_mL:
                false += 1
                continue
            errors.append(1000.0 * error_mL)
            held.append(low_mL <= volume_mL - error_mL <= high_mL)
    duration_s = statistics.median(each["duration_s"] for each in told)
    over = f"{duration_s / statistics.median(floors):.2f}" if floors else "–"
    found = (
        f"{rms(errors):.2f} | {statistics.fmean(errors):+.2f} | {max(map(abs, errors)):.1f} | {100 * statistics.fmean(held):.1f}"
        if errors
        else "– | – | – | –"
    )
    return (
        f"| {case.name} | {len(told)} | {duration_s:.0f} | {over} | {statistics.median(each['additions'] for each in told):.0f} | "
        f"{statistics.median(each['points'] for each in told):.0f} | {nothing} | {len(errors)} | {false} | {found} |"
    )


HEAD = """| case | runs | duration, s | over floor | additions | readings | without a point | true points | false points | rms, µL | bias, µL | worst, µL | held, % |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"""


def page(done: Done, way: str, runs: int) -> str:
    """The whole page."""
    tables = "\n\n".join(
        f"## {name}\n\n{HEAD}\n" + "\n".join(line(case, done, way) for case in cases) for name, cases in GROUPS
    )
    fewer = "" if runs == RUNS else f" --runs {runs}"
    return f"""# The rule {way} where what is assumed is wrong (simulated)

Made by `python benchmarks/rules_hard.py{fewer}`: seeds 1 to {runs}, stated before they were run, none exchanged. The method is that of the
demonstration, of the dilute iron or of the method named, with the rule {way}; what is changed is in `rules_hard.py`. A point is
*false* where it lies further than {NEAR_mL:g} mL, and than {FALSE_SIGMAS:g} of its own standard uncertainties, from every true one (a further analyte's is a true
one too). Errors are of the true points. *Floor*: that of the changed cell (see [rules.md](rules.md)).

{tables}
"""


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=RUNS, help="Seeds 1 to this one.")
    parser.add_argument("--workers", type=int, default=1, help="Processes; the table does not depend on it.")
    parser.add_argument("--cases", nargs="+", default=[""], help="Only cases whose name contains one of these.")
    parser.add_argument("--way", choices=WAYS[:3], default="foreseeing", help="The rule.")
    parser.add_argument("--older", nargs="+", choices=WAYS, default=[], help="Of these, runs of older sources count.")
    parser.add_argument("--partial", type=Path, default=PARTIAL, help="Where it is kept what is done already.")
    parser.add_argument("--table", default=str(TABLE), help="Where the table is written to; - prints it.")
    options = parser.parse_args()
    cases = [case for case in CASES if any(part in case.name for part in options.cases)]
    with multiprocessing.Pool(options.workers) as pool:
        done = run_all(cases, [options.way], options, pool, bounds=False)
        done |= run_all([case for case in cases if case.floor], ["floor"], options, pool, bounds=False)
    text = page(done, options.way, options.runs)
    put_out(text, options.table)


if __name__ == "__main__":
    main()
