"""A product file drafted by watching one good unit: drive it, tell what was seen, write it down with its questions."""
