"""Run as ``python -m assessor``."""

from assessor.cli import main

main()
