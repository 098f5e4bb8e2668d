"""One router for each room; every handler parses, calls one step, and answers."""
