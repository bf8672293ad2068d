"""The diagram of the states, drawn from the one table (Mermaid's `stateDiagram-v2`), for the docs."""

from __future__ import annotations

from titrator.control.states import NOT_YET_ENTERED, TABLE, TERMINAL, Signal, State


def diagram() -> str:
    """The text of the diagram. Signals that lead from one state to the same next one share an arrow."""
    lines = ["stateDiagram-v2", "    direction TB", f"    [*] --> {State.READY.value}"]
    for source, row in TABLE.items():
        if source in NOT_YET_ENTERED:
            continue
        arrows: dict[State, list[Signal]] = {}
        for signal, target in row.items():
            if isinstance(target, State):
                arrows.setdefault(target, []).append(signal)
        for target, signals in arrows.items():
            label = " / ".join(signal.value for signal in signals)
            lines.append(f"    {source.value} --> {target.value}: {label}")
    lines.extend(f"    {state.value} --> [*]" for state in State if state in TERMINAL)
    return "\n".join(lines) + "\n"
