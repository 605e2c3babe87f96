"""The scene a webcam sees, served as MJPEG by a process of its own (`python -m hil.virtual.scene`)."""
