"""The state machine: `transitions` built from the one table, driven by one typed `fire`."""

from __future__ import annotations

from transitions import Machine

from titrator.control.states import TABLE, Decided, Signal, State


class WrongSignalError(Exception):
    """We broke our own rules: the table says that this signal cannot arrive in this state."""

    def __init__(self, state: State, signal: Signal) -> None:
        super().__init__(
            f"signal {signal.value!r} arrived in state {state.value!r}, where the table of states allows none; "
            "this is a defect of the controller: the run is faulted, please report it with its journal"
        )
        self.state = state
        self.signal = signal


class _Holder:
    """The model that `transitions` decorates with its triggers, kept out of sight so that `fire` is the only door."""

    state: State


class StateMachine:
    """Holds the state. `fire` is the only way to change it."""

    def __init__(self) -> None:
        self._holder = _Holder()
        # Synchronous and without automatic `to_…` triggers: nothing but the table moves the state.
        self._machine = Machine(model=self._holder, states=State, initial=State.READY, auto_transitions=False)
        for source, row in TABLE.items():
            for signal, target in row.items():
                if isinstance(target, State):
                    self._machine.add_transition(signal.name, source, target)

    @property
    def state(self) -> State:
        return self._holder.state

    def fire(self, signal: Signal) -> bool:
        """Apply `signal`; True when the state changed. Raises `WrongSignalError` where the table says WRONG."""
        target = TABLE[self.state][signal]
        if target is Decided.WRONG:
            raise WrongSignalError(self.state, signal)
        if target is Decided.STAY:
            return False
        self._machine.events[signal.name].trigger(self._holder)
        return True
