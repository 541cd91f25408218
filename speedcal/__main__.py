"""Run the command as ``python -m speedcal``."""

from speedcal.cli import main

main()
