"""The commands as a user calls them: output, JSON keys, exit status, wrong input. The dry runs are simulated."""

import json
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

METHOD = Path(__file__).parents[2] / "configs" / "methods" / "iron_in_pickling_bath.yaml"
CHLORIDE = Path(__file__).parents[1] / "published" / "data" / "chloride_with_silver.csv"


def titrator(*words, cwd=None, **options):
    command = [sys.executable, "-m", "titrator.cli.main", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, timeout=120, **options)


@pytest.fixture(scope="module")
def dry_run(tmp_path_factory):
    folder = tmp_path_factory.mktemp("work")
    return folder, titrator("dry-run", METHOD, "--seed", 7, cwd=folder)


@pytest.fixture(scope="module")
def dry_run_json(tmp_path_factory):
    folder = tmp_path_factory.mktemp("work")
    done = titrator("dry-run", METHOD, "--seed", 7, "--json", cwd=folder)
    assert done.returncode == 0, done.stderr
    return folder, json.loads(done.stdout)


class TestDryRun:
    def test_leaves_result_figure_and_journal(self, dry_run):
        folder, done = dry_run
        assert done.returncode == 0, done.stderr
        (run,) = (folder / "runs").iterdir()
        files = {str(path.relative_to(run)) for path in run.rglob("*") if path.is_file()}
        assert files == {
            "journal.jsonl", "run.lock", "method.yaml", "rig.yaml", "cell.yaml", "host.json", "truth.json",
            "results/evaluation-001.json", "figures/curve.png", "figures/curve.svg",
        }  # fmt: skip

    def test_says_result_seed_cautions_and_that_it_is_simulated(self, dry_run):
        _, done = dry_run
        for words in ("iron(II)", "mol/L", "equivalence point", "seed 7", "H315", "simulated", "runs/0001"):
            assert words in done.stdout
        assert "\x1b" not in done.stdout  # output that is piped has no control characters

    def test_json_has_what_checks_rely_on(self, dry_run_json):
        _, document = dry_run_json
        fixed = "run state additions duration_s equivalence_points estimates results warnings truth host"
        assert set(fixed.split()) <= set(document)
        (point,) = document["equivalence_points"]
        assert {"volume_mL", "u_random_mL", "u_mL", "interval_95_mL", "potential_mV", "found_by"} <= set(point)
        result = document["results"][0]
        assert {"name", "value", "unit", "u", "dof", "k", "U", "interval_95"} <= set(result)
        assert (result["name"], result["unit"]) == ("iron(II)", "mol/L")
        assert document["state"] == "finished"
        assert {"equivalence_points_mL", "equivalence_points_delivered_mL", "results"} <= set(document["truth"])
        assert "elapsed_s" in document["host"]

    def test_the_result_stands_in_mol_per_litre_and_in_grams_per_litre(self, dry_run_json):
        # 55.845 g/mol: IUPAC standard atomic weight of iron.
        _, document = dry_run_json
        by_unit = {result["unit"]: result["value"] for result in document["results"]}
        assert by_unit["g/L"] == pytest.approx(55.845 * by_unit["mol/L"], rel=1e-12)
        units = [entry["unit"] for entry in document["truth"]["results"]]
        assert units == [result["unit"] for result in document["results"]]

    def test_the_truth_lies_near_the_result(self, dry_run_json):
        _, document = dry_run_json
        for result, truth in zip(document["results"], document["truth"]["results"], strict=True):
            assert abs(result["value"] - truth["value"]) <= 4 * result["u"]

    def test_two_runs_of_a_seed_differ_only_under_run_and_host(self, dry_run_json, tmp_path):
        _, document = dry_run_json
        again = json.loads(titrator("dry-run", METHOD, "--seed", 7, "--json", "--out", tmp_path / "other").stdout)
        apart = ("run", "host")
        assert {key: value for key, value in again.items() if key not in apart} == {
            key: value for key, value in document.items() if key not in apart
        }

    def test_a_method_without_a_cell_says_how_to_name_one(self, tmp_path):
        text = METHOD.read_text(encoding="utf-8")
        method = tmp_path / "method.yaml"
        method.write_text(text.replace("cell: ../cells/iron_in_pickling_bath.yaml, ", ""), encoding="utf-8")
        done = titrator("dry-run", method, cwd=tmp_path)
        assert done.returncode == 2
        assert "--cell" in done.stderr
        assert not (tmp_path / "runs").exists()

    @pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
    def test_a_signal_halts_the_pump_keeps_everything_and_exits_130(self, tmp_path, number):
        command = [sys.executable, "-m", "titrator.cli.main", "dry-run", str(METHOD), "--pace", "50", "--json"]
        process = subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        assert process.stderr is not None
        while "point 2" not in process.stderr.readline():
            assert process.poll() is None, "the run ended before it could be interrupted"
        process.send_signal(number)
        out, _ = process.communicate(timeout=60)
        assert process.returncode == 130
        document = json.loads(out)
        assert document["state"] == "stopped"
        (run,) = (tmp_path / "runs").iterdir()
        last = json.loads((run / "journal.jsonl").read_text(encoding="utf-8").splitlines()[-1])
        assert (last["kind"], last["state"]) == ("end", "stopped")
        truth = json.loads((run / "truth.json").read_text(encoding="utf-8"))
        assert round(last["volume_mL"] / 0.000625) == truth["steps"]


