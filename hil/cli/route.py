"""`hil route`: the route that the wanted checks need, leg by leg, without driving anything."""

from pathlib import Path
from typing import Annotated

import typer
from hil_fixtures.wanted import legs_of
from rich.console import Console
from rich.table import Table
from rich.text import Text

from hil.cli.collected import collect
from hil.core.product import load_product
from hil.core.stages import Unknown
from hil.core.text import count
from hil.drive.route import plan_route
from hil.legs.leg import DECLARED, LegCall, Profile
from hil.virtual import DEMO_PRODUCT


def route(
    product: Annotated[Path | None, typer.Option(help="product file (default: the Mossgate MV-2)")] = None,
    profile: Annotated[Profile | None, typer.Option(help="which checks; default quick")] = None,
    select: Annotated[str, typer.Option("-k", metavar="EXPRESSION", help="only checks whose names match")] = "",
) -> None:
    """Show the order of legs, with the checks each serves."""
    promises = load_product(product or DEMO_PRODUCT)
    items = collect([*(["-k", select] if select else []), *(["--hil-profile", profile] if profile else [])])
    serves: dict[str, int] = {}
    wanted: dict[str, LegCall] = {}
    for item in items:
        for call in (call for call in legs_of(item) if call.leg.promised(promises)):
            wanted[call.id] = call
            serves[call.id] = serves.get(call.id, 0) + 1
    bridges = [LegCall(leg) for name, leg in DECLARED.items() if name not in wanted and leg.is_bridge(promises)]
    calls = {call.id: call for call in [*wanted.values(), *bridges]}
    plan = plan_route(Unknown(), list(wanted.values()), bridges, lambda id_: calls[id_].leg.expected_s(promises))
    table = Table("leg", "from → to", "expected", "checks", title=f"Route of {promises.name}", title_justify="left")
    table.columns[0].no_wrap = True
    for step in plan.steps:
        leg = calls[step.id].leg
        name = f"{step.id} (bridge)" if step.bridge else step.id
        expected = f"{leg.expected_s(promises):.0f} s"
        table.add_row(Text(name), f"{leg.begins.stage} → {leg.ends.stage}", expected, str(serves.get(step.id, 0)))
    screen = Console(highlight=False)
    screen.print(table)
    screen.print(f"{count(len(items), 'check')}, about {plan.expected_s:.0f} s of the unit's time.")
    for id_ in plan.unreached:
        screen.print(Text(f"No route leads to {id_}."))
