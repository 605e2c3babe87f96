"""`hil route`: the route that the wanted checks need, leg by leg, without driving anything."""

from pathlib import Path
from typing import Annotated

import pytest
import typer
from hil_fixtures.wanted import legs_of
from rich.console import Console
from rich.table import Table

from hil.cli.session import QUIET, SUITE
from hil.core.product import load_product
from hil.core.stages import Unknown
from hil.drive.route import plan_route
from hil.legs.leg import DECLARED, LegCall, Profile
from hil.virtual import DEMO_PRODUCT


class _Collected:
    """Keeps what pytest collects, and keeps pytest silent."""

    def __init__(self) -> None:
        self.items: list[pytest.Item] = []

    @pytest.hookimpl(trylast=True)
    def pytest_configure(self, config: pytest.Config) -> None:
        config.pluginmanager.unregister(name="terminalreporter")

    def pytest_collection_finish(self, session: pytest.Session) -> None:
        self.items = list(session.items)


def route(
    product: Annotated[Path | None, typer.Option(help="product file (default: the Mossgate MV-2)")] = None,
    profile: Annotated[Profile | None, typer.Option(help="which checks; default quick")] = None,
    select: Annotated[str, typer.Option("-k", metavar="EXPRESSION", help="only checks whose names match")] = "",
) -> None:
    """Show the order of legs, with the checks each serves."""
    promises = load_product(product or DEMO_PRODUCT)
    collected = _Collected()
    options = [*(["-k", select] if select else []), *(["--hil-profile", profile] if profile else [])]
    pytest.main([*QUIET, *SUITE, "--collect-only", *options], plugins=[collected])
    serves: dict[str, int] = {}
    wanted: dict[str, LegCall] = {}
    for item in collected.items:
        for call in legs_of(item):
            wanted[call.id] = call
            serves[call.id] = serves.get(call.id, 0) + 1
    bridges = [LegCall(leg) for name, leg in DECLARED.items() if name not in wanted and not leg.last]
    calls = {call.id: call for call in [*wanted.values(), *bridges]}
    plan = plan_route(Unknown(), list(wanted.values()), bridges, lambda id_: calls[id_].leg.expected_s(promises))
    table = Table("leg", "from", "to", "expected", "checks", title=f"Route of {promises.name}", title_justify="left")
    for step in plan.steps:
        leg = calls[step.id].leg
        name = f"{step.id} (bridge)" if step.bridge else step.id
        expected = f"{leg.expected_s(promises):.0f} s"
        table.add_row(name, str(leg.begins), str(leg.ends), expected, str(serves.get(step.id, 0)))
    screen = Console(highlight=False)
    screen.print(table)
    screen.print(f"{len(collected.items)} checks, about {plan.expected_s:.0f} s of the unit's time.")
    for id_ in plan.unreached:
        screen.print(f"No route leads to {id_}.")
