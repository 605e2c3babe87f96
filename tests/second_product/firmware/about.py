"""What this device is, and which program it runs."""

MODEL = "RS-4"
VERSION = "2.0.3"
HOTSPOT_STEM = "rs4-"
HOTSPOT_CHANNEL = 11
HOTSPOT_IP = "203.0.113.65"
