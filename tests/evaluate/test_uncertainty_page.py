"""The example of docs/uncertainty.md, run as it stands: it prints what the page shows."""

import re
from pathlib import Path

PAGE = Path(__file__).parents[2] / "docs" / "uncertainty.md"


def test_the_page_shows_what_its_example_prints(capsys):
    code, shown = re.findall(r"```(?:python|text)\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)[:2]
    exec(compile(code, str(PAGE), "exec"), {})  # noqa: S102 the project's own page
    printed = capsys.readouterr().out
    assert [line.split() for line in printed.splitlines()] == [line.split() for line in shown.splitlines()]
