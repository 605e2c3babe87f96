"""A bench by itself, with no unit judged: aimed, and checked."""
