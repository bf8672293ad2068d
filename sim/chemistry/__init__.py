"""The chemistries of the simulated vessel, each behind the protocol `sim.contents.Chemistry`, on the one engine."""
