"""Where groves are kept, with their history: each in a file of its own, or many in a shared database.

`open_grove` is the door: frames in, frames out, every change an act that is whole or not there and can be undone.
"""

from api.store.address import Address
from api.store.grove_database import GroveDatabase
from api.store.grove_file import GroveFile
from api.store.info import GroveInfo, Stored, Zone, ZoneContent
from api.store.keeping import copy_grove, create_grove, open_grove
from api.store.restoring import restore_grove
from api.store.store import Grove

__all__ = [
    "Address",
    "Grove",
    "GroveDatabase",
    "GroveFile",
    "GroveInfo",
    "Stored",
    "Zone",
    "ZoneContent",
    "copy_grove",
    "create_grove",
    "open_grove",
    "restore_grove",
]