class TestEvaluate:
    def test_a_run_is_evaluated_again_beside_the_old_result(self, dry_run_json):
        folder, document = dry_run_json
        run = Path(folder, document["run"])
        journal = (run / "journal.jsonl").read_bytes()
        shutil.move(run / "truth.json", folder / "truth-elsewhere.json")
        done = titrator("evaluate", "last", "--json", cwd=folder)
        shutil.move(folder / "truth-elsewhere.json", run / "truth.json")
        assert done.returncode == 0, done.stderr
        again = json.loads(done.stdout)
        assert again["equivalence_points"] == document["equivalence_points"]
        assert again["results"] == document["results"]
        assert (run / "journal.jsonl").read_bytes() == journal
        assert (run / "results" / "evaluation-002.json").is_file()

    def test_a_csv_leaves_null_what_it_cannot_tell_and_writes_nothing(self, tmp_path):
        done = titrator("evaluate", CHLORIDE, "--json", cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        document = json.loads(done.stdout)
        for key in ("run", "state", "additions", "duration_s"):
            assert document[key] is None
        assert document["results"] == []
        assert [point["u_mL"] for point in document["equivalence_points"]] == [None]
        assert list(tmp_path.iterdir()) == []

    def test_a_csv_with_out_leaves_evaluation_and_figures(self, tmp_path):
        done = titrator("evaluate", CHLORIDE, "--out", tmp_path / "here")
        assert done.returncode == 0, done.stderr
        assert sorted(path.suffix for path in (tmp_path / "here").iterdir()) == [".json", ".png", ".svg"]

    def test_the_jump_cut_off_is_refused_with_a_reason(self, tmp_path):
        cut = tmp_path / "cut.csv"
        lines = CHLORIDE.read_text(encoding="utf-8").splitlines()
        cut.write_text("\n".join(lines[:12]) + "\n", encoding="utf-8")  # up to 24.30 mL
        done = titrator("evaluate", cut, "--json")
        assert done.returncode == 1
        document = json.loads(done.stdout)
        assert document["equivalence_points"] == []
        assert document["warnings"]


WRONG = {
    "no such method": (["check", "nowhere.yaml"], "nowhere.yaml"),
    "a folder for a method": (["dry-run", "."], "."),
    "no such run": (["evaluate", "last"], "holds no run"),
    "an unknown command": (["titrate"], "No such command"),
    "an unknown option": (["dry-run", str(METHOD), "--sead", "3"], "--sead"),
    "a seed that is none": (["dry-run", str(METHOD), "--seed", "-3"], "--seed"),
    "a rig that is a method": (["dry-run", str(METHOD), "--rig", str(METHOD)], "pickling_bath.yaml:"),
    "a cell that is a method": (["dry-run", str(METHOD), "--cell", str(METHOD)], "pickling_bath.yaml:"),
    "a cell that is not there": (["dry-run", str(METHOD), "--cell", "no.yaml"], "no.yaml"),
    "a method for a run": (["evaluate", "last", "--method", str(METHOD)], "only with a CSV"),
    "a CSV that is YAML": (["evaluate", str(METHOD)], "pickling_bath.yaml"),
}


@pytest.mark.parametrize(("words", "named"), WRONG.values(), ids=WRONG.keys())
def test_wrong_input_is_told_without_a_traceback(tmp_path, words, named):
    done = titrator(*words, cwd=tmp_path)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert named in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_runs_folder_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "runs").write_text("a file in the way", encoding="utf-8")
    done = titrator("dry-run", METHOD, cwd=tmp_path)
    assert done.returncode == 2
    assert "--out" in done.stderr


def test_check_with_json_lists_the_problems(tmp_path):
    broken = tmp_path / "broken.yaml"
    broken.write_text(METHOD.read_text(encoding="utf-8").replace("growth: 2", "grwoth: 2"), encoding="utf-8")
    done = titrator("check", broken, "--json")
    assert done.returncode == 2
    document = json.loads(done.stdout)
    assert document["valid"] is False
    assert any("grwoth" in problem["text"] for problem in document["problems"])
