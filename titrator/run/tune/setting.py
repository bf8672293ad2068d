"""A setting: values for the dials of a rule, and the method file that has them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from titrator.bench.rig import Rig
from titrator.files.edited import Change, edited, value_at
from titrator.files.keys import fields_by_key
from titrator.method import Method, load_method
from titrator.method.reading import Reading
from titrator.run.fits import fits
from titrator.run.tune.dials import BEGIN, DIALS, Dial, Scale, attribute_of, rules, unit_of, written


@dataclass(frozen=True, slots=True)
class Setting:
    """A setting by its number: 0 is the method as it stands. `values` by key (`additions.aim`), as they are written."""

    number: int
    rule: str
    values: Mapping[str, str]


@dataclass(frozen=True)
class Draft:
    """The method that is tuned: its text, what it means, and the rig that it is tuned for."""

    text: str
    method: Method
    rig: Rig

    @cached_property
    def scale(self) -> Scale:
        """The sizes from which all limits follow."""
        return Scale.of(self.method, self.rig)

    def own(self) -> Setting:
        """Return the method as it stands, as setting 0."""
        rule = self.method.additions.rule
        values = {dial.way: self._own_value(dial) for dial in DIALS.get(rule, ())}
        return Setting(0, rule, {way: value for way, value in values.items() if value is not None})

    def begin(self, rule: str) -> dict[str, float]:
        """Return where a search of the rule begins: the method's own values where it has them, within the limits."""
        found = {}
        for dial in DIALS[rule]:
            own = attribute_of(getattr(self.method, dial.section), dial.key)
            low, high = dial.bounds(self.scale)
            found[dial.way] = min(max(dial.begin(self.scale) if own is None else float(own), low), high)
        return found

    def setting(self, number: int, rule: str, values: Mapping[str, float]) -> Setting:
        """Return a setting with values from a search, as they are written: rounded, and in order of size."""
        values = dict(values)
        least = values.get("additions.least") or attribute_of(self.method.additions, "least") or 0.0
        if "additions.most" in values:
            values["additions.most"] = max(values["additions.most"], least)
        if "additions.first" in values:
            most = values.get("additions.most", values["additions.first"])
            values["additions.first"] = min(max(values["additions.first"], least), most)
        return Setting(number, rule, {dial.way: self._written(dial, rule, values[dial.way]) for dial in DIALS[rule]})

    def changes(self, setting: Setting) -> list[Change]:
        """Return what the setting changes in the text, each with a note of what it was."""
        if setting.number == 0:
            return []
        own_rule, model = self.method.additions.rule, rules()[setting.rule]
        wanted = dict(setting.values)
        changed: list[Change] = []
        if setting.rule != own_rule:
            changed.append(Change(("additions", "rule"), setting.rule, f"tuned: rule was {own_rule}"))
            for key, (_, field) in fields_by_key(model).items():
                way = f"additions.{key}"
                if key != "rule" and way not in wanted and field.is_required():
                    wanted[way] = self._kept(model, key)
            gone = [key for key in self.additions() if key not in fields_by_key(model)]
            changed += [Change(("additions", key), None) for key in gone]
        for way, value in wanted.items():
            section, key = way.split(".")
            was = value_at(self.text, (section, key))
            if not self._same(section, key, value):
                note = f"tuned: {key} was {was}" if was is not None else f"tuned: {key} was not stated"
                changed.append(Change((section, key), value, note))
        return changed

    def written(self, setting: Setting) -> str:
        """Return the text of the method with the setting in the place of what it was."""
        return edited(self.text, self.changes(setting))

    def loaded(self, setting: Setting, folder: Path) -> tuple[Method, str]:
        """Return method and text of a setting, checked alone and with the rig. FileProblem where it is not sound."""
        text = self.written(setting)
        path = folder / "setting.yaml"
        path.write_text(text, encoding="utf-8")
        method = load_method(path)
        fits(method, path, self.rig)
        return method, text

    def additions(self) -> dict[str, str]:
        """Return the keys of the section `additions`, as they are written, the rule apart."""
        keys = [key for key in fields_by_key(type(self.method.additions)) if key != "rule"]
        values = {key: value_at(self.text, ("additions", key)) for key in keys}
        return {key: value for key, value in values.items() if value is not None}

    def _own_value(self, dial: Dial) -> str | None:
        return value_at(self.text, (dial.section, dial.key))

    def _written(self, dial: Dial, rule: str, value: float) -> str:
        if dial.whole:
            return str(round(value))
        section = rules()[rule] if dial.section == "additions" else Reading
        return written(value, unit_of(section, dial.key))

    def _kept(self, model: type[Any], key: str) -> str:
        """A key of another rule that is not tuned: as the method has it, or where such a key begins."""
        own = attribute_of(self.method.additions, key)
        return written(BEGIN[key].begin(self.scale) if own is None else own, unit_of(model, key))

    def _same(self, section: str, key: str, value: str) -> bool:
        """Whether the method states this value already, in whatever unit."""
        own = attribute_of(getattr(self.method, section), key)
        return own is not None and float(value.split(maxsplit=1)[0]) == own
