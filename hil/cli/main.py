"""The command `hil`: one subcommand a module."""

import sys

import typer

from hil.cli.accept import accept
from hil.cli.bench import bench_app
from hil.cli.challenge import challenge
from hil.cli.judge import judge
from hil.cli.product import product_app
from hil.cli.product_draft import draft
from hil.cli.route import route
from hil.cli.suite import suite
from hil.core.errors import BenchError, InputError, OurBug
from hil.core.verdicts import EXIT_BENCH, EXIT_INTERRUPTED, EXIT_WRONG_INPUT

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Acceptance tests for small Wi-Fi boards: drive a unit, judge it, leave a sheet.",
    epilog="Exit codes: 0 passed, 1 failed, 2 wrong input, 3 unjudged, 130 interrupted.",
)
app.command()(accept)
app.command()(judge)
app.command()(route)
app.command()(suite)
app.command()(challenge)
product_app.command()(draft)
app.add_typer(product_app, name="product")
app.add_typer(bench_app, name="bench")


def main() -> None:
    """Run the command; what the person at the bench must know is one message, never a traceback."""
    try:
        app()
    except InputError as error:
        _say(f"hil: {error}")
        sys.exit(EXIT_WRONG_INPUT)
    except (BenchError, OurBug) as error:
        _say(f"hil: {error}")
        sys.exit(EXIT_BENCH)
    except KeyboardInterrupt:
        sys.exit(EXIT_INTERRUPTED)


def _say(text: str) -> None:
    sys.stderr.write(text + "\n")
