"""Which version of a thing an edit has seen, for the doors; the store checks it inside the edit's own transaction."""

from api.store.versions import Seen, Writing, watched

__all__ = ["Seen", "Writing", "watched"]
