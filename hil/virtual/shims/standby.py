"""An interpreter that is loaded and waits for the virtual chip to start, then runs the unit's program in it.

    python standby.py cpython
    python standby.py micropython [PATH]

Loading an interpreter takes a tenth of a real second and more on a busy machine; a real chip has none to load. So it
is loaded ahead. The first line of standard input says when and what to run: a JSON object with the `folder` of the
program and the `environment` it starts in. What comes after that line is the console's input. At its end, without
such a line, nothing is run. MicroPython comes as a library of this Python where pip has it so, else as a program at
PATH, which is loaded only then.
"""

import json
import os
import sys


def first_line():
    """Return the first line of standard input, and leave all that follows unread; empty when it has ended."""
    line = b""
    while not line.endswith(b"\n"):
        octet = os.read(0, 1)
        if not octet:
            return b""
        line += octet
    return line


def loaded(name, path):
    """Load an interpreter and return what runs the program in the present folder."""
    if name == "cpython":
        import cpython_start

        sys.stdout.reconfigure(line_buffering=True)
        return lambda: cpython_start.start(os.getcwd())
    arguments = ["micropython", "-m", "main"]  # by name: a path of its own would come first, however long
    if path:
        return lambda: os.execv(path, arguments)
    import micropython_unix

    return lambda: micropython_unix.run_main(arguments)


def main(name, path=""):
    """Load, wait, run."""
    run = loaded(name, path)
    line = first_line()
    if not line:
        return 0
    life = json.loads(line)
    os.chdir(life["folder"])
    os.environ.update(life["environment"])
    return run()


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
