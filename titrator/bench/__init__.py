"""Everything between control and the wire: the bench with its link, burette and electrode, and the rig file."""
