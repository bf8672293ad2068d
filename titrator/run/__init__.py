"""Running a titration: the one driver loop that joins control, bench and record."""
