"""The command line. Heavy imports stand inside the commands, so that `titrator --help` answers at once."""
