"""Words on a terminal: parses, calls one function, prints. Computes nothing.

`COMMANDS` says where each command is. Heavy imports stay inside the commands, so that `--help`
answers at once.
"""

from __future__ import annotations

import os
import sys
from typing import Annotated

import typer

from twinangle.cautions import RECORDING, RESEARCH
from twinangle.cli import afterwards, preparing, running
from twinangle.cli.terminal import say
from twinangle.platform_calls import Stopped, stop_on_signals

# In the order of `--help`: the command, its line there, what its own help ends with.
COMMANDS = (
    (running.run, "Analyse a study and write the report.", RECORDING),
    (preparing.check, "Read and validate a study; give no number.", RECORDING),
    (preparing.describe, "Tell what a recording holds.", None),
    (preparing.init, "Draft a study from a folder of recordings.", RECORDING),
    (preparing.schema, "Print the JSON schema of the study file.", None),
    (afterwards.export, "Write the study as a Motion-BIDS data set.", None),
    (afterwards.verify, "Recompute a run and tell what differs.", None),
    (afterwards.compare, "Tell two runs apart.", None),
    (afterwards.review, "Look at recordings in the browser and decide.", RECORDING),
    (preparing.plan, "Say how many participants and cycles suffice.", RECORDING),
    (preparing.protocol, "Print a session sheet to record by.", RECORDING),
    (running.report, "Make the report again, without analysing.", None),
    (running.demo, "Write the invented demo study and run it.", None),
    (running.cache, "Show what earlier runs have kept, or clear it.", None),
)

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Show how far a joint angle from inertial sensors is from a reference instrument worn at "
    f"the same time, indoors and outdoors, and write the figures. {RESEARCH}",
    epilog=RECORDING,
)
for _command, _line, _ending in COMMANDS:
    app.command(short_help=_line, epilog=_ending)(_command)


def _version(asked: bool) -> None:
    if asked:
        from twinangle import __version__

        say(f"twinangle {__version__}")
        raise typer.Exit


@app.callback(epilog=RECORDING)
def _whole(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Take the options that belong to no command."""


def main() -> None:
    """Run the command line and leave the process with its status."""
    stop_on_signals()
    _keep_to_one_thread()
    status = _status()
    try:
        sys.stdout.flush()
    except OSError:  # a reader that has gone, such as `head`; there is nobody left to tell
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(status)


def _keep_to_one_thread() -> None:
    """Have the linear algebra library use one thread, unless the user has set a number.

    The matrices here are small: its threads wait for work at full speed, which takes a third of
    the processors from the other recordings. Nor do its sums then depend on how many processors
    there are. It reads the number when it is loaded, which no command has done yet.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def _status() -> int:
    """Run the command line; a fault of the study becomes one message and exit status 1."""
    from twinangle.errors import TwinangleError

    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        app()
    except SystemExit as leaving:
        return leaving.code if isinstance(leaving.code, int) else int(leaving.code is not None)
    except TwinangleError as error:
        say(f"twinangle: {error}", file=sys.stderr)
        return 1
    except Stopped as stopped:
        said = ["twinangle: stopped", *getattr(stopped, "__notes__", [])]
        say(f"{'; '.join(said)}.", file=sys.stderr)
        return stopped.status
    return 0
