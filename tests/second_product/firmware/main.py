"""The program of the Mossgate RS-4, a rain sensor. Its console says nothing: the light tells what there is to tell."""

import light

light.power_up()

import asyncio

import chip
import radio
import reporter
import routes
import sensor
import webserver
import wireless


def _fell(loop, context):
    if context.get("exception") is not None:
        chip.crashed(context["exception"])


async def main():
    """Do everything at once, for ever."""
    asyncio.get_event_loop().set_exception_handler(_fell)
    device = sensor.Sensor()
    await webserver.open_for(routes.Routes(device).reply)
    await asyncio.gather(
        radio.watch(), device.light.play(), wireless.live(device), reporter.report_for_ever(device)
    )


def run(start=asyncio.run):
    """Run until the power goes, or until something breaks: then the chip starts again."""
    try:
        start(main())
    except Exception as error:
        chip.crashed(error)


if __name__ == "__main__":
    run()
