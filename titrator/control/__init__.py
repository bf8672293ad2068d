"""The controller: what to do next, decided from events alone.

Pure: no clock, no input or output, no numpy, bounded memory. Time comes with the events (the board's time), so the
same code runs on the bench in real time, in a rehearsal in virtual time, and could move to a microcontroller.
"""
