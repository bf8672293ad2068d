"""Parts that the simulated board does not have, and its answer to whoever asks for them."""

from firmware_protocol.messages import (
    AskTemperatures,
    Capability,
    Pump,
    Reason,
    Refused,
    RunPump,
    SetChanger,
    SetPartLimits,
    SetStirrer,
)

_PUMPS = {Pump.RINSE: Capability.RINSE, Pump.DRAIN: Capability.DRAIN}


def absent(request: SetStirrer | RunPump | SetChanger | AskTemperatures | SetPartLimits) -> Refused:
    """Refused, with the capability that the request needs; for limits of several parts the first of them."""
    match request:
        case SetStirrer():
            part = Capability.STIRRER
        case RunPump():
            part = _PUMPS[request.pump]
        case SetChanger():
            part = Capability.CHANGER
        case AskTemperatures():
            part = Capability.TEMPERATURE
        case SetPartLimits():
            part = Capability.RINSE
    return Refused(request.KIND, Reason.ABSENT, part)
