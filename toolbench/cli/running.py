"""Exit statuses and error sentences, the same for every command."""

from __future__ import annotations

import contextlib
import signal
import sys
from typing import Any

import click

from toolbench.cli.wrapping import told
from toolbench.errors import ToolbenchError

MOST_LINES = 3


def run(command: click.Command, arguments: list[str] | None = None) -> int:
    """Run the command line and give back its exit status.

    0 done; 1 it ran, and a report or a recording is wrong; 2 it could not run; 130 after Ctrl-C.
    """
    debug = "--debug" in (sys.argv[1:] if arguments is None else arguments)
    with contextlib.suppress(ValueError):
        # Asked to end from outside: the same orderly end as after Ctrl-C.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
    _plain_streams()
    try:
        status = command.main(args=arguments, prog_name="toolbench", standalone_mode=False)
        return status if isinstance(status, int) else 0
    except click.exceptions.Exit as wanted:
        return wanted.exit_code
    except click.ClickException as fault:
        _show_usage(fault)
        return 2
    except (KeyboardInterrupt, click.Abort):
        click.echo("stopped; what was finished is kept, the next call goes on from there", err=True)
        return 130
    except ToolbenchError as error:
        if debug:
            raise
        _show(error)
        return error.exit_status
    except OSError as error:
        if debug:
            raise
        click.echo(f"toolbench: {error.filename or 'a file'}: {error.strerror or error}", err=True)
        return 2
    except Exception as error:
        # A fault of ours is told in a sentence too; --debug shows where.
        if debug:
            raise
        click.echo(f"toolbench: a fault in toolbench itself: {type(error).__name__}: {error}", err=True)
        click.echo("  run again with --debug to see where", err=True)
        return 2


def _plain_streams() -> None:
    """A stream of cp1252 or ASCII shows a sign it lacks as `?` instead of stopping the program."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure: Any = getattr(stream, "reconfigure", None)
        if reconfigure:
            with contextlib.suppress(ValueError, OSError):
                reconfigure(errors="replace")


def _show_usage(fault: click.ClickException) -> None:
    """What click found, in two lines like every other error."""
    context = getattr(fault, "ctx", None)
    command = context.command_path if context else "toolbench"
    click.echo(f"{command}: {fault.format_message()}\n  see {command} --help", err=True)


def _show(error: ToolbenchError) -> None:
    for fault in error.faults:
        lines = str(fault).splitlines()
        told("\n".join(lines[:MOST_LINES]), err=True)
