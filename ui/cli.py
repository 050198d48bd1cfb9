"""The command ``vesselblend``: its commands, and what every way out of it looks like.

A command reads, calls the optimizer, hands its answer to `ui.delivery` and returns an exit code. Everything
heavy is imported inside the commands: a caster who asks for help gets it at once.
"""

from __future__ import annotations

import errno
import os
import traceback
import warnings
from collections.abc import Sequence

import click

from optimizer.errors import FileFaults, VesselblendError, short
from ui.commands.card import card
from ui.commands.check import check
from ui.commands.design import design
from ui.commands.frontier import frontier
from ui.commands.init import init
from ui.commands.materials import materials, materials_new
from ui.commands.order import order
from ui.commands.page import page
from ui.commands.sweep import sweep
from ui.commands.trials import trials, trials_columns, trials_show, trials_trace, trials_void
from ui.commands.trials_fit import trials_fit, trials_next
from ui.commands.trials_import import trials_import
from ui.commands.trials_measure import trials_measure
from ui.delivery import Terminated, forget_output, say

FAULT_OF_OURS = 1
STOPPED = 130
TERMINATED = 143
DEBUG = "VESSELBLEND_DEBUG"
"""Set in the environment, it shows the trace of an internal error."""

_EPILOG = """
Exit codes: 0 done; 1 internal error; 2 wrong usage; 3 no blend meets the limits, or a checked blend or an
order fails; 4 a bad file or blend; 5 no verdict.

Completion for your shell: eval "$(_VESSELBLEND_COMPLETE=bash_source vesselblend)", or zsh_source
or fish_source.
"""


def _show_version(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        from importlib.metadata import PackageNotFoundError, version

        try:
            number = version("vesselblend")
        except PackageNotFoundError:
            number = "from a folder that is not installed"
        click.echo(f"vesselblend {number}")
        context.exit()


@click.group(
    epilog=_EPILOG, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_version,
    help="Show the version.",
)
def cli() -> None:
    """Design, check and cost blends of gypsum and CSA cement for cast candle vessels.

    Begin with `vesselblend design`, which solves a demo job, and `vesselblend init` for a job of your own.
    """


for _command in (design, check, frontier, card, order, sweep, materials, trials, init, page):
    cli.add_command(_command)
materials.add_command(materials_new)
for _command in (
    trials_import,
    trials_fit,
    trials_next,
    trials_void,
    trials_show,
    trials_trace,
    trials_columns,
    trials_measure,
):
    trials.add_command(_command)


def run(arguments: Sequence[str]) -> int:
    """Run one command line and return its exit code; whatever goes wrong is said in a sentence on stderr.

    Parameters
    ----------
    arguments : Sequence[str]
        Words after the program's name [-].
    """
    with warnings.catch_warnings():
        if not os.environ.get(DEBUG):
            warnings.simplefilter("ignore")
        try:
            return cli.main(list(arguments), prog_name="vesselblend", standalone_mode=False) or 0
        except click.ClickException as error:
            error.show()
            return error.exit_code
        except (KeyboardInterrupt, click.Abort) as error:
            end = error.__cause__ or error
            say(str(end) or "Stopped.")
            return TERMINATED if isinstance(end, Terminated) else STOPPED
        except BrokenPipeError:
            forget_output()
            return 0
        except VesselblendError as error:
            say(str(error))
            return error.exit_code
        except Exception as error:  # whatever it is, a caster reads a sentence
            return _refused(error) if isinstance(error, OSError) else _own_fault(error)


def _refused(error: OSError) -> int:
    """Say what the machine refused; without a file's name it is an internal error, if not of a full disk."""
    if error.errno == errno.ENOSPC:
        forget_output()
        say("The disk is full: free some room and run the command again.")
    elif error.filename:
        named, reason = short(error.filename), error.strerror or type(error).__name__
        say(f"{named}: the system refused it ({reason}). Name another file or folder, or free this one.")
    else:
        return _own_fault(error)
    return FileFaults.exit_code


def _own_fault(error: Exception) -> int:
    if os.environ.get(DEBUG):
        traceback.print_exc()
    say(
        f"This is a fault of vesselblend, not yours ({type(error).__name__}: {error}). To report it, send "
        f"the makers your command and job file with what the same command says under {DEBUG}=1."
    )
    return FAULT_OF_OURS
