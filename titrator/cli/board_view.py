"""A board as `titrator rig` tells it: a document for programs, lines for people."""

from __future__ import annotations

from typing import Any

from firmware_protocol.messages import Capability, Status
from titrator.bench.board_section import identity_text
from titrator.bench.port import Found


def board_document(found: Found) -> dict[str, Any]:
    """What a board says of itself when it is greeted. Positions and the stroke in steps of its motor."""
    welcome = found.welcome
    parts = Capability(welcome.capabilities)
    return {
        "port": found.port,
        "identity": identity_text(welcome.identity),
        "simulated": Capability.SIMULATED in parts,
        "firmware": welcome.firmware,
        "protocol": welcome.version,
        "boot": identity_text(found.boot),
        "running_s": welcome.board_ms / 1000,
        "session": identity_text(welcome.session) if welcome.session else None,
        "position": welcome.position,
        "stroke": welcome.stroke_steps,
        "least_step_us": welcome.least_step_us,
        "range_mV": [welcome.range_low_uV / 1000, welcome.range_high_uV / 1000],
        "converter_step_mV": welcome.adc_step_uV / 1000,
        "valve": Capability.VALVE in parts,
        "home_switch": Capability.HOME_SWITCH in parts,
    }


def status_document(status: Status) -> dict[str, Any]:
    """Where it stands: the newest dose, and the valve."""
    dose = {"number": status.dose, "target": status.dose_target, "state": _word(status.dose_state.name)}
    return {
        "position": status.position,
        "dose": dose if status.dose_session else None,
        "valve_stands": _word(status.valve.name),
        "valve_state": _word(status.valve_state.name),
        "home_found_at": status.home_position if status.home_known else None,
    }


def board_line(board: dict[str, Any]) -> str:
    """One line for a list."""
    kind = "simulated, " if board["simulated"] else ""
    session = f"session {board['session']}" if board["session"] else "no session"
    return (
        f"{board['identity']}  {board['port']}: {kind}firmware {board['firmware']}, at step {board['position']} of "
        f"{board['stroke']}, {session}"
    )


def board_lines(board: dict[str, Any]) -> list[str]:
    """Everything, a line each."""
    low_mV, high_mV = board["range_mV"]
    dose, session = board["dose"], board["session"]
    parts = [name for key, name in (("valve", "a valve"), ("home_switch", "a home switch")) if board[key]]
    lines = {
        "Board": f"{board['identity']} at {board['port']}" + (", simulated" if board["simulated"] else ""),
        "Firmware": f"{board['firmware']}, speaking protocol {board['protocol']}",
        "Running": f"{board['running_s']:.1f} s (boot identifier {board['boot']})",
        "Session": session or "none",
        "Plunger": f"step {board['position']} of {board['stroke']}, a step in {board['least_step_us']} µs at best",
        "Newest dose": f"{dose['number']} to step {dose['target']}, {dose['state']}"
        if dose
        else "none since its start",
        "Amplifier": f"{low_mV:g} to {high_mV:g} mV in steps of {board['converter_step_mV']:g} mV",
        "Has": " and ".join(parts) or "neither valve nor home switch",
    }
    if board["valve"]:
        lines["Valve"] = f"{board['valve_stands']}, {board['valve_state']}"
    if board["home_found_at"] is not None:
        lines["Home"] = f"found at step {board['home_found_at']}"
    if board["rig"] is not None:
        lines["Rig file"] = f"{board['rig']}, " + (
            "which describes it" if board["misfit"] is None else "which does not fit"
        )
    return [f"{name + ':':<13}{text}" for name, text in lines.items()]


def _word(name: str) -> str:
    return name.lower().replace("_", "-")
