"""Run the command line as ``python -m auditor``."""

from auditor.cli import main

main()
