"""Calling at the desk of a run, and telling apart why nobody answers."""

from __future__ import annotations

import json
import socket
from typing import Any

from titrator.record.journal_reader import read_journal
from titrator.record.run_folder import RunFolder
from titrator.run.desk import NAME, within

WAIT_S = 5.0
"""The desk answers within a second; five leave room for a computer that is busy."""


class CallError(Exception):
    """Nobody answers for this run; the message says why and what to do."""


def call(folder: RunFolder, request: dict[str, Any], wait_s: float = WAIT_S) -> dict[str, Any]:
    """Say `request` to the process that conducts the run in `folder`; return its answer. CallError if there is none."""
    connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    connection.settimeout(wait_s)
    try:
        with within(folder.path):
            connection.connect(NAME)
        connection.sendall(json.dumps(request).encode() + b"\n")
        with connection.makefile("rb") as lines:
            line = lines.readline()
        document = json.loads(line) if line else None
    except FileNotFoundError as error:
        raise CallError(_nobody(folder, "no process answers for it")) from error
    except ConnectionRefusedError as error:
        raise CallError(_nobody(folder, "the process that conducted it died without taking leave")) from error
    except PermissionError as error:
        raise CallError(
            f"{folder.path}: expected a run of this user, got one whose desk is closed to others ({error.strerror}). "
            "Ask the one who started it"
        ) from error
    except TimeoutError as error:
        raise CallError(
            f"{folder.path}: expected an answer within {wait_s:g} s, got none: its process hangs or is suspended. Its "
            "board stops the motor by itself when it hears nothing"
        ) from error
    except (OSError, ValueError) as error:
        raise CallError(_nobody(folder, f"its process broke off the talk ({error})")) from error
    finally:
        connection.close()
    if not isinstance(document, dict):
        raise CallError(_nobody(folder, "its process broke off the talk"))
    return document


def _nobody(folder: RunFolder, why: str) -> str:
    """The journal knows whether the run is over or broke off."""
    contents = read_journal(folder.journal)
    ends = contents.of_kind("end")
    if ends:
        return f"{folder.path.name} is over: {ends[-1]['state']}, {ends[-1]['why']}"
    states = contents.of_kind("state")
    last = states[-1]["state"] if states else "ready"
    doses = [line["volume_mL"] for line in contents.lines if line["kind"] in ("outcome", "halt")]
    at = f" after {doses[-1]:.4f} mL" if doses else ""
    return (
        f"{folder.path.name}: {why}, and its record breaks off in state {last!r}{at}. If it is a dry run without "
        "--pace, it does not listen; else look at the burette: its board stopped the motor by itself"
    )
