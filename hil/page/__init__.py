"""The unit's pages: read, fill in, search. Pure: no file, socket or clock."""
