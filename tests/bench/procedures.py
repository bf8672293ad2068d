"""Drives a procedure of the bench (a refill, a priming) to its end, and keeps what it did and heard."""

from titrator.bench.events import ReadingBlock
from titrator.bench.refill import carry_out


def run(bench, procedure, most_waits=2000):
    """Steps and outcomes in order. Raises what the procedure raises."""
    steps, outcomes = [], []
    step = next(procedure)
    while True:
        steps.append(step)
        carry_out(bench, step)
        outcome = _outcome(bench, most_waits)
        outcomes.append(outcome)
        try:
            step = procedure.send(outcome)
        except StopIteration:
            return steps, outcomes


def _outcome(bench, most_waits):
    for _ in range(most_waits):
        news = [event for event in bench.wait(1.0) if not isinstance(event, ReadingBlock)]
        if news:
            (outcome,) = news
            return outcome
    raise AssertionError("a step of the procedure never ended")
