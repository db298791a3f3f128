"""`python -m hdl2grid` is `hdl2grid`."""

from hdl2grid.cli import main

main(prog_name="hdl2grid")
