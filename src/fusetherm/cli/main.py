"""`fusetherm`: the program; finds the command, and turns errors into exit statuses."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
from importlib import import_module
from typing import Any

import click

from .. import __version__
from ..errors import FusethermError, SolveError, WriteError

#: Command -> what it answers, for `--help`; each lives in the module of its name.
COMMANDS = {
    "demo": "The whole path on the shipped workboat: capture, fuse, verdict, figures.",
    "inspect": "What was understood of a capture: columns, units, offset, clipping, I²t.",
    "fit": "Fit a fuse to its published data and keep the result in a file.",
    "carry": "Does this fuse carry this capture, and how near does it come to melting?",
    "explain": "Why did this fuse open: what took it to where it melts, part by part?",
    "drive": "Does this fuse carry what a source drives through it?",
    "spread": "How many units of this fuse begin to melt under this capture?",
    "curve": "The time-current characteristic of a fuse at any ambient.",
    "rerate": "What a fuse carries for ever, against the ambient of the air around it.",
    "drop": "The current from the millivolts across a fuse, and back.",
    "endure": "How many times a fuse bears a repeated duty, by temperature swing.",
    "selectivity": "Of fuses in series, does the one nearest to the fault open alone?",
    "fusebox": "How warm does a box of fuses get, who heats it, and does each carry its load?",
    "screen": "Which fuses of a folder suit these captures and this conductor?",
    "sweep": "The simulations of a plan on every core, in a folder that survives a crash.",
    "protect": "Does this fuse end every current before it damages the conductor?",
    "report": "Keep the answer of another command as a page of its own.",
    "reproduce": "Ask again what such a page answered, and compare every number.",
    "verify": "Compare fusetherm with values that it did not make, row by row.",
    "warm": "Compile everything now, so that no later command has to wait.",
}
#: Libraries whose versions decide a number.
_STACK = ("numpy", "scipy", "numba", "llvmlite", "xarray", "h5netcdf", "h5py", "matplotlib",
          "pydantic", "click")  # fmt: skip

BAD_INPUT, SOLVER, NOT_WRITTEN, STOPPED = 3, 5, 6, 130


class Program(click.Group):
    """Group that imports a command only when it is called, and speaks in exit statuses."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of the commands, in the order of their use."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of a name, imported now."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"fusetherm.cli.{cmd_name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Command of the arguments, with a suggestion when a name is misspelt."""
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            from difflib import get_close_matches

            near = get_close_matches(args[0], COMMANDS, n=1)
            hint = f" Did you mean {near[0]!r}?" if near else ""
            raise click.UsageError(f"No such command {args[0]!r}.{hint}", ctx)
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; an error becomes a message and a status."""
        try:
            return super().invoke(ctx)
        except FusethermError as error:
            if ctx.params.get("debug"):
                raise
            from .output import printable, spelling

            asked = self.get_command(ctx, ctx.invoked_subcommand or "")
            click.echo(printable(f"error: {error.told(spelling(asked))}"), err=True)
            ctx.exit(status_of(error))
        except KeyboardInterrupt:
            click.echo("stopped; files are written whole or not at all", err=True)
            ctx.exit(STOPPED)


def status_of(error: FusethermError) -> int:
    """Exit status of an error: 3 bad input, 5 solver, 6 could not write."""
    if isinstance(error, WriteError) or error.code.startswith("output-"):
        return NOT_WRITTEN
    return SOLVER if isinstance(error, SolveError) else BAD_INPUT


def versions() -> dict[str, str]:
    """Versions of the program and of what decides its numbers."""
    from importlib.metadata import PackageNotFoundError, version

    found = {"fusetherm": __version__, "python": f"{sys.version.split()[0]} on {sys.platform}"}
    for name in _STACK:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "missing"
    return found


def _versions(ctx: click.Context, _: click.Parameter, asked: bool) -> None:
    if not asked or ctx.resilient_parsing:
        return
    for name, number in versions().items():
        click.echo(f"{name} {number}")
    ctx.exit()


_EPILOG = (
    "Exit status: 0 carries or protected, 10 marginal, 20 opens or not protected, 4 not shown; "
    "2 usage, 3 bad input, 5 solver, 6 could not write; verify: 1 when a row failed; "
    "130 stopped by Ctrl-C, which ends at once when it is pressed again."
)


@click.command(
    cls=Program, epilog=_EPILOG, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.option("--debug", is_flag=True, help="Show the whole traceback of an error.")
@click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_versions,
    help="Show the versions of fusetherm and of what it computes with.",
)  # fmt: skip
@click.pass_context
def program(ctx: click.Context, debug: bool) -> None:
    """Does this fuse carry this current, how near does it come to melting, and why."""
    if os.environ.get("NO_COLOR"):
        ctx.color = False
    if not debug:
        # Results carry their remarks as notes, which the commands print themselves.
        import warnings

        from ..errors import FusethermWarning

        warnings.simplefilter("ignore", FusethermWarning)


def _hear_interrupts() -> None:
    """Let the first interrupt end the program tidily, and a second one at once."""

    def at_once(*_: object) -> None:
        os._exit(STOPPED)

    def tidily(*_: object) -> None:
        signal.signal(signal.SIGINT, at_once)
        raise KeyboardInterrupt

    # left alone where whoever started the program had it pass over interrupts, as nohup does
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, tidily)


def main() -> None:
    """Entry point of the program."""
    _hear_interrupts()
    for stream in (sys.stdout, sys.stderr):
        # A pipe of another encoding, or a name that is no text, must not end in an error.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="backslashreplace")
    try:
        program(prog_name="fusetherm")
    except SystemExit as end:
        if end.code == STOPPED:
            # what threads still compute is not wanted, and Python would wait for it
            with contextlib.suppress(OSError):
                sys.stdout.flush()
                sys.stderr.flush()
            os._exit(STOPPED)
        raise


if __name__ == "__main__":
    main()
