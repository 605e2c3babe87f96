"""The program of the Mossgate MV-2: lamp first, then the rest, then everything at once."""

import lamp_code

lamp_code.switch_on()

import asyncio

import captive
import chip
import joining
import pages
import radio
import reports
import unit as units
import version
import web


def _crashed(loop, context):
    if "exception" in context:
        chip.crashed(context["exception"])


async def main():
    """Run the unit until its power goes."""
    asyncio.get_event_loop().set_exception_handler(_crashed)
    print("%s %s %s serial %s" % (version.MAKER, version.PRODUCT, version.VERSION, chip.serial()))
    print("stage: starting")
    unit = units.Unit()
    server = web.Server(pages.Pages(unit).answer, (pages.UPDATE,))
    await server.start()
    await asyncio.gather(
        radio.watch(),
        lamp_code.follow(unit.stages),
        joining.live(unit),
        captive.answer_names(unit),
        reports.follow(unit),
        unit.vent.follow(),
    )


def run(start=asyncio.run):
    """Run the unit; what it cannot survive is shown on the console, and ends it."""
    try:
        start(main())
    except Exception as error:
        chip.crashed(error)


if __name__ == "__main__":
    run()
