"""Runs the process."""

from hil.virtual.scene.scene import main

main()
