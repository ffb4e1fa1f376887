"""The option by which every command that needs a board finds it."""

import click

port_option = click.option("--port", help="Serial port of the board; else UNDERDASH_PORT, else the only board on USB.")
