"""The command line: the only room that prints. One file per group of commands; see `hdl2grid --help`."""

from hdl2grid.cli.app import main

__all__ = ["main"]
