"""The C is what it says: C99 in 32-bit floats, no memory but its state and the stack, 1,024 bytes of state at most."""

import re
import shutil
import subprocess

import pytest

WITHOUT_HOST = ("replay.c",)
"""Only the host's tool reads and prints."""
MATH = {"expf", "expm1f", "hypotf", "log1pf", "logf", "powf", "rintf", "sqrtf", "fmaxf", "fminf"}


def sources(study):
    return sorted(path for path in study.SOURCE.glob("*.[ch]") if path.name not in WITHOUT_HOST)


def test_the_state_is_small(sizes):
    assert sizes["rule_state"] + sizes["settling_state"] == sizes["state"] <= 1024


def test_a_larger_state_does_not_compile(study, tmp_path, sizes):
    """The assertion bites: with a limit one byte below the size the compiler refuses."""
    text = f'#include "{study.SOURCE / "state.h"}"\n'
    for limit, said in ((sizes["state"], ""), (sizes["state"] - 1, "the_state_is_small")):
        done = subprocess.run(
            ["gcc", "-std=c99", f"-DMOST_STATE_BYTES={limit}", "-c", "-x", "c", "-o", str(tmp_path / "one.o"), "-"],
            input=text,
            capture_output=True,
            text=True,
        )
        assert (done.returncode != 0, said in done.stderr) == (bool(said), True)


def test_no_wider_number_and_no_other_memory_is_named(study):
    for path in sources(study):
        text = re.sub(r"/\*.*?\*/", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
        assert not re.search(r"\b(double|long|int64_t|uint64_t|malloc|calloc|realloc)\b", text), path.name


def test_the_objects_call_32_bit_mathematics_only(study, tmp_path):
    """By the linker's own list of what is missing (nm of the binutils)."""
    assert shutil.which("nm") is not None, "nm is missing; as root: apt-get install binutils"
    ours = [str(path) for path in sources(study) if path.suffix == ".c"]
    subprocess.run(["gcc", *study.FLAGS, "-c", *ours], cwd=tmp_path, check=True)
    objects = sorted(map(str, tmp_path.glob("*.o")))
    lines = subprocess.run(["nm", "--format=posix", *objects], capture_output=True, text=True, check=True).stdout
    symbols = [line.split()[:2] for line in lines.splitlines() if not line.endswith(":")]
    defined = {name for name, kind in symbols if kind != "U"}
    called = {name for name, kind in symbols if kind == "U"} - defined
    assert called <= {*MATH, "memcpy", "memset", "memmove", "_GLOBAL_OFFSET_TABLE_", "__stack_chk_fail"}
    # Nothing outlives a call but the caller's state: no variable that can be written.
    assert not {name for name, kind in symbols if kind in "bBdDcC"}


def test_a_warning_is_an_error(study, tmp_path, monkeypatch):
    """Were a double to slip in, the flags would tell."""
    (tmp_path / "slip.c").write_text("float half(float x);\nfloat half(float x) { return 0.5 * x; }\n")
    monkeypatch.setattr(study, "SOURCE", tmp_path)
    with pytest.raises(subprocess.CalledProcessError):
        study.compiled(tmp_path)
