"""What the doors can't do for reasons that lie in the grove as it stands; the store tells them too."""

from api.store.refusals import ChangedMeanwhile, Conflict, NotThere, TooLarge

__all__ = ["ChangedMeanwhile", "Conflict", "NotThere", "TooLarge"]
