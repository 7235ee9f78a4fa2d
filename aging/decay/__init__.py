"""Decay: from arrays of readings to paths, their intervals and joint draws."""
