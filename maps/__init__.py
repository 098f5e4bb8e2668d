"""Draws: the plan, the pressure picture, the take-away map, the run sheet."""
