"""The lab's unit: the same firmware on the same chip, its air, serial port and picture the kernel's own simulated ones."""
