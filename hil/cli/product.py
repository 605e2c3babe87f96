"""`hil product check FILE`: says in words what a product file was understood to promise."""

from pathlib import Path
from typing import Annotated

import typer

from hil.core.errors import InputError
from hil.core.product import load_product
from hil.core.product_words import describe
from hil.core.text import printable
from hil.virtual import DEMO_PRODUCT

product_app = typer.Typer(no_args_is_help=True, help="Work with product files.")


@product_app.callback()
def _group() -> None:
    """Work with product files."""


@product_app.command()
def check(file: Annotated[Path, typer.Argument(help="the product file")]) -> None:
    """Say in words what a product file promises."""
    for line in describe(load_product(file)):
        typer.echo(printable(line))


@product_app.command()
def example(file: Annotated[Path, typer.Argument(help="where to write it")] = Path("product.toml")) -> None:
    """Write the Mossgate MV-2's product file, to copy from."""
    if file.exists():
        raise InputError(str(file), "is there already.", "Name another file.")
    file.write_bytes(DEMO_PRODUCT.read_bytes())
    typer.echo(f"{file}: the Mossgate MV-2's promises. Change them, then: hil product check {file}")
