"""Licks: what should be played, and the files it is written in."""
