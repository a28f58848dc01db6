"""Run the command line as a module."""

from fejoint.cli import main

main()
